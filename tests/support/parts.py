"""Small pieces from which tests of the store and the pipeline are put together."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Self

from rimekeeper.core.model import (
    Actor,
    ClockTrust,
    Delivery,
    Instant,
    ProbeId,
    Quality,
    Reading,
    Reason,
    Sample,
    Scale,
    SourceId,
)
from rimekeeper.core.plan import KitchenPlan, ProbePlan, SourcePlan
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from rimekeeper.runtime.inbox import Inbox
from rimekeeper.runtime.pipeline import Pipeline
from support.small_engine import SmallEngine

NOON = Instant(1_795_600_800_000)
ADA = Actor("Ada", "web page")
BROKER = SourceId("mqtt/slipway")


class HandClock:
    """A clock that a test sets."""

    def __init__(self, at: int = NOON) -> None:
        self.at = Instant(at)

    def now(self) -> Instant:
        return self.at

    def on(self, millis: int) -> Instant:
        self.at = Instant(self.at + millis)
        return self.at


class Seconds:
    """Steady seconds that a test lets pass."""

    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


class CountedReceipt:
    """Counts how often it was settled, and where the store stood then."""

    def __init__(self, look: Callable[[], object] = lambda: None) -> None:
        self.settled = 0
        self.seen: object = None
        self._look = look
        self._lock = threading.Lock()

    def settle(self) -> None:
        with self._lock:
            self.settled += 1
            self.seen = self._look()


def plan(*probes: str, clock: ClockTrust = ClockTrust.ARRIVAL) -> KitchenPlan:
    names = probes or ("pan",)
    return KitchenPlan(
        name="Slipway Ices",
        zone="Europe/London",
        sources={BROKER: SourcePlan(BROKER, "Slipway broker", "mqtt")},
        probes={ProbeId(name): ProbePlan(ProbeId(name), name, BROKER, name, clock=clock) for name in names},
    )


def reading(
    probe: str,
    at: int,
    value: float = 20.0,
    *,
    arrived: int | None = None,
    celsius: float | str | None = "raw",
    quality: Quality = Quality.GOOD,
    reason: Reason = Reason.NONE,
    late: bool = False,
) -> Reading:
    return Reading(
        ProbeId(probe),
        Instant(at),
        Instant(at if arrived is None else arrived),
        value,
        value if isinstance(celsius, str) else celsius,
        quality,
        reason,
        late,
        dated_here=arrived is None or arrived == at,
    )


def sample(channel: str, value: float, arrived: int, taken: int | None = None) -> Sample:
    return Sample(
        BROKER,
        channel,
        value,
        Scale.CELSIUS,
        Instant(arrived),
        None if taken is None else Instant(taken),
        text=str(value),
    )


def delivery(
    *samples: Sample, receipt: CountedReceipt | None = None, token: str | None = None, again: bool = False
) -> Delivery:
    return Delivery(BROKER, tuple(samples), receipt=receipt, token=token, again=again)


class Daemon:
    """Store, inbox and pipeline of one run, driven by hand (``turn``) unless started."""

    def __init__(
        self,
        folder: Path,
        plan_: KitchenPlan | None = None,
        *,
        clock: object | None = None,
        engine: object | None = None,
        steady: Callable[[], float] | None = None,
        busy_seconds: float = 0.1,
        awake: Callable[[], float] = time.monotonic,
    ) -> None:
        self.clock = clock or HandClock()
        self.engine = engine or SmallEngine()
        self.steady = steady or Seconds()
        self.inbox = Inbox()
        self.store = Store(folder, busy_seconds=busy_seconds)
        self.reader = Reader(self.store.database)
        self.pipeline = Pipeline(
            plan_ or plan(),
            self.store,
            self.reader,
            self.inbox,
            self.clock,
            engine=self.engine,
            steady=self.steady,
            awake=awake,
        )

    def give(self, *deliveries: Delivery) -> None:
        for one in deliveries:
            assert self.inbox.deliver(one)

    def values(self, probe: str = "pan") -> list[float]:
        return [r.raw for r in self.reader.readings(ProbeId(probe), Instant(0), Instant(2**60))]

    def close(self) -> None:
        self.store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def kinds(entries: Sequence[object]) -> list[str]:
    return [entry.kind for entry in entries]
