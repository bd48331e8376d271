"""The list of computations: what each declares is enough to run it, and no number makes one raise or say NaN."""

import contextlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.computations import COMPUTATIONS
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.sensing.sensors import SENSORS

TEACHING_MIX = {"water": 60.0, "msnf": 10.0, "whey_solids": 2.0, "sucrose": 12.0, "syrup_solids": 4.0}


def run(name, **values):
    chosen = COMPUTATIONS[name]
    defaults = {one.name: one.default for one in chosen.inputs if one.default is not None}
    return {answer.name: answer.value for answer in chosen.run(defaults | values)}


def test_every_sensor_is_in_the_list_both_ways():
    assert {*SENSORS, *(f"{name}-inverse" for name in SENSORS)} < set(COMPUTATIONS)


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_it_says_all_that_a_technician_needs(name):
    one = COMPUTATIONS[name]
    assert one.name == name
    assert all((one.title, one.inputs, one.gives, one.validity, one.source))
    assert all(wanted.meaning for wanted in one.inputs)
    assert len({wanted.name for wanted in one.inputs}) == len(one.inputs)


@pytest.mark.parametrize("name", COMPUTATIONS)
@settings(max_examples=40)
@given(data=st.data())
def test_any_numbers_give_a_finite_answer_or_a_sentence(name, data):
    number = st.floats(-300, 2000) | st.floats(allow_nan=False, allow_infinity=False)
    values = {one.name: data.draw(number, one.name) for one in COMPUTATIONS[name].inputs}
    with contextlib.suppress(OutOfRangeError):
        answers = COMPUTATIONS[name].run(values)
        assert answers
        assert all(math.isfinite(answer.value) for answer in answers)


@pytest.mark.parametrize(
    ("name", "values", "answers"),
    [
        # IEC 60751; NIST Monograph 175; NIST SP 811.
        ("pt100", {"resistance": 138.5055}, {"temperature": 100.0}),
        ("pt100-inverse", {"temperature": -18.0}, {"resistance": 92.9461}),
        ("thermocouple-k", {"voltage": 3.34973, "cold_junction": 0.0}, {"temperature": 82.0}),
        ("celsius-to-fahrenheit", {"temperature": 82.2222}, {"temperature": 180.0}),
        ("fahrenheit-to-celsius", {"number": -40.0}, {"temperature": -40.0}),
        # EN 12830, from memory.
        ("recorder-class", {"uncertainty": 0.3, "resolution": 0.1}, {"class": 1.0}),
        ("recorder-class", {"uncertainty": 1.2, "resolution": 1.0}, {"class": 2.0}),
        ("celsius-to-kelvin", {"temperature": 0.01}, {"temperature": 273.16}),
        ("kelvin-to-celsius", {"number": 373.15}, {"temperature": 100.0}),
        # Goff and Hartel's table; the Guelph teaching mix (see tests/published/test_freezing_curve.py).
        ("sucrose-depression", {"concentration": 30.0}, {"depression": 1.86}),
        ("freezing-point", TEACHING_MIX, {"temperature": -2.590}),
        ("water-frozen", TEACHING_MIX | {"temperature": -5.0}, {"share": 0.4566}),
        ("temperature-for-ice", TEACHING_MIX | {"share": 0.4566}, {"temperature": -5.0}),
        # 0.545 * 10 + 0.765 * 2 + 12 + 4 * 0.42
        ("sucrose-equivalent", TEACHING_MIX, {"equivalent": 20.66}),
        # Worked by hand from the formula: nothing is heat at 0 °C; unfrozen water alone has its specific heat.
        ("mix-enthalpy", TEACHING_MIX | {"temperature": 0.0}, {"enthalpy": 0.0}),
        ("mix-heat-capacity", {"water": 100.0, "temperature": 10.0}, {"heat capacity": 4.18}),
        ("freezing-point", {"water": 60.5, "msnf": 9.0, "sucrose": 16.0}, {"uncertainty either way": 0.1}),
        # By hand: 1.86 K kg/mol over what is dissolved, and the salts of milk.
        (
            "colligative-freezing-point",
            {"water": 100.0, "sucrose": 34.23},
            {"temperature": -1.86, "by the method": -2.104},
        ),
        # By hand: the mean by mass while nothing is frozen; water and its ice, 41.8 / (41.8 + 20.6 + 333.5).
        (
            "combined-temperature",
            {
                "mass": 1.0,
                "temperature": 10.0,
                "other_mass": 3.0,
                "other_temperature": 2.0,
                "water": 60.0,
                "sucrose": 40.0,
            },
            {"temperature": 4.0, "share of the water frozen": 0.0},
        ),
        (
            "portion-to-freeze",
            {"mass": 10.0, "unfrozen": 10.0, "frozen": -10.0, "wanted": 0.0, "water": 100.0},
            {"portion": 1.0558, "share of the batch": 0.10558},
        ),
        ("scooping", TEACHING_MIX | {"temperature": -18.0}, {"share of the water frozen": 0.8303}),
    ],
)
def test_an_answer_is_the_handbooks(name, values, answers):
    found = run(name, **values)
    assert {answer: found[answer] for answer in answers} == pytest.approx(answers, abs=2e-3)


@pytest.mark.parametrize(
    ("name", "values", "says"),
    [
        ("loop", {"current": 3.0, "at_four": -50.0, "at_twenty": 150.0},
         ("current: 3.6 mA or less: the loop is open, or the transmitter reports a fault (NE 43). "
         "loop holds for 3.8 mA to 20.5 mA; 3.6 mA and less or 21 mA and more is a fault.")),
        ("pt100", {"resistance": 100.0, "ice_resistance": 500.0},
         ("ice_resistance: 500 ohm at 0 °C is no Pt100. "
         "Write what it measures in an ice bath, near 100 ohm, or leave it out.")),
        ("steinhart-hart-fit", {"t1": 0.0, "r1": 1e4, "t2": 0.0, "r2": 1e4, "t3": 85.0, "r3": 1e3},
         ("t1, r1 to t3, r3: no thermistor goes through these points. Take three different temperatures with "
         "their three different resistances, from the table of the data sheet.")),
        ("boiling-point", {"pressure": 1013.25},
         ("1013.25 kPa is no air pressure of a kitchen: give the pressure at the place itself, not reduced to sea "
         "level, from 50 kPa to 110 kPa (1 kPa is 10 hPa).")),
        ("two-point-correction",
         {"shown": 5.0, "low_shown": 0.0, "low_reference": 0.0, "high_shown": 4.0, "high_reference": 4.0},
         ("The outermost points, 0.00 °C and 4.00 °C, are less than 20 K apart: calibrate with one of them alone, or "
         "take another that is further off.")),
        ("calibration-uncertainty",
         {"temperature": 5.0, "low": 50.0, "low_u": 0.1, "high": 4.0, "high_u": 0.1, "resolution": 0.1, "drift": 0.1},
         "low, high: the points must be 20 K apart, low below high."),
        ("recorder-class", {"uncertainty": 3.0, "resolution": 0.1},
         "Neither class is satisfied: class 2 needs ±2 K and a resolution of 1 K."),
        ("recorder-class", {"uncertainty": -1.0, "resolution": 0.1}, "uncertainty: -1 K can't be: give 0 K to 100 K."),
        ("recording-interval", {"days": 0.0}, "days: 0 can't be: give how many days are recorded, more than 0."),
        ("ramp-lag", {"time_constant": -1.0, "rate": 2.0}, "time_constant: -1 s can't be: give 0 s to 36000 s."),
        ("celsius-to-kelvin", {"temperature": -300.0}, "-300 °C is no temperature: give one from -273.15 °C up."),
        ("portion-to-freeze",
         {"mass": -1.0, "unfrozen": 4.0, "frozen": -18.0, "wanted": 0.0, "water": 60.0, "sucrose": 20.0},
         "mass: -1 kg can't be: give 0 kg to 10000 kg."),
        ("freezing-point", {"water": 160.0}, "water: 160 can't be: give 0 to 100 g per 100 g of mix."),
    ],
)  # fmt: skip
def test_what_can_not_be_is_said_with_its_key(name, values, says):
    with pytest.raises(OutOfRangeError) as refused:
        run(name, **values)
    assert str(refused.value) == says
