"""The daemon's clock: UTC that never runs backwards, except by a step that is announced."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from rimekeeper.core.messages import ClockStepped
from rimekeeper.core.model import Instant, Millis

BEGINNING = Instant(0)
STEP = 2_000
"""A wall clock that is off by more than this, in ms, was set; by less, it is followed gently."""
FOLLOW = 200
"""One part in this of the time that passed is used up to follow the wall clock (0.5 %)."""


def _wall() -> int:
    return time.time_ns() // 1_000_000


def _steady() -> int:
    # Unlike the monotonic clock this one goes on while the machine sleeps, so that waking is not a step.
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000


class SystemClock:
    """UTC in ms, carried by the machine's steady clock and checked against the wall clock at every look."""

    def __init__(self, wall: Callable[[], int] = _wall, steady: Callable[[], int] = _steady) -> None:
        """Anchor the steady clock to the wall clock (both in ms)."""
        self._wall, self._steady = wall, steady
        self._anchor, self._at = wall(), steady()
        self._last = self._anchor
        self._lock = threading.Lock()
        self.on_step: Callable[[ClockStepped], None] = lambda _: None
        """Called once for every step, before ``now`` returns the first instant after it. Must not block."""

    def now(self) -> Instant:
        """The present instant."""
        with self._lock:
            steady, wall = self._steady(), self._wall()
            passed = steady - self._at
            expected = self._anchor + passed
            off = wall - expected
            if abs(off) > STEP:
                # Between two looks the clock may be both set and go on; what it was set by is what is off.
                self._anchor, self._at, self._last = wall, steady, wall
                self.on_step(ClockStepped(at=Instant(wall), by=Millis(off)))
                return Instant(wall)
            allowed = passed // FOLLOW
            if allowed:
                self._anchor, self._at = expected + max(-allowed, min(allowed, off)), steady
            self._last = max(self._last, expected)
            return Instant(self._last)


class EventClock:
    """Time as the events tell it, for replays: it stands still between them."""

    def __init__(self, start: Instant = BEGINNING) -> None:
        """Begin at ``start``."""
        self._now = start

    def now(self) -> Instant:
        """The latest instant that was followed."""
        return self._now

    def follow(self, at: Instant) -> None:
        """Move on to ``at``; never back."""
        self._now = max(self._now, at)
