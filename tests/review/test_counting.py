"""What was counted against a critical limit, in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.model import Actor, Instant, Millis, ProbeId, Scale
from rimekeeper.core.sensing.calibration.record import Calibration, Correction, Written
from rimekeeper.core.state import StagePhase
from rimekeeper.review.counting import counted_words, measured_with
from rimekeeper.review.wording import Wording
from web.slipway import CUSTARD, run, sheets

COOK = sheets()[CUSTARD].stages[0]
WORDING = Wording(Scale.CELSIUS, "UTC")
AT = Instant(1_795_600_800_000)


def cook(uncertainty, margin, **more):
    return run("cook", StagePhase.ACTIVE, AT, uncertainty=uncertainty, margin=margin, **more)


@pytest.mark.parametrize(
    ("uncertainty", "margin", "more", "words"),
    [
        (0.3, 0.4, {"hold_met_at": AT}, "±0.30 °C counted: met with 0.40 °C to spare"),
        (0.3, 0.4, {}, "±0.30 °C counted: 0.40 °C to spare"),
        (0.3, -0.2, {}, "±0.30 °C counted: 0.20 °C short"),
        (0.3, 0.001, {"hold_met_at": AT}, "±0.30 °C counted: met with nothing to spare"),
        (0.3, -12.0, {}, "±0.30 °C counted: reached from 82.00 °C up"),  # 82.2 + 0.3 - 0.5
        (None, None, {}, ""),
    ],
)
def test_the_words_of_a_critical_limit(uncertainty, margin, more, words):
    assert counted_words(COOK, cook(uncertainty, margin, **more), WORDING) == words


def test_a_stale_reading_says_nothing_of_now_but_what_was_met_stays():
    assert counted_words(COOK, cook(0.3, -0.2), WORDING, fresh=False) == ""
    assert "met with" in counted_words(COOK, cook(0.3, 0.2, hold_met_at=AT), WORDING, fresh=False)


def test_only_critical_limits_count_it():
    assert counted_words(replace(COOK, critical=False), cook(0.3, 0.4), WORDING) == ""
    unheld = replace(COOK, hold=Millis(0))
    assert "met with" in counted_words(unheld, cook(0.3, 0.4, reached_at=AT), WORDING)


def test_a_fahrenheit_kitchen_counts_in_its_own_steps():
    assert (
        counted_words(COOK, cook(0.5, 1.0), Wording(Scale.FAHRENHEIT, "UTC"))
        == "±0.90 °F counted: 1.80 °F to spare"
    )


def test_a_stage_says_with_which_calibrations_it_was_measured():
    made = Calibration(
        3, ProbeId("pan"), Written(0), Written(AT), Actor("Ada", ""), (), Correction(), 0.1, 0.1, (), ()
    )
    assert measured_with({0}, {}, AT) == "not calibrated"
    assert measured_with({0, 3}, {3: made}, Instant(AT - 1)) == "not calibrated; calibration 3"
    assert measured_with({3}, {3: made}, AT) == "calibration 3, past due"
    assert measured_with(set(), {}, AT) == ""
