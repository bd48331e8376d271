"""Lethality and cooling times asked for by name, against figures worked out by hand from the sources named."""

from __future__ import annotations

import pytest

from rimekeeper.core.computations import COMPUTATIONS
from rimekeeper.core.errors import OutOfRangeError


def ask(name, **given):
    one = COMPUTATIONS[name]
    inputs = {i.name: given.get(i.name, i.default) for i in one.inputs}
    (answer,) = one.run(inputs)
    return answer.value


@pytest.mark.parametrize(
    ("celsius", "seconds", "wanted"),
    [
        # Rows of 21 CFR 1240.61(c) by their Fahrenheit column, as F at 79.4444 °C with z 7.0 K.
        (82.2222, 15.0, 37.404),
        (68.3333, 1800.0, 46.556),
        (79.4444, 25.0, 25.0),
    ],
)
def test_held_at_the_rows_of_the_frozen_dessert_table(celsius, seconds, wanted):
    assert ask("lethality", begins=celsius, ends=celsius, time=seconds) == pytest.approx(wanted, abs=0.01)


def test_a_ramp():
    # Integral of 10^((T - 70)/7.5) over 60 to 85 °C in 600 s, found by two methods (science.md section 1).
    found = ask("lethality", begins=60.0, ends=85.0, time=600.0, reference=70.0, z=7.5)
    assert found == pytest.approx(7813.67, abs=0.5)


def test_newton_cooling_through_both_stages_of_the_food_code():
    # FDA Food Code 3-501.14(A): to be at 21 °C after 120 min in surroundings of 2 °C needs tau = 112.90 min,
    # and then 5 °C comes after 328.39 min.
    tau = 112.8993 * 60.0
    assert ask(
        "newton-cooling", begins=57.0, ends=21.0, around=2.0, time_constant=tau
    ) / 60.0 == pytest.approx(120.0, abs=0.01)
    assert ask(
        "newton-cooling", begins=57.0, ends=5.0, around=2.0, time_constant=tau
    ) / 60.0 == pytest.approx(328.39, abs=0.01)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("lethality", {"begins": 500.0, "ends": 80.0, "time": 1.0}),
        ("lethality", {"begins": 80.0, "ends": float("nan"), "time": 1.0}),
        ("lethality", {"begins": 80.0, "ends": 80.0, "time": 1.0, "z": 0.0}),
        ("newton-cooling", {"begins": 57.0, "ends": 1.0, "around": 2.0, "time_constant": 60.0}),
        ("newton-cooling", {"begins": 2.0, "ends": 2.0, "around": 2.0, "time_constant": 60.0}),
    ],
)
def test_outside_its_validity_there_is_a_sentence(name, given):
    with pytest.raises(OutOfRangeError, match="give "):
        ask(name, **given)
