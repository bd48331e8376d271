"""The uncertainty that was counted against a critical limit, and by how much the limit was met or missed, in words."""

from __future__ import annotations

from collections.abc import Iterable

from rimekeeper.core.model import Instant
from rimekeeper.core.plan import Approach, StagePlan
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.state import StageRun
from rimekeeper.core.tracking.checks.stage_check import shown_target, target_met
from rimekeeper.review.wording import Wording

SMALLEST = 0.005
"""K; less is "just"."""

NEAR = 2.0
"""K; further from the limit the distance is seen from the number itself."""


def counted_words(plan: StagePlan | None, run: StageRun, wording: Wording, *, fresh: bool = True) -> str:
    """Such as "±0.22 °C counted: met with 0.41 °C to spare"; "" where none was counted or nothing is known now."""
    if plan is None or plan.target is None or not plan.critical:
        return ""
    if run.uncertainty is None or run.margin is None:
        return ""
    met = target_met(plan, run)
    if not met and not fresh:
        return ""
    counted = f"{wording.fine_step(run.uncertainty, '±')} counted"
    size = wording.fine_step(abs(run.margin)) if abs(run.margin) >= SMALLEST else "nothing"
    if not met and run.margin < -run.uncertainty - NEAR:
        return f"{counted}{_from(plan, run.uncertainty, wording)}"
    if met:
        return f"{counted}: met with {size} to spare"
    return f"{counted}: {size} to spare" if run.margin >= 0.0 else f"{counted}: {size} short"


def _from(plan: StagePlan, uncertainty: float, wording: Wording) -> str:
    """From where on the target counts, with the uncertainty against it."""
    needed = shown_target(plan, uncertainty)
    if needed is None or plan.approach is Approach.WITHIN:
        return ""
    if plan.approach is Approach.RISING:
        return f": reached from {wording.fine(needed.celsius - plan.band.kelvin)} up"
    return f": reached from {wording.fine(needed.celsius + plan.band.kelvin)} down"


def measured_with(
    numbers: Iterable[int], records: dict[int, Calibration | PlungeTest | None], until: Instant
) -> str:
    """With which calibrations a stage was measured, and whether one of them had run out before it ended."""
    parts = []
    for number in sorted(numbers):
        record = records.get(number)
        if not isinstance(record, Calibration):
            parts.append("not calibrated")
        elif record.due <= until:
            parts.append(f"calibration {number}, past due")
        else:
            parts.append(f"calibration {number}")
    return "; ".join(dict.fromkeys(parts))
