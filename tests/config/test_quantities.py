"""Quantities carry their unit; scale conversions are exact by definition (180 F = 82.2222 C)."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.config.quantities import difference, duration, rate, temperature


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("82 C", 82.0), ("180 F", 82.2222), ("-18C", -18.0), ("355 K", 81.85), ("5 °C", 5.0), ("41 deg F", 5.0)],
)
def test_a_temperature_names_its_scale(text, celsius):
    assert temperature(text).celsius == pytest.approx(celsius, abs=1e-4)


@pytest.mark.parametrize(
    ("read", "given", "message"),
    [
        (temperature, 82, '82 is not a temperature; write a number and its scale, such as "82 C" or "180 F"'),
        (temperature, "82", '"82" is not a temperature; write a number and its scale, such as "82 C" or "180 F"'),
        (temperature, "-300 C", '"-300 C" is not a temperature that exists in a kitchen'),
        (temperature, "9" * 400 + " C", f'"{"9" * 60}…" is not a temperature that exists in a kitchen'),
        (difference, "-1 K", '"-1 K" is negative; a band or deadband has a size of zero or more'),
        (difference, "9" * 400 + " K", f'"{"9" * 60}…" is not a difference that exists in a kitchen'),
        (duration, 15, '15 is not a length of time; write a number and its unit, such as "15 min" or "1 h 30 min"'),
        (duration, "-5 min", '"-5 min" is negative; a length of time is zero or more'),
        (duration, "2 h -5 min", '"2 h -5 min" is negative; a length of time is zero or more'),
        (duration, "400 d", '"400 d" is longer than a year'),
        (rate, "10 K", '"10 K" is not a rate of change; write a difference and the time it takes, such as "10 K per s"'),
        (rate, "0 K/s", '"0 K/s" is no change at all; write a rate above zero'),
    ],
)  # fmt: skip
def test_refusals_say_what_to_write(read, given, message):
    with pytest.raises(ValueError) as refused:
        read(given)
    assert str(refused.value) == message


def test_a_difference_is_no_temperature():
    assert difference("1.8 degF").kelvin == pytest.approx(1.0)
    with pytest.raises(ValueError):
        difference("5 C")


@pytest.mark.parametrize(
    ("text", "millis"), [("15 min", 900_000), ("1 h 30 min", 5_400_000), ("0.5 s", 500), ("2 days", 172_800_000)]
)  # fmt: skip
def test_lengths_of_time(text, millis):
    assert duration(text) == millis


def test_rates():
    assert rate("10 K per s") == pytest.approx(10.0)
    assert rate("18 degF/min") == pytest.approx(10 / 60)


@given(st.text(max_size=30))
def test_no_text_breaks_them(text):
    for read in (temperature, difference, duration, rate):
        with contextlib.suppress(ValueError):
            assert read(text) is not None
