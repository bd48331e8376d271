"""Heat rows and cooling checkpoints in words, and what they do to a stage's verdict."""

from __future__ import annotations

from dataclasses import replace

import pytest

from review.test_facts import COOK, DONE, HOLED, WHOLE
from rimekeeper.core.model import Instant, Millis, ProbeId, Quality, Scale
from rimekeeper.core.plan import MixPlan, StageKind
from rimekeeper.core.process.cooling import RULES, cooled
from rimekeeper.core.process.cooling import begun as cooling_begun
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.core.process.heat_tables import TABLES
from rimekeeper.core.process.lethality import begun, treated
from rimekeeper.core.state import ProbeSlot, StagePhase
from rimekeeper.review.facts import Evidence, Verdict, judge
from rimekeeper.review.process_views import cooling_view, edge_words, frozen_words, heat_view
from rimekeeper.review.wording import Wording

US, TWO_STAGE = TABLES["frozen-dessert-mix-us"], RULES["two-stage-us"]
HEATED = replace(COOK, target=None, hold=Millis(0), ceiling=None, floor=None, heat=US, critical=True)
COOLED = replace(HEATED, heat=None, cooling=TWO_STAGE)
UTC = Wording(Scale.CELSIUS, "UTC")
NOON = 1_795_608_000_000  # 2026-11-25 12:00 UTC


def noon(minutes):
    return Instant(NOON + round(minutes * 60_000))


def cooked(celsius, seconds):
    so_far = begun(US)
    for second in range(seconds + 1):
        so_far = treated(US, so_far, Instant(NOON + 1000 * second), celsius, 0.0, Millis(60_000))
    return replace(DONE, treatment=so_far)


def chilled(*points, uncertainty=0.0):
    course = cooling_begun(TWO_STAGE)
    for minutes, celsius in points:
        course = cooled(TWO_STAGE, course, noon(minutes), celsius, uncertainty)
    return replace(DONE, phase=StagePhase.ACTIVE, ended=None, cooling=course)


def test_a_running_row_says_how_long_it_was_held_and_the_others_wait():
    seen = heat_view(HEATED, replace(cooked(80.5, 12), ended=None), noon(1), UTC)
    assert [(row["wanted"], row["words"]) for row in seen["rows"]] == [
        ("69.0 °C for 30 min", "held 12 s"),
        ("80.0 °C for 25 s", "held 12 s"),
        ("83.0 °C for 15 s", "not yet"),
    ]
    assert not seen["met"]
    assert seen["lethality_shown"] == "as 17.0 s at 79.4 °C (z 7 K): information, not a verdict"
    assert seen["source"].startswith("21 CFR 1240.61(c)")


def test_a_row_of_a_stage_that_is_over_runs_no_more():
    first = heat_view(HEATED, cooked(80.5, 12), noon(1), UTC)["rows"][0]
    assert (first["words"], first["running"], first["met"]) == ("held 12 s at most", False, False)


def test_a_met_row_says_when():
    seen = heat_view(HEATED, cooked(83.5, 20), noon(1), UTC)
    assert seen["met"]
    assert seen["rows"][2]["words"] == "met at 12:00"
    assert heat_view(COOK, DONE, noon(1), UTC) is None


def test_nothing_heard_is_nothing_met():
    seen = heat_view(HEATED, DONE, noon(1), UTC)
    assert [row["words"] for row in seen["rows"]] == ["not yet"] * 3
    assert seen["lethality_shown"] == ""


def test_checkpoints_say_what_was_met_with_how_much_to_spare():
    seen = cooling_view(COOLED, chilled((0, 60), (1, 50), (90, 20)), None, noon(90), UTC)
    assert (seen["state"], seen["started_shown"]) == ("cooling", "12:00")
    assert [c["words"] for c in seen["checkpoints"]] == ["met at 13:30, 30 min to spare", "until 18:00"]
    assert seen["ahead"] == "whether it makes 5.0 °C in time can't be said yet"


@pytest.mark.parametrize(
    ("forecast", "words", "late"),
    [
        (Forecast(noon(60), Outlook.ARRIVES, noon(100)), "21.0 °C at about 13:40, 20 min to spare", False),
        (
            Forecast(noon(60), Outlook.ARRIVES, noon(150)),
            "21.0 °C only at about 14:30, 30 min too late. Help it now: an ice bath, smaller portions, a shallow pan",
            True,
        ),
        (
            Forecast(noon(60), Outlook.FALLS_SHORT),
            "as it stands it does not reach 21.0 °C: levels off before the target. Help it: an ice bath, smaller portions",
            True,
        ),
        (Forecast(noon(60), Outlook.THERE), "21.0 °C is there", False),
    ],
)
def test_the_outlook_for_the_next_checkpoint(forecast, words, late):
    seen = cooling_view(COOLED, chilled((0, 60), (1, 50), (60, 30)), forecast, noon(60), UTC)
    assert (seen["ahead"], seen["late"]) == (words, late)


def test_a_base_that_was_never_seen_hot_has_no_clock():
    seen = cooling_view(COOLED, chilled((0, 20)), None, noon(1), UTC)
    assert seen["state_code"] == "not_proven"
    assert seen["checkpoints"][0]["words"] == "its clock has not begun"
    assert cooling_view(COOLED, replace(DONE, cooling=None), None, noon(1), UTC)["state_code"] == "not_proven"
    assert cooling_view(COOK, DONE, None, noon(1), UTC) is None


# --- verdicts ---------------------------------------------------------------------------------------------------


def done(run):
    return replace(run, phase=StagePhase.DONE, ended=noon(400))


def test_a_cook_is_passed_by_a_row_and_by_nothing_else():
    assert judge(HEATED, cooked(83.5, 20), WHOLE, 60_000) == (Verdict.PASSED, [])
    assert judge(HEATED, cooked(79.0, 20), WHOLE, 60_000) == (
        Verdict.NOT_PASSED,
        ["no row of Frozen-dessert mix and eggnog (United States) was met"],
    )
    assert judge(HEATED, cooked(79.0, 20), HOLED, 60_000)[0] is Verdict.NOT_PROVEN
    assert judge(HEATED, DONE, Evidence(), 60_000)[0] is Verdict.NOT_PROVEN


def test_a_cooling_is_passed_missed_or_not_proven():
    met = done(chilled((0, 60), (1, 50), (90, 20), (300, 4)))
    missed = done(chilled((0, 60), (1, 50), (130, 25), (300, 4)))
    unknown = done(chilled((0, 20), (300, 4)))
    assert judge(COOLED, met, WHOLE, 60_000) == (Verdict.PASSED, [])
    assert judge(COOLED, missed, WHOLE, 60_000) == (
        Verdict.NOT_PASSED,
        ["a checkpoint of Two-stage cooling (United States) was missed"],
    )
    assert judge(COOLED, unknown, WHOLE, 60_000)[0] is Verdict.NOT_PROVEN


# --- the far edge -------------------------------------------------------------------------------------------------


def pan_at(ahead, pace, every=1000):
    values = tuple(ahead - 1.0 + pace * n * every / 1000 for n in range(6))
    times = tuple(Instant(NOON + every * n) for n in range(6))
    return ProbeSlot(ProbeId("pan"), trail_times=times, trail=values, ahead=ahead, quality=Quality.GOOD)


@pytest.mark.parametrize(
    ("slot", "words"),
    [
        (pan_at(82.0, 0.1), "82.0 °C with the probe's lag: 85.0 °C in 30 s at this pace"),
        (pan_at(82.0, 0.0), "82.0 °C with the probe's lag, 3.0 °C below 85.0 °C"),
        (pan_at(82.0, -0.2), "82.0 °C with the probe's lag, 3.0 °C below 85.0 °C"),
        (pan_at(85.4, 0.1), "85.4 °C with the probe's lag: past 85.0 °C now"),
        (ProbeSlot(ProbeId("pan")), ""),
        (None, ""),
    ],
)
def test_the_far_edge_of_a_cook(slot, words):
    assert edge_words(COOK, slot, UTC) == words


def test_only_a_cook_with_a_ceiling_has_a_far_edge():
    assert edge_words(replace(COOK, ceiling=None), pan_at(82.0, 0.1), UTC) == ""
    assert edge_words(None, pan_at(82.0, 0.1), UTC) == ""


# --- ice --------------------------------------------------------------------------------------------------------

MIX = MixPlan(water=60.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0, fat=12.0)


def test_how_much_of_the_water_is_ice():
    churn = replace(COOK, kind=StageKind.CHURN)
    # The mix of Goff's notes (University of Guelph): 45.7 % at -5 °C and 63.7 % at -8 °C (science.md section 7).
    assert frozen_words(churn, MIX, -5.0) == "about 46 % of the water frozen"
    assert frozen_words(churn, MIX, -8.0) == "about 64 % of the water frozen"
    assert frozen_words(churn, MIX, -1.0) == ""
    assert frozen_words(churn, MIX, None) == ""
    assert frozen_words(churn, None, -8.0) == ""
    assert frozen_words(COOK, MIX, -8.0) == ""


def test_a_checkpoint_that_nobody_saw_is_neither_met_nor_missed():
    ended = done(chilled((0, 60), (1, 50), (90, 20)))
    for now in (noon(401), noon(2000)):
        last = cooling_view(COOLED, ended, None, now, UTC)["checkpoints"][1]
        assert (last["met"], last["missed"]) == (False, False)
        assert last["words"].startswith("no reading shows it by ")
    silent = cooling_view(COOLED, chilled((0, 60), (60, 30)), None, noon(130), UTC)["checkpoints"][0]
    assert (silent["missed"], silent["words"]) == (False, "no reading shows it by 14:00")
    seen = cooling_view(COOLED, chilled((0, 60), (60, 30), (125, 25)), None, noon(130), UTC)["checkpoints"][0]
    assert seen["missed"]
