"""Keeping a curve in bounded memory: recent points as they came, older ones averaged, ever more coarsely.

A group of old points may span at most a fixed share of its age, so a curve of any length keeps about the same
number of points while a fit over it loses almost nothing: within so short a span the curve is nearly straight,
and the mean of a straight piece lies on it.
"""

from __future__ import annotations

MOST_POINTS = 128
"""A curve is thinned when it grows beyond this."""
_RAW_KEPT = 36
_ROOM = 96
_SHARE_OF_AGE = 1.0 / 20.0


def thin(
    times: tuple[int, ...], celsius: tuple[float, ...], counts: tuple[int, ...]
) -> tuple[tuple[int, ...], tuple[float, ...], tuple[int, ...]]:
    """Average neighbouring old points (each standing for ``counts`` readings) until at most 96 are left.

    Times are in ms and rising. The newest 36 points are left alone. The result depends on nothing but the
    arguments, so the same readings always leave the same points.
    """
    share = _SHARE_OF_AGE
    while len(times) > _ROOM:
        times, celsius, counts = _merge(times, celsius, counts, share)
        share *= 1.3
    return times, celsius, counts


def _merge(
    times: tuple[int, ...], celsius: tuple[float, ...], counts: tuple[int, ...], share: float
) -> tuple[tuple[int, ...], tuple[float, ...], tuple[int, ...]]:
    newest = times[-1]
    old = len(times) - _RAW_KEPT
    out_times: list[int] = []
    out_celsius: list[float] = []
    out_counts: list[int] = []
    first = 0
    while first < old:
        start = times[first]
        last = first
        weight = counts[first]
        moment = 0.0
        heat = celsius[first] * weight
        for i in range(first + 1, old):
            if times[i] - start > (newest - times[i]) * share:
                break
            n = counts[i]
            weight += n
            moment += (times[i] - start) * n
            heat += celsius[i] * n
            last = i
        if last == first:
            out_times.append(start)
            out_celsius.append(celsius[first])
        else:
            out_times.append(start + round(moment / weight))
            out_celsius.append(heat / weight)
        out_counts.append(weight)
        first = last + 1
    return (
        (*out_times, *times[old:]),
        (*out_celsius, *celsius[old:]),
        (*out_counts, *counts[old:]),
    )
