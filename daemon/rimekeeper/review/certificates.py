"""Kept calibrations and plunge tests: as rows of a probe's history, and whole, to be printed."""

from __future__ import annotations

from typing import Any

from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.sensing.calibration.record import Calibration, Correction, PlungeTest
from rimekeeper.core.sensing.calibration.uncertainty import expanded
from rimekeeper.core.sensing.classes import satisfied
from rimekeeper.core.sensing.sensors.loop import LoopSensor
from rimekeeper.core.sensing.sensors.platinum import PlatinumSensor
from rimekeeper.core.sensing.sensors.thermistor import BetaSensor, SteinhartHartSensor
from rimekeeper.core.sensing.sensors.thermocouple import ThermocoupleSensor
from rimekeeper.core.state import MetrologySlot
from rimekeeper.keeping.reader import Reader
from rimekeeper.review.metrology import WHERE
from rimekeeper.review.wording import Wording
from rimekeeper.runtime.ports import Glance

OWN_RECORD = (
    "This is the kitchen's own record of a check that it made itself. It is not a certificate of an accredited "
    "laboratory. Where a food code or a contract asks for one, this does not replace it."
)


def history(glance: Glance, reader: Reader, probe: ProbeId, now: Instant) -> list[dict[str, Any]]:
    """What was measured of a probe, newest first."""
    wording = Wording.of(glance.plan)
    present = glance.state.metrology.get(probe, MetrologySlot(probe))
    in_force = {one.number for one in (present.calibration, present.plunge) if one is not None}
    return [
        {
            "number": record.number,
            "kind": "calibration" if isinstance(record, Calibration) else "plunge test",
            "at_shown": wording.when(Instant(record.at), now),
            "by": record.by.who,
            "words": _in_short(record, wording),
            "in_use": record.number in in_force,
        }
        for record in reader.measurements(probe)
    ]


def _in_short(record: Calibration | PlungeTest, wording: Wording) -> str:
    if isinstance(record, PlungeTest):
        return f"{record.seconds:.1f} s ± {record.uncertainty:.2f} s in {record.medium}"
    return "; ".join(
        f"{point.method.value} {wording.fine(point.reference)}: found {wording.fine_step(found, '+')}, "
        f"left {wording.fine_step(left, '+')}"
        for point, found, left in zip(record.points, record.as_found, record.as_left, strict=True)
    )


def certificate(glance: Glance, record: Calibration | PlungeTest) -> dict[str, Any]:
    """A record with everything that a printed page says."""
    plan = glance.plan
    wording = Wording.of(plan)
    probe = plan.probes.get(record.probe)
    common = {
        "number": record.number,
        "kitchen": plan.name,
        "probe": record.probe,
        "probe_name": probe.name if probe else record.probe,
        "carried_by": _carried(plan, record.probe),
        "sensor": _sensor(plan, record.probe),
        "at_shown": f"{wording.day(Instant(record.at))}, {wording.clock(Instant(record.at))}",
        "zone": plan.zone,
        "by": f"{record.by.who} ({record.by.where})",
        "note": record.note,
        "own_record": OWN_RECORD,
        "simulated": plan.simulated,
    }
    if isinstance(record, PlungeTest):
        return {**common, "kind": "plunge test", **_plunge(record, wording)}
    return {**common, "kind": "calibration", **_calibration(record, wording)}


def _calibration(record: Calibration, wording: Wording) -> dict[str, Any]:
    unsure = [expanded(record, point.reference) for point in record.points]
    words = satisfied(max(unsure, default=float("inf")), record.resolution, _interval(record))
    return {
        "due_shown": wording.day(Instant(record.due)),
        "points": [
            {
                "method": point.method.value,
                "reference_shown": wording.fine(point.reference),
                "reference_u_shown": wording.fine_step(2.0 * point.reference_u, "±"),
                "remark": point.remark,
                "shown_shown": wording.fine(point.shown),
                "spread_shown": wording.fine_step(point.spread),
                "readings": point.readings,
                "window": _window(point.since, point.until, wording),
                "as_found_shown": wording.fine_step(found, "+"),
                "as_left_shown": wording.fine_step(left, "+"),
                "unsure_shown": wording.fine_step(u, "±"),
            }
            for point, found, left, u in zip(
                record.points, record.as_found, record.as_left, unsure, strict=True
            )
        ],
        "places": [
            {"where": wording.shown(c), "unsure_shown": wording.fine_step(expanded(record, c), "±")}
            for c in WHERE
        ],
        "correction": _correction(record.correction, wording),
        "resolution_shown": wording.fine_step(record.resolution),
        "drift_shown": wording.fine_step(record.drift, "±"),
        "class_words": [words.accuracy, words.interval, words.caution],
    }


def _interval(record: Calibration) -> int | None:
    """How often it sent (ms) while it was calibrated: a printed record doesn't change with what the probe does today."""
    paces = [(p.until - p.since) // (p.readings - 1) for p in record.points if p.readings > 1]
    return max(paces, default=None)


def _plunge(record: PlungeTest, wording: Wording) -> dict[str, Any]:
    return {
        "medium": record.medium,
        "seconds_shown": f"{record.seconds:.2f} s",
        "uncertainty_shown": f"±{record.uncertainty:.2f} s",
        "seconds_90_shown": f"{2.302585 * record.seconds:.1f} s",
        "began_shown": wording.fine(record.began_celsius),
        "ended_shown": wording.fine(record.ended_celsius),
        "residual_shown": wording.fine_step(record.residual),
        "readings": record.readings,
        "window": _window(record.since, record.until, wording),
    }


def _window(since: int, until: int, wording: Wording) -> str:
    begins, ends = Instant(since), Instant(until)
    return (
        f"{wording.day(begins)}, {wording.clock(begins, seconds=True)} to {wording.clock(ends, seconds=True)}"
    )


def _correction(correction: Correction, wording: Wording) -> str:
    knots = correction.knots
    if not knots:
        return "Nothing is corrected"
    steps = "Added: " + ", ".join(
        f"{wording.fine_step(reference - shown, '+')} where it shows {wording.fine(shown)}"
        for shown, reference in knots
    )
    if len(knots) == 1:
        return f"{steps}, and the same everywhere"
    return (
        f"{steps}; straight lines between them; beyond the lowest with a gain of {correction.gain_below:.4f}, "
        f"beyond the highest with {correction.gain_above:.4f}"
    )


def _carried(plan: KitchenPlan, probe: ProbeId) -> str:
    known = plan.probes.get(probe)
    if known is None:
        return "no longer in the kitchen file"
    source = plan.sources.get(known.source)
    return f"{source.name if source and source.name else known.source}, channel {known.channel}"


def _sensor(plan: KitchenPlan, probe: ProbeId) -> str:
    known = plan.probes.get(probe)
    if known is None:
        return "unknown"
    match known.sensor:
        case PlatinumSensor(ice_resistance=ohm):
            found = f"platinum thermometer, {ohm:g} \N{GREEK CAPITAL LETTER OMEGA} at 0 \N{DEGREE SIGN}C"
        case ThermocoupleSensor(curve=curve):
            found = f"thermocouple type {curve.letter}"
        case SteinhartHartSensor() | BetaSensor():
            found = "thermistor"
        case LoopSensor():
            found = "transmitter on a 4 to 20 mA loop"
        case None:
            found = "its instrument sends temperatures"
        case _:
            found = "its instrument sends whole or scaled numbers"
    return found
