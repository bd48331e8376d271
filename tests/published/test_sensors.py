"""Sensor conversions against published tables and an independent reference library (sources beside each check)."""

import pytest
import thermocouples

from rimekeeper.core.sensing.sensors import SENSORS
from rimekeeper.core.sensing.sensors.platinum import ratio_at
from rimekeeper.core.sensing.sensors.thermistor import steinhart_hart_through
from rimekeeper.core.sensing.sensors.thermocouple import curve


@pytest.mark.parametrize(
    ("celsius", "ohm", "within"),
    [
        # Printed IEC 60751 table, two decimals.
        (-200.0, 18.52, 0.005),
        (-100.0, 60.26, 0.005),
        (-50.0, 80.31, 0.005),
        (-20.0, 92.16, 0.005),
        (0.0, 100.00, 0.005),
        (100.0, 138.51, 0.005),
        (850.0, 390.48, 0.005),
        # The same function worked out to more digits with its published coefficients.
        (-50.0, 80.3063, 1e-4),
        (-18.0, 92.9461, 1e-4),
        (25.0, 109.7347, 1e-4),
        (82.2, 131.7360, 1e-4),
        (100.0, 138.5055, 1e-4),
    ],
)
def test_platinum_as_in_iec_60751(celsius, ohm, within):
    """IEC 60751, resistance table of a 100 ohm thermometer; a Pt1000 has ten times as much."""
    for name, times in (("pt100", 1.0), ("pt1000", 10.0)):
        sensor = SENSORS[name].build({"ice_resistance": 100.0 * times, "lead": 0.0})
        assert sensor.from_celsius(celsius) == pytest.approx(times * ohm, abs=times * within)
        # 0.01 ohm of a Pt100 is 0.026 °C or a little less.
        # The printed 18.52 is rounded to just below the range's end, so it is refused as it must be.
        if celsius > -200.0:
            assert sensor.to_celsius(times * ohm) == pytest.approx(celsius, abs=3.5 * within)
    assert ratio_at(celsius) == pytest.approx(ohm / 100.0, abs=within / 100.0)


@pytest.mark.parametrize(
    ("letter", "celsius", "millivolts", "within"),
    [
        # NIST Monograph 175, reference tables, three decimals (cold junction at 0 °C).
        *(("K", t, e, 6e-4) for t, e in ((-270, -6.458), (-200, -5.891), (-100, -3.554), (1000, 41.276), (1372, 54.886))),
        *(("T", t, e, 6e-4) for t, e in ((-270, -6.258), (-200, -5.603), (-100, -3.379), (200, 9.288), (400, 20.872))),
        *(("J", t, e, 6e-4) for t, e in ((-210, -8.095), (-100, -4.633), (500, 27.393), (760, 42.919), (1200, 69.553))),
        *(("N", t, e, 6e-4) for t, e in ((-270, -4.345), (-200, -3.990), (-100, -2.407), (100, 2.774), (1300, 47.513))),
        *(("E", t, e, 6e-4) for t, e in ((-270, -9.835), (-200, -8.825), (-100, -5.237), (100, 6.319), (1000, 76.373))),
        # The same functions to more digits, from two reference libraries that agree to 1e-12 mV.
        *(("K", t, e, 1e-5) for t, e in ((-20, -0.77754), (0, 0.0), (25, 1.00024), (82, 3.34973), (100, 4.09623))),
        *(("T", t, e, 1e-5) for t, e in ((-20, -0.75684), (0, 0.0), (25, 0.99198), (82, 3.44843), (100, 4.27852))),
        *(("J", t, e, 1e-5) for t, e in ((-20, -0.99473), (0, 0.0), (25, 1.27729), (82, 4.29434), (100, 5.26892))),
    ],
)  # fmt: skip
def test_thermocouples_as_in_the_its_90_tables(letter, celsius, millivolts, within):
    """NIST Monograph 175 (1993), and IEC 60584-1 which has the same tables."""
    sensor = SENSORS[f"thermocouple-{letter.lower()}"].build({"cold_junction": 0.0})
    assert sensor.from_celsius(celsius) == pytest.approx(millivolts, abs=within)
    assert sensor.to_celsius(sensor.from_celsius(celsius)) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize("letter", "KTJNE")
def test_thermocouples_as_in_a_reference_library(letter):
    """The PyPI library ``thermocouples`` 2.1.2 (Monograph 175), over the whole range in steps of a quarter kelvin.

    Type N only from 0 °C up: below, that library's last five coefficients are a hundred times too large (it gives
    +2.778 mV at -270 °C where the printed table says -4.345 mV).
    """
    ours, theirs = curve(letter), thermocouples.get_thermocouple(letter)
    lowest = 0.0 if letter == "N" else ours.coldest
    for quarter in range(int((ours.hottest - lowest) * 4) + 1):
        celsius = lowest + quarter / 4
        microvolts = theirs.temp_to_volt(celsius) * 1e6
        assert ours.microvolts(celsius) == pytest.approx(microvolts, abs=1e-6)
        assert ours.celsius(ours.microvolts(celsius)) == pytest.approx(celsius, abs=1e-6)


def test_the_reference_library_is_still_wrong_below_zero_for_type_n():
    """When this fails the library was mended: then check type N against it over the whole range, too."""
    printed = -4.345
    assert thermocouples.get_thermocouple("N").temp_to_volt(-270.0) * 1e3 == pytest.approx(2.778, abs=1e-3)
    assert curve("N").microvolts(-270.0) / 1e3 == pytest.approx(printed, abs=6e-4)


NTC_TABLE = {-20.0: 67_770.0, 0.0: 27_280.0, 25.0: 10_000.0, 40.0: 5_827.0, 85.0: 1_451.0, 100.0: 973.1}
"""A published table of a 10 kohm thermistor (a public listing of a data sheet's values)."""
FITTED = {"a": 8.81886e-4, "b": 2.523843e-4, "c": 1.888931e-7}


def test_the_coefficients_of_a_published_thermistor():
    found = steinhart_hart_through(tuple((t, NTC_TABLE[t]) for t in (0.0, 25.0, 85.0)))
    assert found == pytest.approx(tuple(FITTED.values()), rel=1e-5)


@pytest.mark.parametrize(
    ("ohm", "celsius"),
    [
        (67_770.0, -19.946),
        (27_280.0, 0.0),
        (10_000.0, 25.0),
        (5_827.0, 40.012),
        (1_451.0, 85.0),
        (973.1, 99.993),
    ],
)
def test_steinhart_and_hart_follow_the_published_table(ohm, celsius):
    """Worked by a second computation from the table above; within 0.06 K of the table everywhere."""
    found = SENSORS["steinhart-hart"].build(FITTED).to_celsius(ohm)
    assert found == pytest.approx(celsius, abs=0.005)
    assert found == pytest.approx(min(NTC_TABLE, key=lambda t: abs(t - celsius)), abs=0.06)


def test_beta_is_wrong_in_a_freezer_as_its_caution_says():
    """B25/85 of the same table: right at 25 °C and 85 °C, 2.5 K warm at -20 °C."""
    sensor = SENSORS["ntc-beta"].build({"beta": 3435.43, "nominal": 10_000.0, "reference": 25.0})
    assert sensor.to_celsius(1_451.0) == pytest.approx(85.0, abs=0.005)
    assert sensor.to_celsius(67_770.0) == pytest.approx(-17.462, abs=0.005)
    assert "2.5 K at -20 °C" in SENSORS["ntc-beta"].caution


@pytest.mark.parametrize(
    ("register", "celsius"),
    [
        (0x0550, 85.0),
        (0x07D0, 125.0),
        (0x0191, 25.0625),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55.0),
    ],
)
def test_one_wire_registers_of_the_data_sheet(register, celsius):
    """The temperature/data table printed in the data sheets of 12-bit one-wire thermometers (exact)."""
    sensor = SENSORS["one-wire"].build({})
    assert sensor.to_celsius(float(register)) == celsius
    assert sensor.from_celsius(celsius) % 65_536 == register


@pytest.mark.parametrize(
    ("current", "celsius"),
    [(4.0, -50.0), (8.0, 0.0), (12.0, 50.0), (20.0, 150.0), (3.8, -52.5), (20.5, 156.25)],
)
def test_a_loop_is_linear_and_reaches_beyond_as_ne_43_says(current, celsius):
    """IEC 60381-1 (4 mA to 20 mA), NAMUR NE 43 (3.8 mA to 20.5 mA carry a measurement)."""
    sensor = SENSORS["loop"].build({"at_four": -50.0, "at_twenty": 150.0})
    assert sensor.to_celsius(current) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "count", "celsius"),
    [
        ("tenths-c", -185.0, -18.5),
        ("tenths-f", 1850.0, 85.0),
        ("tenths-k", 2731.5, 0.0),
        ("tenths-f", 410.0, 5.0),
    ],
)
def test_tenths_by_the_definitions_of_the_scales(name, count, celsius):
    """NIST SP 811, appendix B: t/°C = (t/°F - 32)/1.8 and T/K - 273.15."""
    assert SENSORS[name].build({}).to_celsius(count) == pytest.approx(celsius, abs=1e-9)
