"""The morning's word about calibrations that run out."""

from __future__ import annotations

from collections.abc import Callable

from rimekeeper.core.sensing.calibration.uncertainty import CalibrationState, state_of
from rimekeeper.runtime.ports import Glance
from rimekeeper.runtime.schedule import Schedule

HOUR, MINUTE = 8, 0


def calibrations_to_do(glance: Glance) -> str:
    """Which probes are due soon or past due, in a sentence; "" when none is.

    A probe that was never calibrated is not named every morning: its page says so.
    """
    found: dict[CalibrationState, list[str]] = {}
    for probe in sorted(glance.plan.probes.values(), key=lambda p: p.name):
        slot = glance.state.metrology.get(probe.id)
        state = state_of(slot.calibration if slot is not None else None, glance.at)
        found.setdefault(state, []).append(probe.name)
    parts = [
        f"{words}: {', '.join(found[state])}"
        for state, words in (
            (CalibrationState.PAST_DUE, "Past its calibration date"),
            (CalibrationState.DUE_SOON, "Calibration due within a fortnight"),
        )
        if state in found
    ]
    return ". ".join(parts) + "." if parts else ""


def remind_of_calibrations(
    schedule: Schedule, look: Callable[[], Glance], say: Callable[[str], None]
) -> None:
    """Say it every morning at eight by the kitchen's clock, when there is something to say."""

    def remind() -> None:
        words = calibrations_to_do(look())
        if words:
            say(words)

    schedule.daily("calibrations", HOUR, MINUTE, remind)
