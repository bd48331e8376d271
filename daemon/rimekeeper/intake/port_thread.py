"""What every port has in common: a thread of its own that opens it, and comes back whatever happens to it."""

from __future__ import annotations

import random
import threading
from abc import ABC, abstractmethod

from rimekeeper.core.errors import EdgeError
from rimekeeper.core.model import Delivery, Health, SourceId
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.ports_seen import PortLister
from rimekeeper.intake.reporter import Reporter
from rimekeeper.intake.serial_open import PORT_FAULTS
from rimekeeper.runtime.ports import Clock, Inbox

FULL_PAUSE = 0.05
"""Pause when the inbox is full, so that a babbling port can't spin a core."""


class SilentError(EdgeError):
    """Nothing readable for too long: the port must be opened anew."""

    def __init__(self, why: str, health: Health = Health.FAILURE) -> None:
        super().__init__(why)
        self.health = health


class PortThread(ABC):
    """A port as an :class:`~rimekeeper.runtime.ports.Intake`; what is said on it is the subclass's."""

    def __init__(
        self, kind: str, name: str, inbox: Inbox, clock: Clock, lister: PortLister, backoff: Backoff | None
    ) -> None:
        """Prepare; nothing is opened before :meth:`start`. ``kind`` names the thread."""
        self.source = SourceId(name)
        self._kind = kind
        self._inbox = inbox
        self._clock = clock
        self._lister = lister
        self._backoff = backoff or Backoff(0.5, 15.0, random.Random(name))  # noqa: S311
        self._reporter = Reporter(self.source, inbox, clock)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Open and work in a thread of its own."""
        if self._thread is None:
            self._stop.clear()
            self._thread = threading.Thread(target=self._run, name=f"{self._kind} {self.source}", daemon=True)
            self._thread.start()

    def stop(self, timeout: float = 5.0) -> None:
        """Close the port and join."""
        self._stop.set()
        if (thread := self._thread) is not None:
            thread.join(timeout)
            if not thread.is_alive():
                self._thread = None

    @abstractmethod
    def _open_and_work(self) -> None:
        """Open the port and work on it until stopped; an error says that it must be opened anew."""

    @abstractmethod
    def _lost(self, fault: Exception) -> str:
        """The sentence about a port that went away."""

    @abstractmethod
    def _broken(self, fault: Exception) -> str:
        """The sentence about a fault of ours."""

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._open_and_work()
            except SilentError as fault:
                self._reporter.say(fault.health, str(fault))
            except EdgeError as fault:
                self._reporter.say(Health.FAILURE, str(fault))
            except PORT_FAULTS as fault:
                self._reporter.say(Health.FAILURE, self._lost(fault))
            except Exception as fault:  # noqa: BLE001 - a fault of ours here must not end the port for good
                self._reporter.say(Health.FAILURE, self._broken(fault))
            self._stop.wait(self._backoff.wait())

    def _hand_over(self, delivery: Delivery) -> None:
        if not self._inbox.deliver(delivery):
            self._stop.wait(FULL_PAUSE)
