"""What is known of a probe as an instrument: its calibration, its uncertainty, its lag, its own time, its class.

From the state alone, so that it costs nothing to show; what comes out of the store is in ``last_day``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from rimekeeper.core.model import Instant, ProbeId, Quality
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.sensing.calibration.uncertainty import CalibrationState, counted, expanded, state_of
from rimekeeper.core.sensing.classes import satisfied
from rimekeeper.core.sensing.pace import Pace
from rimekeeper.core.state import MetrologySlot, ProbeSlot
from rimekeeper.review.wording import UNKNOWN, Wording, length
from rimekeeper.runtime.ports import Glance

WHERE = (0.0, 82.2, -18.0)
"""°C at which a calibration's uncertainty is told besides the present reading: ice, a custard's cook, frozen."""
OFFSET_SAID = 1_000
"""ms; a probe's clock that is no further off is not worth a word."""


def calibration_note(measured: MetrologySlot | None, now: Instant) -> str:
    """Small words beside a number: "" while a calibration is in force."""
    match state_of(measured.calibration if measured is not None else None, now):
        case CalibrationState.NONE:
            return "not calibrated"
        case CalibrationState.PAST_DUE:
            return "calibration past due"
        case _:
            return ""


def heading(slot: ProbeSlot, *, fresh: bool) -> float | None:
    """The lag-corrected temperature (°C) as long as it is of a good reading of now; it proves nothing."""
    return slot.ahead if fresh and slot.quality is Quality.GOOD else None


def metrology_view(glance: Glance, probe: ProbeId, now: Instant, wording: Wording) -> dict[str, Any]:
    """A probe of the plan as an instrument."""
    plan = glance.plan.probes[probe]
    slot = glance.state.probes.get(probe, ProbeSlot(probe))
    measured = glance.state.metrology.get(probe, MetrologySlot(probe))
    fresh = slot.last_at is not None and now - slot.last_at <= plan.silent_after
    if not fresh or slot.quality is Quality.BAD:
        slot = replace(slot, celsius=None, uncorrected=None)  # what it showed then is not what it shows
    celsius = slot.celsius
    ahead = heading(slot, fresh=fresh)
    unsure = counted(measured.calibration, plan.accuracy.kelvin, 0.0 if celsius is None else celsius, now)
    return {
        "probe": probe,
        "uncorrected_celsius": slot.uncorrected,
        "uncorrected_shown": wording.fine(slot.uncorrected),
        "corrected_shown": wording.fine(slot.celsius),
        "corrected_by_shown": _corrected_by(slot, wording),
        "resolution_shown": wording.fine_step(plan.resolution.kelvin),
        "accuracy_shown": wording.fine_step(plan.accuracy.kelvin, "±"),
        "counted_shown": wording.fine_step(unsure, "±"),
        "counted_why": _counted_why(measured.calibration, now) + ("" if celsius is not None else ", at 0 °C"),
        "calibration": calibration_view(measured.calibration, celsius, now, wording),
        "lag": lag_view(measured.plunge, ahead, wording),
        "pace": pace_view(slot.pace, now, wording),
        "class": _class(plan, slot, unsure),
        "test": {
            "under_way": slot.tested_until is not None and slot.tested_until > now,
            "why": slot.tested_why,
            "until": slot.tested_until,
            "until_shown": wording.when(slot.tested_until, now),
        },
    }


def calibration_view(
    calibration: Calibration | None, celsius: float | None, now: Instant, wording: Wording
) -> dict[str, Any]:
    """A calibration in short. ``uncertainties``: U (k = 2) at the present reading and at three fixed places."""
    state = state_of(calibration, now)
    found: dict[str, Any] = {
        "state": state.value,
        "code": state.name.lower(),
        "number": None,
        "at_shown": "",
        "due": None,
        "due_shown": "",
        "due_words": "It was never calibrated." if calibration is None else "",
        "by": "",
        "points": 0,
        "uncertainties": [],
    }
    if calibration is None:
        return found
    left = calibration.due - now
    places = [("at its present reading", celsius), *((f"at {wording.shown(c)}", c) for c in WHERE)]
    return {
        **found,
        "number": calibration.number,
        "at_shown": wording.day(Instant(calibration.at)),
        "due": calibration.due,
        "due_shown": wording.day(Instant(calibration.due)),
        "due_words": f"due in {_days(left)}" if left > 0 else f"past due for {_days(-left)}",
        "by": calibration.by.who,
        "points": len(calibration.points),
        "uncertainties": [
            {
                "where": where,
                "celsius": place,
                "kelvin": None if place is None else round(expanded(calibration, place), 4),
                "shown": UNKNOWN if place is None else wording.fine_step(expanded(calibration, place), "±"),
            }
            for where, place in places
        ],
    }


def lag_view(plunge: PlungeTest | None, ahead: float | None, wording: Wording) -> dict[str, Any]:
    """Its time constant, and where the lag-corrected value stands. It is for guidance and proves no limit."""
    if plunge is None:
        return {"known": False, "words": "not measured", "ahead_celsius": None, "ahead_shown": ""}
    return {
        "known": True,
        "number": plunge.number,
        "seconds": plunge.seconds,
        "words": f"{plunge.seconds:.1f} s ± {plunge.uncertainty:.2f} s in {plunge.medium}",
        "at_shown": wording.day(Instant(plunge.at)),
        "ahead_celsius": ahead,
        "ahead_shown": "" if ahead is None else wording.shown(ahead),
    }


def pace_view(pace: Pace, now: Instant, wording: Wording) -> dict[str, Any]:
    """How often it sends, when it did not, and how far its clock is off."""
    every = "not learnt yet" if pace.interval is None else f"every {_seconds(pace.interval)}"
    if not pace.gaps:
        gaps = "no gap seen"
    else:
        gaps = f"{pace.gaps} gap{'s' if pace.gaps > 1 else ''} seen"
        if pace.gap_at is not None and pace.gap_length is not None:
            gaps += f", the last of {length(pace.gap_length)} up to {wording.when(pace.gap_at, now)}"
    return {
        "interval": pace.interval,
        "every": every,
        "gaps": pace.gaps,
        "gaps_words": gaps,
        "offset": pace.offset,
        "offset_words": _offset(pace.offset),
    }


def _corrected_by(slot: ProbeSlot, wording: Wording) -> str:
    if slot.uncorrected is None or slot.celsius is None:
        return UNKNOWN
    return wording.fine_step(slot.celsius - slot.uncorrected, "+")


def _counted_why(calibration: Calibration | None, now: Instant) -> str:
    match state_of(calibration, now):
        case CalibrationState.NONE:
            return "assumed, because it was never calibrated"
        case CalibrationState.PAST_DUE:
            return "the larger of its calibration and what is assumed, because the calibration is past due"
        case _:
            return "from its calibration (k = 2)"


def _class(plan: ProbePlan, slot: ProbeSlot, unsure: float) -> dict[str, Any]:
    words = satisfied(unsure, plan.resolution.kelvin, slot.pace.interval)
    return {
        "number": words.accuracy_class,
        "accuracy": words.accuracy,
        "interval": words.interval,
        "caution": words.caution,
    }


def _offset(offset: int | None) -> str:
    if offset is None:
        return "sends no time of its own"
    if abs(offset) < OFFSET_SAID:
        return "its clock agrees"
    return f"its clock is {_seconds(abs(offset))} {'ahead' if offset > 0 else 'behind'}"


def _seconds(millis: int) -> str:
    return f"{millis / 1000:.1f} s" if millis < 10_000 else length(millis)


def _days(millis: int) -> str:
    days = millis // 86_400_000
    return f"{days} days" if days >= 2 else length(millis)
