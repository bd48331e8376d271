"""``rimekeeper compute`` as a technician uses it: the list, an answer, and each mistake in a sentence."""

import json

import pytest

from rimekeeper.core.computations import COMPUTATIONS
from support.daemon import command


def test_the_list_names_each_with_inputs_units_validity_and_source():
    told = command("compute")
    assert (told.returncode, told.stderr) == (0, "")
    lines = told.stdout.splitlines()
    for name, one in COMPUTATIONS.items():
        assert f"{name}: {one.title}" in lines
        assert f"  valid: {one.validity}" in lines
        assert f"  source: {one.source}" in lines
    assert "  resistance: ohm, measured resistance" in lines
    assert "  ice_resistance: ohm, its resistance at 0 °C (default 100)" in lines


def test_the_list_and_one_of_it_as_json():
    listed = json.loads(command("compute", "--json").stdout)
    assert [one["name"] for one in listed] == list(COMPUTATIONS)
    (one,) = json.loads(command("compute", "loop", "--json").stdout)
    assert one["inputs"][1] == {
        "name": "at_four",
        "unit": "°C",
        "meaning": "temperature at 4 mA",
        "default": None,
    }


def test_an_answer_with_units_of_the_technicians_choice():
    """Food Code pair 41 °F = 5 °C; a linear transmitter of 0 °C to 100 °C sends 4.8 mA there."""
    told = command("compute", "loop-inverse", "temperature=41 F", "at_four=32 F", "at_twenty=100 C")
    assert told.returncode == 0
    assert told.stdout.splitlines()[0] == "current = 4.8 mA"


def test_an_answer_as_json():
    """IEC 60751 table: a Pt100 has 149.83 ohm at 130 °C and 150.20 ohm at 131 °C; a Pt1000 ten times as much."""
    told = json.loads(command("compute", "pt1000", "resistance=1.5 kohm", "--json").stdout)
    assert told["answers"] == [
        {"name": "temperature", "value": pytest.approx(130.45, abs=0.02), "unit": "°C"}
    ]
    assert told["inputs"] == {"resistance": 1500.0, "ice_resistance": 1000.0, "lead": 0.0}
    assert told["source"] == "IEC 60751"


def test_a_caution_stands_beside_the_answer():
    told = command("compute", "ntc-beta", "resistance=10 kohm", "beta=3435", "nominal=10000")
    assert told.stdout.splitlines()[0] == "temperature = 25 °C"
    assert "Caution: Beta is some kelvin off in a freezer" in told.stderr


@pytest.mark.parametrize(
    ("given", "code", "says"),
    [
        (["pt10"], 2, ('There is no computation "pt10". Did you mean "pt100"? '
         "rimekeeper compute lists them with their inputs.")),
        (["pt100", "resistance"], 2, '"resistance" has no "="; write KEY=VALUE, such as resistance="... ohm".'),
        (["pt100", "resistence=100"], 2, 'pt100 has no input "resistence". Did you mean "resistance"?'),
        (["pt100", "resistance=1", "resistance=2"], 2, "resistance is given twice; leave one of them out."),
        (["pt100", "resistance=warm"], 2,
         'resistance: "warm" is not a number of ohm; write it with its unit, such as "100.2 ohm" or "10 kohm".'),
        (["pt100", "resistance=100 mV"], 2,
         'resistance: "100 mV" is not a number of ohm; write it with its unit, such as "100.2 ohm" or "10 kohm".'),
        (["sucrose-depression", "concentration=nan"], 2,
         'concentration: "nan" is not a number; write one such as 0.1.'),
        (["thermocouple-t", "voltage=1"], 2,
         ("thermocouple-t needs cold_junction (°C, temperature of the cold junction; 0 °C only for ice or an "
         'instrument that compensates). Add cold_junction="... °C".')),
        (["pt100", "resistance=1e300"], 1,
         ("resistance: the resistance is far too high: the sensor or its cable is open. "
         "pt100 holds for -200 °C to 850 °C.")),
    ],
)  # fmt: skip
def test_a_mistake_is_a_sentence_with_the_key_and_the_remedy(given, code, says):
    told = command("compute", *given)
    assert (told.returncode, told.stderr, told.stdout) == (code, f"{says}\n", "")


@pytest.mark.parametrize(
    ("given", "answer"),
    [
        # IAPWS-95: water boils at 99.974 °C under one atmosphere, however it is written.
        (["boiling-point", "pressure=1013.25 hPa"], "temperature = 99.9743 °C"),
        (["boiling-point", "pressure=101325 Pa"], "temperature = 99.9743 °C"),
        # A foot is 0.3048 m, so a mile of 5280 ft is 1609.344 m; ICAO standard atmosphere.
        (["standard-pressure", "altitude=5280 ft"], "pressure = 83.42757 kPa"),
        (["ramp-lag", "time_constant=0.5 min", "rate=2 K/min"], "lag = 1 K"),
        (["ramp-lag", "time_constant=30", "rate=120 K/h"], "lag = 1 K"),
        (["time-constant", "reached_after=80 s", "share=90 %"], "time constant = 34.74356 s"),
    ],
)
def test_pressures_heights_times_and_rates_in_the_technicians_units(given, answer):
    told = command("compute", *given)
    assert (told.returncode, told.stdout.splitlines()[0]) == (0, answer)


def test_what_is_no_pressure_says_how_one_is_written():
    told = command("compute", "boiling-point", "pressure=1 atm")
    assert told.returncode == 2
    assert 'write it with its unit, such as "101.3 kPa" or "1013 hPa"' in told.stderr
