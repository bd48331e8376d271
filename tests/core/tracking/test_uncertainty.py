"""A critical limit is met only with the probe's uncertainty counted against it, and the run says by how much."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.messages import PromptGiven, PromptKind
from rimekeeper.core.model import Millis, TemperatureDifference
from rimekeeper.core.plan import Approach, StageKind
from rimekeeper.core.tracking.assess import assess_stage
from rimekeeper.core.tracking.checks.stage_check import in_band, shown_target, spare
from support.engine_kitchen import Hand, kitchen, sheet, stage

COOK = stage(
    "cook",
    StageKind.COOK,
    target=82.0,
    approach=Approach.RISING,
    band=0.0,
    hold=Millis(15_000),
    critical=True,
)
temperatures = st.floats(-60.0, 200.0)
uncertainties = st.floats(0.0, 3.0)


def run_of(values, *, accuracy, plan=COOK):
    hand = Hand(kitchen(sheets=[sheet(plan)], accuracy=accuracy))
    hand.begin(0)
    for second, value in enumerate(values, 1):
        hand.sample("pan", value, second)
    return hand, hand.batch().stages[0]


def test_a_cook_that_meets_its_number_but_not_its_uncertainty_is_not_met():
    hand, run = run_of([82.3] * 60, accuracy=0.4)
    assert run.reached_at is None
    assert run.hold_met_at is None
    assert (run.uncertainty, round(run.margin, 6)) == (0.4, -0.1)
    assert PromptKind.TARGET_REACHED not in [o.kind for o in hand.outcomes if isinstance(o, PromptGiven)]


def test_with_the_uncertainty_on_the_safe_side_it_is_met_and_says_by_how_much():
    _, run = run_of([82.0, *[82.9] * 10, 82.6, *[82.9] * 10, 99.0], accuracy=0.4)
    assert run.hold_met_at is not None
    assert round(run.margin, 6) == 0.2  # the lowest of the run: 82.6 - 0.4 - 82.0


def test_what_is_met_stays_as_it_was_shown():
    _, met = run_of([82.9] * 20, accuracy=0.4)
    _, later = run_of([82.9] * 20 + [70.0] * 10, accuracy=0.4)
    assert later.hold_met_at == met.hold_met_at
    assert later.margin == met.margin


def test_cold_limits_count_it_upwards():
    chill = replace(COOK, kind=StageKind.CHILL, target=COOK.target, approach=Approach.FALLING, hold=Millis(0))
    _, warm = run_of([81.8] * 9, accuracy=0.4, plan=chill)
    _, cold = run_of([81.5] * 9, accuracy=0.4, plan=chill)
    assert warm.reached_at is None
    assert cold.reached_at is not None


def test_a_stage_without_a_critical_limit_is_judged_by_what_is_shown():
    _, run = run_of([82.0] * 20, accuracy=1.0, plan=replace(COOK, critical=False))
    assert run.hold_met_at is not None
    assert run.margin is None


@given(
    celsius=temperatures, unsure=uncertainties, more=st.floats(0.0, 2.0), approach=st.sampled_from(Approach)
)
def test_more_uncertainty_never_helps(celsius, unsure, more, approach):
    plan = replace(COOK, approach=approach, band=TemperatureDifference(0.5))
    assert not in_band(plan, celsius, unsure + more) or in_band(plan, celsius, unsure)
    assert in_band(plan, celsius, 0.0) == in_band(replace(plan, critical=False), celsius, unsure)


@given(unsure=uncertainties, approach=st.sampled_from([Approach.RISING, Approach.FALLING]))
def test_at_what_the_probe_must_show_nothing_is_to_spare(unsure, approach):
    plan = replace(COOK, approach=approach)
    assert spare(plan, shown_target(plan, unsure).celsius, unsure) == pytest.approx(0.0, abs=1e-9)


def test_what_is_past_is_weighed_with_the_same_uncertainty():
    hand, live = run_of([82.0, *[82.9] * 20], accuracy=0.4)
    readings = [r for r in hand.readings if r.probe == "pan"]
    again = assess_stage(COOK, live.began, None, readings, Millis(60_000), lambda _r, _c: 0.4)
    assert (again.reached_at, again.hold_met_at, again.margin) == (
        live.reached_at,
        live.hold_met_at,
        live.margin,
    )
    without = assess_stage(COOK, live.began, None, readings, Millis(60_000), lambda _r, _c: 1.0)
    assert without.reached_at is None
