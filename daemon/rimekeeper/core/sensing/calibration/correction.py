"""From what a probe shows to what is believed: straight lines through the calibration's points."""

from __future__ import annotations

from rimekeeper.core.sensing.calibration.record import Correction


def corrected(correction: Correction, shown: float) -> float:
    """The corrected temperature (°C) where the probe shows ``shown`` (°C)."""
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
    return high[1]
