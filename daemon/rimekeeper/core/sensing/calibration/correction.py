"""From what a probe shows to what is believed: straight lines through the calibration's points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.sensing.calibration.record import CalibrationPoint, Correction, Method
from rimekeeper.core.sensing.calibration.reference import LARGEST_U

# What makes a calibration absurd. All are our choice.
LARGEST_OFFSET = 5.0
"""K. Further off, the probe is broken or it is the wrong one."""
LARGEST_ICE_OFFSET = 3.0
"""K at the ice point."""
LOWEST_GAIN, HIGHEST_GAIN = 0.95, 1.05
SHORTEST_SPAN = 20.0
"""K between the outermost points, and of a piece whose gain is carried on beyond its end."""
SHORTEST_PIECE = 5.0
"""K between neighbouring points."""
LARGEST_SPREAD = 0.5
"""K, standard deviation of the readings of one point."""
COLDEST_BOILING, HOTTEST_BOILING = 81.0, 103.0
"""°C: water under the pressure of any kitchen."""


def corrected(correction: Correction, shown: float) -> float:
    """The corrected temperature (°C) where the probe shows ``shown`` (°C). What is no number stays none."""
    knots = correction.knots
    if not knots:
        return shown
    low, high = knots[0], knots[-1]
    if shown <= low[0]:
        return low[1] + (shown - low[0]) * correction.gain_below
    if shown >= high[0]:
        return high[1] + (shown - high[0]) * correction.gain_above
    before = low
    for after in knots[1:]:
        if shown <= after[0]:
            return before[1] + (shown - before[0]) * (after[1] - before[1]) / (after[0] - before[0])
        before = after
    return shown


def corrected_many(correction: Correction, shown: NDArray[np.float64]) -> NDArray[np.float64]:
    """:func:`corrected` for an array of any shape, to the last bit."""
    if not correction.knots:
        return shown
    xs, ys = np.array(correction.knots, dtype=np.float64).T
    with np.errstate(all="ignore"):
        below = ys[0] + (shown - xs[0]) * correction.gain_below
        above = ys[-1] + (shown - xs[-1]) * correction.gain_above
        ends = np.where(shown <= xs[0], below, np.where(shown >= xs[-1], above, shown))
        if len(xs) == 1:
            return ends
        piece = np.clip(np.searchsorted(xs, shown) - 1, 0, len(xs) - 2)
        x, y = xs[piece], ys[piece]
        inside = y + (shown - x) * (ys[piece + 1] - y) / (xs[piece + 1] - x)
        return np.where((shown > xs[0]) & (shown < xs[-1]), inside, ends)


def shown_for(correction: Correction, celsius: float) -> float:
    """What the probe shows (°C) where the corrected temperature is ``celsius``: the inverse of :func:`corrected`."""
    inverse = Correction(
        tuple((reference, shown) for shown, reference in correction.knots),
        1.0 / correction.gain_below,
        1.0 / correction.gain_above,
    )
    return corrected(inverse, celsius)


def errors(points: Sequence[CalibrationPoint], correction: Correction) -> tuple[float, ...]:
    """Corrected minus reference (K) at each point: as found with the old correction, as left with the new one."""
    return tuple(corrected(correction, point.shown) - point.reference for point in points)


def fit(points: Sequence[CalibrationPoint], lowest: float, highest: float) -> Correction:
    """The correction that goes through the points, of a probe that reads from ``lowest`` to ``highest`` (°C).

    One point is an offset, two are a line, three and more straight pieces. Beyond the ends the gain of the last
    piece goes on if that piece spans 20 K or more; else temperatures move on as shown, with a gain of one.

    Raises:
        RefusedError: The points are absurd; says which, why, and what to do.
    """
    if not points:
        raise RefusedError("There is no point to calibrate with: hold the probe in an ice bath and take one.")
    for point in points:
        _check(point, lowest, highest)
    ordered = sorted(points, key=lambda point: point.reference)
    knots = tuple((point.shown, point.reference) for point in ordered)
    if len(knots) == 1:
        return Correction(knots)
    span = knots[-1][1] - knots[0][1]
    if span < SHORTEST_SPAN:
        raise RefusedError(
            f"The outermost points, {knots[0][1]:.2f} °C and {knots[-1][1]:.2f} °C, are less than {SHORTEST_SPAN:g} K "
            "apart: calibrate with one of them alone, or take another that is further off."
        )
    gains = [_gain(before, after) for before, after in pairwise(knots)]
    wide = [after[1] - before[1] >= SHORTEST_SPAN for before, after in pairwise(knots)]
    return Correction(knots, gains[0] if wide[0] else 1.0, gains[-1] if wide[-1] else 1.0)


def _check(point: CalibrationPoint, lowest: float, highest: float) -> None:
    """Refuse a point that is absurd by itself."""
    name = f"The point {point.method} ({point.reference:.2f} °C)"
    if not all(map(math.isfinite, (point.reference, point.reference_u, point.shown, point.spread))):
        raise RefusedError(f"{name} has a number that is none: take it again.")
    if point.readings < 1:
        raise RefusedError(f"{name} has no reading: take it again, and wait until the probe is steady.")
    if not lowest <= point.reference <= highest:
        raise RefusedError(
            f"{name} is outside what the sensor reads, {lowest:g} °C to {highest:g} °C: take a reference within it, "
            "or correct the kind of sensor in the kitchen file."
        )
    if not 0.0 < point.reference_u <= LARGEST_U:
        raise RefusedError(
            f"{name}: a reference can't be unsure by {point.reference_u:g} K (k = 1): give more than 0 and at most "
            f"{LARGEST_U:g} K, from its certificate."
        )
    if not 0.0 <= point.spread <= LARGEST_SPREAD:
        raise RefusedError(
            f"{name}: its readings scatter by {point.spread:.2f} K, more than {LARGEST_SPREAD:g} K: stir the bath, look "
            "to the plug and take it again."
        )
    _check_method(point, name)
    off = point.shown - point.reference
    largest = LARGEST_ICE_OFFSET if point.method is Method.ICE else LARGEST_OFFSET
    if abs(off) > largest:
        raise RefusedError(
            f"{name}: the probe shows {point.shown:.2f} °C and is off by {off:+.2f} K, more than {largest:g} K. Look "
            "whether it is the right probe and the right kind of sensor, and whether the reference is what it is "
            "meant to be; then replace the probe."
        )


def _check_method(point: CalibrationPoint, name: str) -> None:
    if point.method is Method.ICE and abs(point.reference) > 0.1:
        raise RefusedError(
            f"{name}: melting ice is at 0.00 °C. Take it as a comparison if it was something else."
        )
    if point.method is Method.BOILING and not COLDEST_BOILING <= point.reference <= HOTTEST_BOILING:
        raise RefusedError(
            f"{name}: water boils at no such temperature in a kitchen. Give the pressure at the place in kPa."
        )


def _gain(before: tuple[float, float], after: tuple[float, float]) -> float:
    """The gain between two knots, refused when they are too close or it is absurd."""
    names = f"{before[1]:.2f} °C and {after[1]:.2f} °C"
    if after[1] - before[1] < SHORTEST_PIECE:
        raise RefusedError(
            f"The points {names} are the same or less than {SHORTEST_PIECE:g} K apart: leave one of them out."
        )
    if after[0] <= before[0]:
        raise RefusedError(
            f"Between {names} the probe shows {before[0]:.2f} °C and then {after[0]:.2f} °C, which does not rise: the "
            "points may have been mixed up. Take both again."
        )
    gain = (after[1] - before[1]) / (after[0] - before[0])
    if not LOWEST_GAIN <= gain <= HIGHEST_GAIN:
        raise RefusedError(
            f"Between {names} the gain is {gain:.3f}, outside {LOWEST_GAIN:g} to {HIGHEST_GAIN:g}: one of the points is "
            "wrong, or the kind of sensor in the kitchen file. Take both again, then replace the probe."
        )
    return gain
