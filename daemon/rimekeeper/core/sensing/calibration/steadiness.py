"""Whether a probe has settled. The criterion is ours and stated here; there is no published one for a kitchen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

SECONDS = 60.0
"""The stretch is at least this long,"""
READINGS = 8
"""of at least so many readings,"""
PAUSE = 1.0 / 3.0
"""with no pause longer than this share of it,"""
DRIFT = 0.05
"""its least-squares slope (K per minute) no steeper than this, or than a lone step of the resolution makes it,"""
LONE_STEP = 1.5
"""(a lone step half way gives a slope of one and a half of it over the stretch),"""
SPREAD = 0.1
"""and the standard deviation (K) no more than this, or one step of the resolution."""

_NO_TEMPERATURE = 1e4


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What a stretch of readings was like. ``why`` says what is still missing, and is empty when it is steady.

    ``mean`` in °C; ``spread`` is the standard deviation (K); ``seconds`` is the length of the stretch.
    """

    steady: bool
    mean: float
    spread: float
    drift_per_minute: float
    readings: int
    seconds: float
    why: str


def last_stretch(times_ms: Sequence[int]) -> int:
    """Where the shortest stretch begins, up to the last reading, that is long enough to be judged; 0 if none is.

    To be used before :func:`judge`, so that the way to the reference is not judged with the rest at it.
    """
    for first in range(len(times_ms) - READINGS, 0, -1):
        if times_ms[-1] - times_ms[first] >= SECONDS * 1000.0:
            return first
    return 0


def judge(times_ms: Sequence[int], shown: Sequence[float], resolution: float) -> Steadiness:
    """Judge the whole stretch given: instants (ms), what the probe showed (°C), its smallest step (K).

    Never raises; with nothing usable it is not steady, with zeros for the numbers and the reason in ``why``.
    """
    pairs = sorted(zip(times_ms, shown, strict=False))
    if not pairs:
        return Steadiness(steady=False, mean=0.0, spread=0.0, drift_per_minute=0.0, readings=0, seconds=0.0,
                          why="No reading yet: look whether the probe sends.")  # fmt: skip
    seconds = (pairs[-1][0] - pairs[0][0]) / 1000.0
    if not all(-_NO_TEMPERATURE < value < _NO_TEMPERATURE for _, value in pairs):
        return Steadiness(steady=False, mean=0.0, spread=0.0, drift_per_minute=0.0, readings=len(pairs),
                          seconds=seconds, why="Some readings are no temperature: look to the probe and its plug.")  # fmt: skip
    step = resolution if 0.0 < resolution < _NO_TEMPERATURE else 0.0
    mean = math.fsum(value for _, value in pairs) / len(pairs)
    spread = 0.0
    if len(pairs) > 1:
        spread = math.sqrt(math.fsum((value - mean) ** 2 for _, value in pairs) / (len(pairs) - 1))
    drift = _slope_per_minute(pairs, mean)
    why = _missing([at for at, _ in pairs], seconds, spread, drift, step)
    return Steadiness(not why, mean, spread, drift, len(pairs), seconds, why)


def _slope_per_minute(pairs: Sequence[tuple[int, float]], mean: float) -> float:
    middle = math.fsum(at - pairs[0][0] for at, _ in pairs) / len(pairs)
    across = [at - pairs[0][0] - middle for at, _ in pairs]
    square = math.fsum(x * x for x in across)
    if square <= 0.0:
        return 0.0
    return (
        math.fsum(x * (value - mean) for x, (_, value) in zip(across, pairs, strict=True)) / square * 60_000.0
    )


def _missing(times: Sequence[int], seconds: float, spread: float, drift: float, step: float) -> str:
    """The first thing that the criterion still misses."""
    if seconds < SECONDS:
        return f"Hold it still: {seconds:.0f} s of {SECONDS:.0f} s."
    if len(times) < READINGS:
        return f"Hold it still: {len(times)} of {READINGS} readings."
    if max(after - before for before, after in pairwise(times)) > seconds * 1000.0 * PAUSE:
        return "There is a long pause between the readings: wait until they come evenly."
    allowed = max(DRIFT, LONE_STEP * step * 60.0 / seconds)
    if abs(drift) > allowed:
        way = "rising" if drift > 0.0 else "falling"
        return f"Still {way} by {abs(drift):.2f} K per minute; at most {allowed:.2f}. Wait."
    if spread > max(SPREAD, step):
        return f"The readings scatter by {spread:.2f} K; at most {max(SPREAD, step):.2f}. Stir, and hold it still."
    return ""
