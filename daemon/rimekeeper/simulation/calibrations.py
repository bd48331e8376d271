"""What Slipway Ices has measured of its probes: calibrations of some weeks ago and a plunge test of the pan's probe.

The probes are off by what ``ERRORS`` says, the simulated technician measured just that, and so the corrected
temperatures are true again. One probe was never calibrated and one is due soon, as in any kitchen.
"""

from __future__ import annotations

from rimekeeper.core.commit import Commit
from rimekeeper.core.model import HOUR, RIMEKEEPER, Actor, Entry, Instant, ProbeId
from rimekeeper.core.plan import KitchenPlan, ProbePlan
from rimekeeper.core.sensing.calibration.correction import errors, fit
from rimekeeper.core.sensing.calibration.record import (
    Calibration,
    CalibrationPoint,
    Correction,
    Method,
    PlungeTest,
    Written,
)
from rimekeeper.core.sensing.calibration.reference import Known, boiling, compared, ice_point
from rimekeeper.core.state import MetrologySlot, Slot
from rimekeeper.core.watching.measuring import DRIFT
from rimekeeper.simulation.instruments import IN_MIX
from rimekeeper.simulation.workshop import (
    CANISTER_AIR,
    ERRORS,
    IN_ROOMS,
    PAN,
    PORTION,
    PROBES,
    SHERBET_TUB,
    TRAY_A,
    TRAY_B,
)

Records = tuple[Calibration | PlungeTest, ...]

BO = Actor("Bo", "simulated kitchen")
DAY = 24 * HOUR
_AGO, _LONG_AGO = 19 * DAY, 356 * DAY
_NEVER = frozenset({TRAY_B})
_COLD = frozenset({*IN_ROOMS, PORTION, SHERBET_TUB, TRAY_A})
_HELD = 90_000


def slipway_records(plan: KitchenPlan, now: Instant) -> Records:
    """Every record there is as the demo opens, by number."""
    probes = [plan.probes[probe] for probe in PROBES if probe in plan.probes and probe not in _NEVER]
    made: list[Calibration | PlungeTest] = [
        _calibration(number, probe, Instant(now - (_LONG_AGO if probe.id == CANISTER_AIR else _AGO)))
        for number, probe in enumerate(probes, 1)
    ]
    if PAN in plan.probes:
        made.append(_plunge(len(made) + 1, Instant(now - _AGO)))
    return tuple(made)


def slots_of(records: Records) -> dict[ProbeId, MetrologySlot]:
    """The records as the engine remembers them."""
    slots: dict[ProbeId, MetrologySlot] = {}
    for record in records:
        before = slots.get(record.probe, MetrologySlot(record.probe))
        if isinstance(record, Calibration):
            slots[record.probe] = MetrologySlot(record.probe, record, before.plunge)
        else:
            slots[record.probe] = MetrologySlot(record.probe, before.calibration, record)
    return slots


def as_commit(records: Records, measured: dict[ProbeId, MetrologySlot]) -> Commit:
    """The records as they go into the store, with an entry for each and what the engine is to remember."""
    entries = tuple(
        Entry(
            at=Instant(record.at),
            kind="probe.calibrated" if isinstance(record, Calibration) else "probe.plunged",
            actor=RIMEKEEPER,
            sentence=f"Simulated: record {record.number} of probe {record.probe} was there when the demo opened.",
            subject=record.probe,
            facts=(("number", record.number),),
        )
        for record in records
    )
    changed: dict[str, Slot | None] = {f"metrology/{probe}": slot for probe, slot in measured.items()}
    return Commit(measurements=records, entries=entries, changed=changed)


def _calibration(number: int, probe: ProbePlan, at: Instant) -> Calibration:
    ice = ice_point()
    if probe.id in _COLD:
        other, method = compared(-21.4, 0.1), Method.COMPARISON
    else:
        other, method = boiling(101.0), Method.BOILING
    points = (_point(probe, Method.ICE, ice, at), _point(probe, method, other, at))
    correction = fit(points, probe.lowest.celsius, probe.highest.celsius)
    return Calibration(
        number=number,
        probe=probe.id,
        at=Written(at),
        due=Written(at + probe.calibrate_every),
        by=BO,
        points=points,
        correction=correction,
        resolution=probe.resolution.kelvin,
        drift=DRIFT,
        as_found=errors(points, Correction()),
        as_left=errors(points, correction),
        note="simulated",
    )


def _point(probe: ProbePlan, method: Method, known: Known, at: Instant) -> CalibrationPoint:
    off, gain = ERRORS.get(probe.id, (0.0, 0.0))
    until = at - 2 * _HELD if method is Method.ICE else at
    return CalibrationPoint(
        method=method,
        reference=known.celsius,
        reference_u=known.u,
        shown=known.celsius * (1.0 + gain) + off,
        spread=0.03,
        readings=45,
        since=Written(until - _HELD),
        until=Written(until),
        remark=known.remark,
    )


def _plunge(number: int, at: Instant) -> PlungeTest:
    return PlungeTest(
        number=number,
        probe=PAN,
        at=Written(at),
        by=BO,
        seconds=IN_MIX.tau,
        uncertainty=0.4,
        medium="stirred ice water",
        began_celsius=21.5,
        ended_celsius=0.1,
        residual=0.06,
        readings=40,
        since=Written(at - 40_000),
        until=Written(at),
        note="simulated",
    )
