"""A probe's own time: how often it sends, where readings are missing, and how far its clock is off.

Constant work and a few numbers for each probe. The interval is the median of the last seven, so that single gaps and
bursts don't move it. Delivery only ever makes a stamp look older, so the offset of a probe's clock is what the
quickest messages of the last ten to twenty minutes show: the second largest of stamp minus arrival (the second,
so that one nonsensical stamp says nothing). It is too small by the shortest delivery, which nobody can know from
here. All three are chosen by us (no published source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rimekeeper.core.model import MINUTE, SECOND, Instant, Millis

REMEMBERED = 7
"""Intervals of which the median is taken."""
LEARNT = 4
"""As many are needed before a gap can be told."""
GAP = 3
"""Times the usual interval, from which on readings are missing ..."""
SHORTEST_GAP = 2 * SECOND
"""... and at least this long."""
NARROW = 0.05
"""Of the usual interval: less is the same interval."""
WINDOW = 10 * MINUTE
"""Of arrivals, for one half of what the offset is taken from."""


@dataclass(frozen=True, slots=True)
class ClockWindow:
    """The two largest differences (ms, stamp minus arrival) among the stamps that arrived since ``began``."""

    began: Instant
    largest: Millis
    second: Millis | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """What is known of a probe's time."""

    intervals: tuple[Millis, ...] = ()
    """The last few, oldest first."""
    interval: Millis | None = None
    """The usual one; None until enough of them were seen."""
    steady: bool = False
    """Whether those remembered differ by hardly anything; then one more like them is not worth remembering."""
    gaps: int = 0
    gap_at: Instant | None = None
    """When the last gap ended."""
    gap_length: Millis | None = None
    window: ClockWindow | None = None
    earlier: ClockWindow | None = None
    """The window before the present one."""
    offset: Millis | None = None
    """How far its clock is ahead of ours (negative: behind); None while it sends no stamps."""


def paced(pace: Pace, last: Instant | None, taken: Instant, arrived: Instant, stamp: Instant | None) -> Pace:
    """The pace after a reading in its time; ``stamp`` is what the probe itself said, used or not."""
    if last is not None:
        length = taken - last
        usual = pace.interval
        if not pace.steady or usual is None or not -NARROW * usual <= length - usual <= NARROW * usual:
            pace = _timed(pace, Millis(length), taken)
    return pace if stamp is None else _clocked(pace, arrived, Millis(stamp - arrived))


def without_offset(pace: Pace) -> Pace:
    """The pace as it is after our own clock was set: how far the probe's is off must be found anew."""
    return replace(pace, window=None, earlier=None, offset=None)


def _timed(pace: Pace, length: Millis, taken: Instant) -> Pace:
    usual = pace.interval
    if usual is not None and length > SHORTEST_GAP and length > GAP * usual:
        pace = replace(pace, gaps=pace.gaps + 1, gap_at=taken, gap_length=length)
    intervals = (*pace.intervals[1 - REMEMBERED :], length)
    if len(intervals) < LEARNT:
        return replace(pace, intervals=intervals)
    ordered = sorted(intervals)
    usual = ordered[len(ordered) // 2]
    steady = ordered[0] >= usual * (1.0 - NARROW) and ordered[-1] <= usual * (1.0 + NARROW)
    return replace(pace, intervals=intervals, interval=usual, steady=steady)


def _clocked(pace: Pace, arrived: Instant, ahead: Millis) -> Pace:
    window, earlier = pace.window, pace.earlier
    if window is None:
        return replace(pace, window=ClockWindow(arrived, ahead), offset=ahead)
    if arrived - window.began >= WINDOW:
        stale = arrived - window.began >= 2 * WINDOW
        window, earlier = ClockWindow(arrived, ahead), None if stale else window
    elif window.second is not None and ahead <= window.second:
        return pace
    elif ahead > window.largest:
        window = ClockWindow(window.began, ahead, window.largest)
    else:
        window = ClockWindow(window.began, window.largest, ahead)
    return replace(pace, window=window, earlier=earlier, offset=_second_largest(window, earlier))


def _second_largest(window: ClockWindow, earlier: ClockWindow | None) -> Millis:
    seen = [window.largest]
    if window.second is not None:
        seen.append(window.second)
    if earlier is not None:
        seen.append(earlier.largest)
        if earlier.second is not None:
            seen.append(earlier.second)
    seen.sort()
    return seen[-2] if len(seen) > 1 else seen[-1]
