"""A probe under test: what it showed before any correction, whether it is steady, and what its points would give.

Nothing here trusts a number that a page worked out: a point is a stretch of stored readings and a reference, and
mean, spread and steadiness are taken from the readings again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.model import SECOND, Actor, Instant, ProbeId, Quality, Reason
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.calibration.correction import corrected, errors, fit, shown_for
from rimekeeper.core.sensing.calibration.record import (
    Calibration,
    CalibrationPoint,
    Correction,
    Method,
    PlungeTest,
    Written,
)
from rimekeeper.core.sensing.calibration.reference import Known
from rimekeeper.core.sensing.calibration.steadiness import READINGS, Steadiness, judge, last_stretch
from rimekeeper.core.sensing.calibration.uncertainty import expanded
from rimekeeper.core.sensing.lag import NoStep, StepFit, fit_step
from rimekeeper.core.state import MetrologySlot, ProbeSlot
from rimekeeper.core.watching.measuring import DRIFT
from rimekeeper.keeping.reader import Reader
from rimekeeper.review.metrology import WHERE
from rimekeeper.review.wording import Wording, length
from rimekeeper.runtime.ports import Glance

LONGEST_STRETCH = 3_600 * SECOND
MOST_READINGS = 20_000
FEW_SECONDS = 5 * SECOND
SHORTEST_TRACE, LONGEST_TRACE = 180, 3_600
"""Seconds of readings that are shown for a point, and at most."""
SPARE = 2
"""So many times what a point needs, so that the way to it is seen too."""
"""Readings may be stored a little after the instant that a page calls now."""


_NAMES = {Method.ICE: "ice point", Method.BOILING: "boiling point", Method.COMPARISON: "comparison"}


@dataclass(frozen=True, slots=True)
class Trace:
    """Instants (ms) and what the probe showed before any correction (°C), oldest first."""

    times: list[int]
    shown: list[float]


@dataclass(frozen=True, slots=True)
class PointAsked:
    """A point that somebody wants to take: what it was held in, the reference, and which stretch shows it."""

    method: Method
    known: Known
    since: Instant
    until: Instant
    remark: str = ""


def trace(reader: Reader, probe: ProbeId, since: Instant, until: Instant) -> Trace:
    """What the probe showed, from its stored readings; ``until`` is included.

    Good readings and those of a test count; whatever else was wrong with a reading, it is left out.

    Raises:
        RefusedError: the stretch is longer than an hour or holds too many readings.
    """
    if until - since > LONGEST_STRETCH:
        raise RefusedError(f"A stretch of {length(until - since)} is too long; an hour is the most.")
    found = Trace([], [])
    for reading in reader.readings(probe, since, Instant(until + 1)):
        wanted = reading.quality is Quality.GOOD or reading.reason is Reason.FUNCTION_CHECK
        if reading.celsius is None or not wanted:
            continue
        if len(found.times) == MOST_READINGS:
            raise RefusedError("There are too many readings in this stretch. Choose a shorter one.")
        found.times.append(reading.taken_at)
        found.shown.append(shown_for(_correction(reader.database, reading.calibration), reading.celsius))
    return found


@lru_cache(maxsize=64)
def _correction(database: Path, number: int) -> Correction:
    """The correction of a calibration; records never change, so it may be remembered."""
    record = Reader(database).measurement(number) if number else None
    return record.correction if isinstance(record, Calibration) else Correction()


# --- is it steady? --------------------------------------------------------------------------------------------


def enough_for_a_point(slot: ProbeSlot | None) -> int:
    """Seconds of readings in which a probe can show that it is steady, with time to get there; slow ones need more."""
    interval = slot.pace.interval if slot is not None else None
    needed = (
        SHORTEST_TRACE if interval is None else max(SHORTEST_TRACE, SPARE * READINGS * interval // SECOND)
    )
    return min(LONGEST_TRACE, needed)


def steadiness_view(
    glance: Glance, reader: Reader, probe: ProbeId, since: Instant, now: Instant, wording: Wording
) -> dict[str, Any]:
    """The trace since ``since`` and whether its newest stretch is steady; ``why`` says what is missing."""
    plan = glance.plan.probes[probe]
    slot = glance.state.probes.get(probe, ProbeSlot(probe))
    found = trace(reader, probe, since, Instant(now + FEW_SECONDS))
    first = last_stretch(found.times)
    steady = judge(found.times[first:], found.shown[first:], plan.resolution.kelvin)
    why = _stale(found, plan, now) or steady.why
    under_test = slot.tested_until is not None and slot.tested_until > now
    return {
        "probe": probe,
        "now": now,
        "under_test": under_test,
        "tested_why": slot.tested_why,
        "steady": steady.steady and not why,
        "why": why,
        "mean": steady.mean if found.times else None,
        "mean_shown": wording.fine(steady.mean if found.times else None),
        "spread_shown": wording.fine_step(steady.spread),
        "drift_shown": f"{wording.fine_step(steady.drift_per_minute, '+')} per minute",
        "readings": steady.readings,
        "seconds": steady.seconds,
        "since": found.times[first] if found.times else None,
        "until": found.times[-1] if found.times else None,
        "last": found.shown[-1] if found.shown else None,
        "last_shown": wording.fine(found.shown[-1] if found.shown else None),
        "times": found.times,
        "range_kelvin": max(found.shown) - min(found.shown) if found.shown else 0.0,
        "values": [wording.value(one) for one in found.shown],
        "unit": wording.unit,
    }


def _stale(found: Trace, plan: ProbePlan, now: Instant) -> str:
    if found.times and now - found.times[-1] > plan.silent_after:
        return f"No fresh reading for {length(now - found.times[-1])}: look whether the probe still sends."
    return ""


# --- points and what they give --------------------------------------------------------------------------------


def point_of(reader: Reader, plan: ProbePlan, asked: PointAsked) -> CalibrationPoint:
    """The point, from the stored readings of its stretch.

    Raises:
        RefusedError: the stretch is not steady by the criterion.
    """
    found = trace(reader, plan.id, asked.since, asked.until)
    steady: Steadiness = judge(found.times, found.shown, plan.resolution.kelvin)
    if not steady.steady:
        raise RefusedError(f"That stretch can't be taken as the {_NAMES[asked.method]}. {steady.why}")
    remark = f"{asked.known.remark}; {asked.remark}" if asked.remark else asked.known.remark
    return CalibrationPoint(
        asked.method,
        asked.known.celsius,
        asked.known.u,
        steady.mean,
        steady.spread,
        steady.readings,
        Written(found.times[0]),
        Written(found.times[-1]),
        remark,
    )


def points_of(reader: Reader, plan: ProbePlan, asked: Sequence[PointAsked]) -> tuple[CalibrationPoint, ...]:
    """All the points.

    Raises:
        RefusedError: one is not steady, or two share readings.
    """
    ordered = sorted(asked, key=lambda one: one.since)
    for before, after in pairwise(ordered):
        if after.since <= before.until:
            raise RefusedError(
                f"The {_NAMES[before.method]} and the {_NAMES[after.method]} share readings. One bath is one point: "
                "take the second one after the probe has settled in the next bath."
            )
    return tuple(point_of(reader, plan, one) for one in asked)


def preview(
    glance: Glance, probe: ProbeId, points: tuple[CalibrationPoint, ...], now: Instant, wording: Wording
) -> dict[str, Any]:
    """What a calibration by these points would say, beside the one in force.

    Raises:
        RefusedError: it would be absurd.
    """
    plan = glance.plan.probes[probe]
    present = glance.state.metrology.get(probe, MetrologySlot(probe)).calibration
    before = present.correction if present is not None else Correction()
    after = fit(points, plan.lowest.celsius, plan.highest.celsius)
    would_be = Calibration(
        0,
        probe,
        Written(now),
        Written(now + plan.calibrate_every),
        Actor("", ""),
        points,
        after,
        plan.resolution.kelvin,
        DRIFT,
        errors(points, before),
        errors(points, after),
    )
    return {
        "points": [
            {
                "method": point.method.value,
                "remark": point.remark,
                "reference_shown": wording.fine(point.reference),
                "shown_shown": wording.fine(point.shown),
                "spread_shown": wording.fine_step(point.spread),
                "readings": point.readings,
                "as_found": found,
                "as_found_shown": wording.fine_step(found, "+"),
                "as_left_shown": wording.fine_step(left, "+"),
                "unsure_shown": wording.fine_step(expanded(would_be, point.reference), "±"),
            }
            for point, found, left in zip(points, would_be.as_found, would_be.as_left, strict=True)
        ],
        "places": [
            {
                "where": wording.shown(celsius),
                "moves_shown": wording.fine_step(_moves(before, after, celsius), "+"),
                "before_shown": wording.fine_step(
                    expanded(present, celsius) if present is not None else plan.accuracy.kelvin, "±"
                ),
                "after_shown": wording.fine_step(expanded(would_be, celsius), "±"),
            }
            for celsius in WHERE
        ],
        "before_words": "stated accuracy" if present is None else f"calibration {present.number}",
        "due_shown": wording.day(Instant(would_be.due)),
    }


def _moves(before: Correction, after: Correction, celsius: float) -> float:
    """How a temperature that is shown as ``celsius`` today will move."""
    return corrected(after, shown_for(before, celsius)) - celsius


# --- plunge tests ---------------------------------------------------------------------------------------------


def plunge_of(
    reader: Reader, probe: ProbeId, since: Instant, until: Instant, medium: str, note: str
) -> tuple[PlungeTest, StepFit, Trace]:
    """The plunge that the readings of that stretch show.

    Raises:
        RefusedError: they show none; the text says what to do.
    """
    found = trace(reader, probe, since, until)
    fitted = fit_step(found.times, found.shown)
    if isinstance(fitted, NoStep):
        raise RefusedError(fitted.why)
    test = PlungeTest(
        0,
        probe,
        Written(until),
        Actor("", ""),
        fitted.seconds,
        fitted.uncertainty,
        medium,
        fitted.began_celsius,
        fitted.ended_celsius,
        fitted.residual,
        fitted.readings,
        Written(found.times[0]),
        Written(found.times[-1]),
        note,
    )
    return test, fitted, found


def plunge_preview(test: PlungeTest, fitted: StepFit, found: Trace, wording: Wording) -> dict[str, Any]:
    """The fit with its curve beside the readings."""
    return {
        "seconds": fitted.seconds,
        "uncertainty": fitted.uncertainty,
        "words": f"{fitted.seconds:.2f} s ± {fitted.uncertainty:.2f} s",
        "began_shown": wording.shown(fitted.began_celsius),
        "ended_shown": wording.shown(fitted.ended_celsius),
        "residual_shown": wording.fine_step(fitted.residual),
        "seconds_90": fitted.seconds_90,
        "first_order": fitted.first_order,
        "remark": fitted.remark,
        "medium": test.medium,
        "readings": fitted.readings,
        "times": found.times,
        "values": [wording.value(one) for one in found.shown],
        "fitted": [wording.value(step_at(fitted, at)) for at in found.times],
        "unit": wording.unit,
    }


def step_at(fitted: StepFit, at: int) -> float:
    """The fitted curve (°C) at an instant (ms)."""
    since = max(0.0, (at - fitted.plunged_ms) / 1000.0)
    height = fitted.ended_celsius - fitted.began_celsius
    return fitted.began_celsius + height * -math.expm1(-since / fitted.seconds)
