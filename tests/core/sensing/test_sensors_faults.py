"""What broken sensors, lines and transmitters give, and parameters with which no sensor can be."""

from dataclasses import replace

import pytest

from core.sensing.test_sensors_any_number import BUILT, parameters
from rimekeeper.core.model import Instant, ProbeId, Quality, Reason, Sample, Scale, SourceId
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.reading import Weight, read
from rimekeeper.core.sensing.sensors import SENSORS
from rimekeeper.core.sensing.sensors.contract import Refusal
from rimekeeper.core.sensing.sensors.thermistor import steinhart_hart_through
from rimekeeper.core.state import ProbeSlot


@pytest.mark.parametrize(
    ("name", "value", "reason", "word"),
    [
        ("pt100", 0.0, Reason.SENSOR_CODE, "shorted"),
        ("pt100", 1e6, Reason.SENSOR_CODE, "open"),
        ("pt100", 17.0, Reason.OUT_OF_RANGE, "-200"),
        ("pt1000", 4_000.0, Reason.OUT_OF_RANGE, "850"),
        ("thermocouple-k", 500.0, Reason.SENSOR_CODE, "open"),
        ("thermocouple-t", 21.5, Reason.OUT_OF_RANGE, "type T"),
        ("steinhart-hart", 0.0, Reason.SENSOR_CODE, "shorted"),
        ("steinhart-hart", 2e8, Reason.SENSOR_CODE, "open"),
        ("steinhart-hart", 9e7, Reason.OUT_OF_RANGE, "-60"),
        ("ntc-beta", 2.0, Reason.OUT_OF_RANGE, "200"),
        # NAMUR NE 43: 3.6 mA and below, 21 mA and above are faults; 3.8 to 20.5 mA carry the measurement.
        ("loop", 3.6, Reason.SENSOR_CODE, "NE 43"),
        ("loop", 0.0, Reason.SENSOR_CODE, "open"),
        ("loop", 3.7, Reason.OUT_OF_RANGE, "NE 43"),
        ("loop", 20.8, Reason.OUT_OF_RANGE, "NE 43"),
        ("loop", 21.0, Reason.SENSOR_CODE, "NE 43"),
        ("one-wire", -2032.0, Reason.SENSOR_CODE, "not there"),
        ("one-wire", 63_504.0, Reason.SENSOR_CODE, "not there"),
        ("one-wire", 0.5, Reason.OUT_OF_RANGE, "whole"),
        ("one-wire", 2_016.0, Reason.OUT_OF_RANGE, "125"),
        ("one-wire", 70_000.0, Reason.OUT_OF_RANGE, "16 bits"),
        ("tenths-k", -1.0, Reason.OUT_OF_RANGE, "absolute zero"),
    ],
)
def test_a_fault_is_named(name, value, reason, word):
    found = BUILT[name].to_celsius(value)
    assert isinstance(found, Refusal)
    assert found.reason is reason
    assert word in found.why


@pytest.mark.parametrize(
    ("name", "key", "value"),
    [
        ("pt100", "ice_resistance", 1_000.0),
        ("pt100", "lead", -1.0),
        ("thermocouple-j", "cold_junction", 130.0),
        ("steinhart-hart", "a", 1.0),
        ("steinhart-hart", "b", 0.0),
        ("steinhart-hart", "c", -1e-7),
        ("ntc-beta", "beta", 0.0),
        ("ntc-beta", "nominal", 0.0),
        ("ntc-beta", "reference", 300.0),
        ("loop", "at_twenty", -50.0),
        ("scaled-f", "factor", 0.0),
        ("scaled-f", "offset", 1e9),
    ],
)
def test_a_parameter_that_can_not_be_is_named(name, key, value):
    assert SENSORS[name].build(parameters(SENSORS[name]) | {key: value}).key == key


def test_the_junction_is_added_as_voltage_never_as_temperature():
    """A hot junction at -20 °C and a cold one at 25 °C: type K gives E(-20) - E(25); adding 25 °C would be 1 K off."""
    uncompensated = SENSORS["thermocouple-k"].build({"cold_junction": 0.0})
    compensated = SENSORS["thermocouple-k"].build({"cold_junction": 25.0})
    measured = compensated.from_celsius(-20.0)
    assert measured == pytest.approx(uncompensated.from_celsius(-20.0) - uncompensated.from_celsius(25.0))
    assert compensated.to_celsius(measured) == pytest.approx(-20.0, abs=1e-6)
    assert abs(uncompensated.to_celsius(measured) + 25.0 - -20.0) > 1.0


def test_a_thermistor_of_more_ohms_than_a_line_can_carry_is_refused_at_that_temperature():
    """Its resistance would be beyond 100 Mohm in the cold, where its line counts as open."""
    large = {"nominal": 5e6, "a": 1e-4, "b": 2.0e-4, "c": 0.0}
    for name in ("ntc-beta", "steinhart-hart"):
        sensor = SENSORS[name].build(parameters(SENSORS[name]) | large)
        assert sensor.from_celsius(-60.0).reason is Reason.OUT_OF_RANGE
        assert "100 Mohm" in sensor.from_celsius(-60.0).why
        assert sensor.to_celsius(sensor.from_celsius(60.0)) == pytest.approx(60.0, abs=1e-6)


@pytest.mark.parametrize(
    "points",
    [
        ((0.0, 1e4), (25.0, 1e4), (85.0, 1e3)),
        ((0.0, 1e4), (25.0, 5e3), (85.0, 5e3)),
        ((0.0, 1e4), (25.0, 0.0), (85.0, 1e3)),
        ((-300.0, 1e4), (25.0, 5e3), (85.0, 1e3)),
        ((0.0, 2.0), (25.0, 1.0), (85.0, 0.5)),
        ((float("nan"), 1e4), (25.0, 5e3), (85.0, 1e3)),
    ],
)
def test_points_that_no_thermistor_has(points):
    assert steinhart_hart_through(points) is None


PROBE = ProbePlan(ProbeId("pan"), "Pan", SourceId("stove"), "1", sensor=BUILT["loop"])


def reading_of(value, scale=None):
    sample = Sample(SourceId("stove"), "1", value, scale, Instant(1_795_600_800_000))
    reading, _, weight = read(PROBE, ProbeSlot(PROBE.id), sample)
    return reading, weight


def test_a_reading_is_converted_and_keeps_the_instruments_own_number():
    reading, weight = reading_of(12.0)
    assert (reading.raw, reading.celsius, reading.quality, weight) == (
        12.0,
        50.0,
        Quality.GOOD,
        Weight.COUNTS,
    )


def test_a_fault_current_is_bad_and_no_temperature():
    reading, weight = reading_of(3.5)
    assert (reading.raw, reading.celsius, reading.quality) == (3.5, None, Quality.BAD)
    assert (reading.reason, weight) == (Reason.SENSOR_CODE, Weight.BREAKS)


def test_what_the_sensor_says_must_be_in_the_probes_range_too():
    narrow = replace(PROBE, highest=replace(PROBE.highest, celsius=40.0))
    sample = Sample(SourceId("stove"), "1", 12.0, None, Instant(1_795_600_800_000))
    reading, _, _ = read(narrow, ProbeSlot(PROBE.id), sample)
    assert (reading.celsius, reading.reason) == (None, Reason.OUT_OF_RANGE)


def test_a_number_that_came_with_its_scale_is_a_temperature_already():
    reading, _ = reading_of(50.0, Scale.FAHRENHEIT)
    assert reading.celsius == pytest.approx(10.0)
