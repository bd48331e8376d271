"""Topics on which the house is spoken to (command buttons): a worker that acts, then acknowledges."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass

from rimekeeper.core.model import Receipt
from rimekeeper.intake.mqtt_filters import FilterTree

MOST_WAITING = 100


@dataclass(frozen=True, slots=True)
class Heard:
    """A message on a topic that somebody listens to.

    ``again`` says that it may have been acted on before; ``token`` is then the same as the first time.
    """

    topic: str
    payload: bytes
    again: bool = False
    token: str | None = None


HeardCallback = Callable[[Heard], None]


class Buttons:
    """Calls back in a thread of its own, so that a slow answer doesn't hold up the readings."""

    def __init__(self, name: str, failed: Callable[[Heard, str], None]) -> None:
        """``failed`` is told of a call that raised, or of one that could not be made."""
        self._name = name
        self._failed = failed
        self._tree: FilterTree[HeardCallback] = FilterTree()
        self._any = False
        self._queue: queue.Queue[tuple[HeardCallback, Heard, Receipt | None] | None] = queue.Queue(
            MOST_WAITING
        )
        self._thread: threading.Thread | None = None

    def add(self, name: str, callback: HeardCallback) -> None:
        """Call ``callback`` for every message on the filter."""
        self._tree.file(name, callback)
        self._any = True

    def callback_for(self, topic: str) -> HeardCallback | None:
        """Who listens to the topic."""
        return next(self._tree.fitting(topic), None) if self._any else None

    def press(self, callback: HeardCallback, heard: Heard, receipt: Receipt | None) -> None:
        """Act on a message soon; it is acknowledged once that is done, whether it went well or not."""
        try:
            self._queue.put_nowait((callback, heard, receipt))
        except queue.Full:
            self._failed(heard, f"more than {MOST_WAITING} messages wait to be acted on")
            if receipt is not None:
                receipt.settle()

    def start(self) -> None:
        """Begin to act."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name=f"buttons {self._name}", daemon=True)
            self._thread.start()

    def stop(self, timeout: float) -> None:
        """Finish the present call, leave the rest unacknowledged (it comes again), and join."""
        while (thread := self._thread) is not None:
            try:
                self._queue.put_nowait(None)
            except queue.Full:
                self._drop()
                continue
            thread.join(timeout)
            self._drop()
            self._thread = None

    def _drop(self) -> None:
        while not self._queue.empty():
            try:
                self._queue.get_nowait()
            except queue.Empty:
                return

    def _run(self) -> None:
        while (task := self._queue.get()) is not None:
            callback, heard, receipt = task
            try:
                callback(heard)
            except Exception as fault:  # noqa: BLE001 - one failing press must neither stop the others nor come for ever
                self._failed(heard, f"acting on it failed: {fault}")
            if receipt is not None:
                receipt.settle()
