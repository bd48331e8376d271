from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from rimekeeper.core.model import Instant, Scale, TemperatureDifference
from rimekeeper.core.plan import Approach
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.review.arrival import sentence
from rimekeeper.review.wording import Wording, exact_length, length, target_words
from web.slipway import sheets

HERE = Wording(Scale.CELSIUS, "Europe/Copenhagen")
THERE = Wording(Scale.FAHRENHEIT, "America/New_York")


def at(*parts: int) -> Instant:
    return Instant(round(datetime(*parts, tzinfo=UTC).timestamp() * 1000))


def test_temperatures_are_written_in_the_kitchen_s_scale():
    assert HERE.shown(82.24) == "82.2 °C"
    assert HERE.shown(-18.0) == "\N{MINUS SIGN}18.0 °C"
    assert HERE.shown(-0.04) == "0.0 °C"
    assert HERE.shown(None) == "\N{EM DASH}"
    # Exact by definition: F = 1.8 C + 32.
    assert THERE.shown(82.2222222) == "180.0 °F"
    assert THERE.shown(-40.0) == "\N{MINUS SIGN}40.0 °F"
    assert THERE.step(TemperatureDifference(0.5)) == "0.9 °F"


def test_both_sides_of_a_clock_change_read_right():
    # The European Union's clocks go back on the last Sunday of October at 01:00 UTC (Directive 2000/84/EC).
    first, second = at(2026, 10, 25, 0, 30), at(2026, 10, 25, 1, 30)
    assert HERE.clock(first) == HERE.clock(second) == "02:30"
    assert HERE.when(first, second) == "02:30 CEST"
    assert HERE.when(second, second) == "02:30 CET"
    assert HERE.when(at(2026, 10, 25, 3, 0), second) == "04:00"


def test_the_date_is_said_when_it_is_another_day():
    now = at(2026, 11, 25, 12, 0)
    assert HERE.when(at(2026, 11, 25, 6, 5), now) == "07:05"
    assert HERE.when(at(2026, 11, 24, 22, 5), now) == "Tue 24 Nov 23:05"
    assert HERE.when(at(2025, 11, 24, 22, 5), now) == "Mon 24 Nov 2025 23:05"
    assert HERE.when(None, now) == "\N{EM DASH}"


@pytest.mark.parametrize(
    ("millis", "text"),
    [(0, "0 s"), (-5, "0 s"), (119_000, "119 s"), (120_000, "2 min"), (3_600_000, "1 h"), (4_800_000, "1 h 20 min"), (273_600_000, "3 d 4 h")],
)  # fmt: skip
def test_lengths_of_time(millis, text):
    assert length(millis) == text


def test_exact_lengths():
    assert exact_length(725_000) == "12 min 5 s"
    assert exact_length(60_000) == "1 min"
    assert exact_length(59_000) == "59 s"


def test_an_arrival_is_one_sentence():
    now = at(2026, 11, 25, 11, 37)
    far = Forecast(
        now, Outlook.ARRIVES, Instant(now + 250_000), Instant(now + 180_000), Instant(now + 390_000)
    )
    assert sentence(far, now, HERE) == "in 4 min, about 12:41, between 12:40 and 12:43"
    near = Forecast(now, Outlook.ARRIVES, Instant(now + 40_000), Instant(now - 5_000), Instant(now + 65_000))
    assert sentence(near, now, HERE) == "in 40 s, about 12:37:40, between 12:37:00 and 12:38:05"
    assert sentence(Forecast(now, Outlook.ARRIVES, now), now, HERE) == "any moment now"


def test_no_arrival_says_why_and_never_a_time():
    now = at(2026, 11, 25, 11, 37)
    assert sentence(None, now, HERE) == "too early to say when"
    for outlook in set(Outlook) - {Outlook.ARRIVES, Outlook.THERE}:
        said = sentence(Forecast(now, outlook, Instant(now + 60_000)), now, HERE)
        assert said
        assert ":37" not in said
        assert ":38" not in said
    plateau = Forecast(now, Outlook.PLATEAU, earliest=Instant(now + 1_200_000))
    assert sentence(plateau, now, HERE) == "on the freezing plateau: not before 12:57"


def test_a_target_says_from_where_on_it_counts():
    cook, chill = sheets()["barley-custard"].stages[:2]
    assert target_words(cook, HERE) == "82.2 °C (counts from 81.7 °C up)"
    assert target_words(chill, HERE) == "4.0 °C (counts from 4.5 °C down)"
    assert target_words(replace(cook, band=TemperatureDifference(0.0)), HERE) == "at least 82.2 °C"
    assert target_words(replace(cook, approach=Approach.WITHIN), HERE) == "82.2 °C ± 0.5 °C"
    assert target_words(None, HERE) == ""
