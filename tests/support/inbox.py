"""An inbox that keeps what edges hand over, for tests of one edge alone, and the real time as a clock."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from rimekeeper.core.model import Delivery, Health, Instant, Rejected, Sample, SourceState


class WallClock:
    """The machine's clock."""

    def now(self) -> Instant:
        return Instant(time.time_ns() // 1_000_000)


class KeepingInbox:
    """Keeps deliveries and reports in order; ``full`` makes it refuse as the pipeline's inbox does."""

    def __init__(self) -> None:
        self.deliveries: list[Delivery] = []
        self.reports: list[SourceState] = []
        self.refusals = 0
        self.full = False
        self._changed = threading.Condition()

    def deliver(self, delivery: Delivery) -> bool:
        with self._changed:
            if self.full:
                self.refusals += 1
                return False
            self.deliveries.append(delivery)
            self._changed.notify_all()
            return True

    def report(self, state: SourceState) -> None:
        with self._changed:
            self.reports.append(state)
            self._changed.notify_all()

    @property
    def samples(self) -> list[Sample]:
        with self._changed:
            return [sample for delivery in self.deliveries for sample in delivery.samples]

    @property
    def rejected(self) -> list[Rejected]:
        with self._changed:
            return [rejected for delivery in self.deliveries for rejected in delivery.rejected]

    @property
    def values(self) -> list[float]:
        return [sample.value for sample in self.samples]

    def wait(self, holds: Callable[[], object], timeout: float = 5.0) -> None:
        """Wait until ``holds()`` is true, or fail with what there is."""
        end = time.monotonic() + timeout
        while not holds():
            with self._changed:
                self._changed.wait(0.02)
            if time.monotonic() > end:
                raise AssertionError(
                    f"not within {timeout} s; reports {self.reports}; values {self.values[-5:]}; rejected {self.rejected[-3:]}"
                )

    def wait_health(self, health: Health, why: str = "", timeout: float = 5.0) -> str:
        """Wait for a report of that health whose text contains ``why``; gives the whole text."""
        fitting: list[str] = []

        def seen() -> bool:
            fitting[:] = [r.why for r in list(self.reports) if r.health is health and why in r.why]
            return bool(fitting)

        self.wait(seen, timeout)
        return fitting[-1]
