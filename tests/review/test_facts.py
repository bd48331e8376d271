from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.model import Instant, Millis, ProbeId, Quality, Reason, StageId
from rimekeeper.core.state import StagePhase, StageRun
from rimekeeper.keeping.rows import StoredReading
from rimekeeper.review.facts import Evidence, Verdict, judge, weigh
from web.slipway import sheets

SHEETS = sheets()
COOK, CHILL, AGE = SHEETS["barley-custard"].stages[:3]
MINUTE = 60_000
WHOLE = Evidence(readings=840, good=840, longest_gap=Millis(1_000), gap_at=Instant(0))
HOLED = Evidence(readings=400, good=300, bad=100, longest_gap=Millis(5 * MINUTE), gap_at=Instant(0))
DONE = StageRun(
    StageId("cook"), StagePhase.DONE, Instant(0), Instant(14 * MINUTE), reached_at=Instant(13 * MINUTE),
    hold_met_at=Instant(13 * MINUTE + 15_000), longest_in_band=Millis(40_000), lowest=18.0, highest=83.4,
)  # fmt: skip


def verdict(plan=COOK, run=DONE, evidence=WHOLE):
    return judge(plan, run, evidence, 60_000)


def test_a_stage_that_reached_and_held_in_sight_of_good_readings_is_passed():
    assert verdict() == (Verdict.PASSED, [])


def test_a_target_never_reached_is_not_passed_when_all_of_it_was_seen():
    run = replace(DONE, reached_at=None, hold_met_at=None)
    assert verdict(run=run) == (Verdict.NOT_PASSED, ["the target was not reached"])


def test_the_same_with_a_hole_is_not_proven():
    run = replace(DONE, reached_at=None, hold_met_at=None)
    found, reasons = verdict(run=run, evidence=HOLED)
    assert found is Verdict.NOT_PROVEN
    assert reasons == ["the target was not reached", "no good reading for 5 min"]


def test_a_short_hold_is_not_passed():
    found, reasons = verdict(run=replace(DONE, hold_met_at=None, longest_in_band=Millis(9_000)))
    assert found is Verdict.NOT_PASSED
    assert reasons == ["it was held for 9 s at most; the sheet asks for 15 s"]


def test_a_crossed_ceiling_is_not_passed_whatever_else_was_met():
    assert verdict(run=replace(DONE, highest=85.1)) == (Verdict.NOT_PASSED, ["it went above the ceiling"])
    assert verdict(run=replace(DONE, highest=85.1), evidence=HOLED)[0] is Verdict.NOT_PASSED


def test_a_limit_can_not_be_vouched_for_over_a_hole():
    found, reasons = verdict(evidence=HOLED)
    assert found is Verdict.NOT_PROVEN
    assert "no good reading for 5 min" in reasons[0]


def test_no_readings_at_all_prove_nothing():
    for evidence in (Evidence(), Evidence(readings=9, uncertain=9)):
        assert verdict(evidence=evidence)[0] is Verdict.NOT_PROVEN


def test_too_slow_is_not_passed():
    run = replace(DONE, reached_at=Instant(5 * 60 * MINUTE), ended=Instant(6 * 60 * MINUTE))
    found, reasons = verdict(CHILL, run)
    assert found is Verdict.NOT_PASSED
    assert reasons == ["the target came after 5 h; the sheet allows 4 h"]
    assert verdict(CHILL, replace(run, paused=Millis(90 * MINUTE)))[0] is Verdict.PASSED


def test_a_stage_under_way_or_waiting_has_no_verdict_yet():
    assert verdict(run=replace(DONE, phase=StagePhase.ACTIVE, ended=None))[0] is Verdict.UNDER_WAY
    assert verdict(run=StageRun(StageId("cook")))[0] is Verdict.NOT_BEGUN
    assert verdict(AGE)[0] is Verdict.NOTHING_ASKED


def reading(at, quality=Quality.GOOD, celsius=80.0):
    return StoredReading(
        ProbeId("p"), Instant(at), Instant(at), celsius, celsius, quality, Reason.NONE, False, False
    )


@pytest.mark.parametrize(
    ("readings", "gap"),
    [
        ([], 10_000),
        ([reading(t) for t in range(0, 10_000, 1_000)], 1_000),
        ([reading(0), reading(1_000), reading(9_000)], 8_000),
        (
            [
                reading(0),
                *(reading(t, Quality.UNCERTAIN) for t in range(1_000, 9_000, 1_000)),
                reading(9_000),
            ],
            9_000,
        ),
        ([reading(0), reading(4_000, Quality.BAD, None), reading(6_000)], 6_000),
        ([reading(6_000)], 6_000),
        ([reading(1_000)], 9_000),
    ],
)
def test_only_good_readings_close_a_gap_and_the_edges_count(readings, gap):
    assert weigh(readings, Instant(0), Instant(10_000)).longest_gap == gap
