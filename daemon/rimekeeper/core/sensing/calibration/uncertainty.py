"""How far a corrected temperature may be off (k = 2), whether a calibration is in force, and what that counts for.

After the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008): variances add up, U = 2 u.
"""

from __future__ import annotations

import enum
import math
from operator import attrgetter

from rimekeeper.core.sensing.calibration.record import Calibration, CalibrationPoint

DUE_SOON_MS = 14 * 24 * 3600 * 1000
NONLINEARITY = 0.05
"""K, k = 1: how far a probe bends away from a line through two points (our choice).

A bend leaves its chord by the square of the chord's length, so pieces of a calibration with more points have less.
"""
UNKNOWN_GAIN = 0.005
"""Half width of the gain where no second point tells it: 0.5 % of the distance from the point (our choice)."""
SECONDS_APART = 10.0
"""Readings of one bath closer than this are not independent, and are counted as one (our choice)."""

_THIRD = 1.0 / 3.0
_REFERENCE = attrgetter("reference")


class CalibrationState(enum.StrEnum):
    """Whether a calibration counts."""

    NONE = "not calibrated"
    IN_FORCE = "calibrated"
    DUE_SOON = "due soon"
    PAST_DUE = "past due"


def state_of(calibration: Calibration | None, now_ms: int) -> CalibrationState:
    """The state of a probe's calibration at an instant (ms since 1970 UTC)."""
    if calibration is None or not calibration.points:
        return CalibrationState.NONE
    left = calibration.due - now_ms
    if left <= 0:
        return CalibrationState.PAST_DUE
    return CalibrationState.DUE_SOON if left <= DUE_SOON_MS else CalibrationState.IN_FORCE


def counted(calibration: Calibration | None, accuracy: float, celsius: float, now_ms: int) -> float:
    """What is counted against a critical limit (K, k = 2) at a corrected temperature (°C).

    The expanded uncertainty while the calibration is in force; once it is past due the larger of that and
    ``accuracy`` (K, what is assumed of the probe); without a calibration ``accuracy``.
    """
    if calibration is None or not calibration.points:
        return accuracy
    found = expanded(calibration, celsius)
    return found if now_ms < calibration.due else max(found, accuracy)


def expanded(calibration: Calibration, celsius: float) -> float:
    """Expanded uncertainty (K, k = 2) of a temperature (°C) corrected with a calibration.

    Adds up the points' own (reference, scatter, resolution), how they weigh at this temperature, the resolution
    of the reading, the drift until the calibration is due, and what a straight line or a lone point leaves unsaid.
    Grows with the distance beyond the points. Infinite without a point, or where ``celsius`` is no number.
    """
    points = calibration.points
    if not points or not -1e6 < celsius < 1e6:
        return math.inf
    resolution, drift = calibration.resolution, calibration.drift
    square = resolution * resolution / 12.0 + drift * drift * _THIRD
    if len(points) == 1:
        return 2.0 * math.sqrt(square + _alone(points[0], resolution, celsius))
    if len(points) > 2:
        return 2.0 * math.sqrt(square + _of_pieces(calibration, celsius))
    low, high = points
    if low.reference > high.reference:
        low, high = high, low
    w = (celsius - low.reference) / (high.reference - low.reference)
    bent = NONLINEARITY * _beyond(w)
    square += (1.0 - w) ** 2 * _square(low, resolution) + w * w * _square(high, resolution) + bent * bent
    return 2.0 * math.sqrt(square)


def along_line(
    celsius: float, low: float, low_u: float, high: float, high_u: float,
    resolution: float, drift: float, nonlinearity: float = NONLINEARITY,
) -> float:  # fmt: skip
    """Expanded uncertainty (K, k = 2) on the line through two points, everything in hand, for a check on paper.

    Points in °C with their standard uncertainties (K, k = 1); resolution (whole step) and drift (half width) in K.
    """
    w = (celsius - low) / (high - low)
    bent = nonlinearity * _beyond(w)
    return 2.0 * math.sqrt(
        ((1.0 - w) * low_u) ** 2 + (w * high_u) ** 2 + resolution**2 / 12.0 + drift**2 * _THIRD + bent**2
    )


def point_u(point: CalibrationPoint, resolution: float) -> float:
    """Standard uncertainty (K, k = 1) of one point: reference, scatter of the mean, resolution of the readings."""
    return math.sqrt(_square(point, resolution))


def _square(point: CalibrationPoint, resolution: float) -> float:
    independent = min(point.readings, (point.until - point.since) / (1000.0 * SECONDS_APART))
    scatter = point.spread * point.spread / max(1.0, independent)
    return point.reference_u * point.reference_u + scatter + resolution * resolution / 12.0


def _beyond(w: float) -> float:
    """How much further a bend has left its line at ``w`` of the way along it than at the most within it."""
    return max(1.0, abs(4.0 * w * (1.0 - w)))


def _alone(point: CalibrationPoint, resolution: float, celsius: float) -> float:
    away = UNKNOWN_GAIN * (celsius - point.reference)
    return _square(point, resolution) + away * away * _THIRD


def _of_pieces(calibration: Calibration, celsius: float) -> float:
    points = sorted(calibration.points, key=_REFERENCE)
    resolution = calibration.resolution
    first, last = points[0], points[-1]
    if celsius < first.reference and calibration.correction.gain_below == 1.0:
        return _alone(first, resolution, celsius)
    if celsius > last.reference and calibration.correction.gain_above == 1.0:
        return _alone(last, resolution, celsius)
    after = 1
    while after < len(points) - 1 and celsius > points[after].reference:
        after += 1
    low, high = points[after - 1], points[after]
    span = high.reference - low.reference
    w = (celsius - low.reference) / span
    bent = NONLINEARITY * (span / (last.reference - first.reference)) ** 2 * _beyond(w)
    return (1.0 - w) ** 2 * _square(low, resolution) + w * w * _square(high, resolution) + bent * bent
