"""The words of NAMUR NE 107 for what a probe's readings have been like.

NE 107 defines the words (failure, function check, out of specification, maintenance required); which reason gets
which word is our choice.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.model import RIMEKEEPER, Health, Instant, ProbeId, Quality, Reason
from rimekeeper.core.sensing.calibration.record import Calibration, Correction, Written
from rimekeeper.core.sensing.health import MISPLACED, SILENT, faulty, health_after
from rimekeeper.core.state import MetrologySlot, ProbeSlot

NOW = Instant(1_795_600_800_000)
GOOD = ProbeSlot(
    ProbeId("pan"),
    last_at=NOW,
    last_arrived=NOW,
    quality=Quality.GOOD,
    good_run=9,
    good_since=Instant(NOW - 90_000),
)
DOUBTS = [
    reason
    for reason in Reason
    if reason not in (Reason.NONE, Reason.LATE, Reason.RETAINED, Reason.FUNCTION_CHECK)
]


def doubted(reason, run=3):
    return replace(GOOD, quality=Quality.UNCERTAIN, reason=reason, bad_run=run, good_run=0, good_since=None)


def calibrated(due):
    made = Calibration(
        1, ProbeId("pan"), Written(0), Written(due), RIMEKEEPER, (), Correction(), 0.1, 0.1, (), ()
    )
    return MetrologySlot(ProbeId("pan"), made)


def test_good_readings_are_normal():
    assert health_after(GOOD) == (Health.NORMAL, "")
    assert health_after(GOOD, MetrologySlot(ProbeId("pan"))) == (Health.NORMAL, "")


@pytest.mark.parametrize("reason", DOUBTS)
def test_whatever_cannot_be_believed_three_times_is_a_fault_and_never_normal(reason):
    health, why = health_after(doubted(reason))
    assert health is (Health.OUT_OF_SPECIFICATION if reason in MISPLACED else Health.FAILURE)
    assert reason.value in why
    assert faulty(replace(doubted(reason), health=health, health_why=why))


@pytest.mark.parametrize("reason", DOUBTS)
def test_one_odd_reading_is_out_of_specification_and_no_fault(reason):
    health, why = health_after(doubted(reason, run=1))
    assert health is Health.OUT_OF_SPECIFICATION
    assert not faulty(replace(doubted(reason, run=1), health=health, health_why=why))


def test_a_probe_under_test_is_in_function_check_whatever_it_says():
    for quality, reason, run in [
        (Quality.UNCERTAIN, Reason.FUNCTION_CHECK, 0),
        (Quality.BAD, Reason.OUT_OF_RANGE, 9),
    ]:
        slot = replace(
            GOOD,
            quality=quality,
            reason=reason,
            bad_run=run,
            tested_until=Instant(NOW + 1),
            tested_why="ice point",
        )
        assert health_after(slot) == (Health.FUNCTION_CHECK, "ice point")
        assert not faulty(slot)


def test_a_test_that_is_over_leaves_nothing_behind():
    slot = replace(GOOD, health=Health.FUNCTION_CHECK, health_why="ice point", tested_until=NOW)
    assert health_after(slot) == (Health.NORMAL, "")


def test_silence_weighs_more_than_a_test():
    slot = replace(GOOD, silent=True, tested_until=Instant(NOW + 1), tested_why="ice point")
    assert health_after(slot) == (Health.FAILURE, SILENT)
    assert not faulty(slot)


def test_a_calibration_past_due_asks_for_maintenance_of_a_probe_that_is_otherwise_well():
    assert health_after(GOOD, calibrated(NOW)) == (Health.NORMAL, "")
    health, why = health_after(GOOD, calibrated(NOW - 1))
    assert health is Health.MAINTENANCE
    assert why == "calibration was due 2026-11-25"
    assert health_after(doubted(Reason.STUCK), calibrated(NOW - 1))[0] is Health.FAILURE
    assert health_after(doubted(Reason.JUMP, run=1), calibrated(NOW - 1))[0] is Health.OUT_OF_SPECIFICATION
