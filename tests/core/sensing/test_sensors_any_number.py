"""Every kind of sensor: no number makes it raise or say NaN; both directions agree; monotone where physics is."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import Reason
from rimekeeper.core.sensing.sensors import SENSORS
from rimekeeper.core.sensing.sensors.contract import Fault, Refusal

TYPICAL = {
    "ice_resistance": None,
    "lead": 0.3,
    "cold_junction": 23.0,
    "a": 8.81886e-4,
    "b": 2.523843e-4,
    "c": 1.888931e-7,
    "beta": 3435.43,
    "nominal": 10_000.0,
    "reference": 25.0,
    "at_four": -50.0,
    "at_twenty": 150.0,
    "factor": 0.25,
    "offset": -40.0,
}
SPANS = {
    "pt100": (-200.0, 850.0),
    "pt1000": (-200.0, 850.0),
    "thermocouple-k": (-270.0, 1372.0),
    "thermocouple-t": (-270.0, 400.0),
    "thermocouple-j": (-210.0, 1200.0),
    "thermocouple-n": (-270.0, 1300.0),
    "thermocouple-e": (-270.0, 1000.0),
    "steinhart-hart": (-60.0, 200.0),
    "ntc-beta": (-60.0, 200.0),
    "loop": (-52.5, 156.25),
    "one-wire": (-55.0, 125.0),
}
FALLING = {"steinhart-hart", "ntc-beta"}


def parameters(kind):
    return {p.name: p.default if TYPICAL[p.name] is None else TYPICAL[p.name] for p in kind.parameters}


def typical(name):
    return SENSORS[name].build(parameters(SENSORS[name]))


BUILT = {name: typical(name) for name in SENSORS}


def is_answer(found):
    return isinstance(found, Refusal) or (isinstance(found, float) and math.isfinite(found))


@pytest.mark.parametrize("name", SENSORS)
@given(value=st.floats() | st.floats(-2e4, 2e4))
def test_any_number_is_a_temperature_or_refused(name, value):
    sensor = BUILT[name]
    for found in (sensor.to_celsius(value), sensor.from_celsius(value)):
        assert is_answer(found)
        if not math.isfinite(value):
            assert found.reason is Reason.NOT_A_NUMBER
        if isinstance(found, Refusal):
            assert found.why
            assert found.reason in (Reason.NOT_A_NUMBER, Reason.OUT_OF_RANGE, Reason.SENSOR_CODE)


@pytest.mark.parametrize("name", SENSORS)
@given(data=st.data())
def test_any_parameters_make_a_sensor_or_name_the_key(name, data):
    kind = SENSORS[name]
    given_ = {p.name: data.draw(st.floats() | st.floats(-200, 200), p.name) for p in kind.parameters}
    built = kind.build(given_)
    if isinstance(built, Fault):
        assert built.key in given_
        assert built.what
        assert built.remedy
    else:
        assert is_answer(built.to_celsius(data.draw(st.floats())))
        assert is_answer(built.from_celsius(data.draw(st.floats())))


@pytest.mark.parametrize("name", SENSORS)
@given(share=st.floats(0.0, 1.0))
def test_there_and_back_is_the_same_temperature(name, share):
    coldest, hottest = SPANS.get(name, (-100.0, 300.0))
    celsius = min(coldest + share * (hottest - coldest), hottest)
    signal = BUILT[name].from_celsius(celsius)
    within = 1 / 32 if name == "one-wire" else 1e-6
    assert BUILT[name].to_celsius(signal) == pytest.approx(celsius, abs=within)


@pytest.mark.parametrize("name", SENSORS)
def test_warmer_is_warmer_all_the_way(name):
    coldest, hottest = SPANS.get(name, (-100.0, 300.0))
    steps = 4_000
    warming = [coldest + (hottest - coldest) * n / steps for n in range(steps + 1)]
    signals = [BUILT[name].from_celsius(celsius) for celsius in warming]
    signs = {math.copysign(1, b - a) for a, b in itertools.pairwise(signals) if a != b}
    assert signs == ({-1.0} if name in FALLING else {1.0})
    found = [BUILT[name].to_celsius(signal) for signal in signals]
    assert all(a <= b for a, b in itertools.pairwise(found))


@pytest.mark.parametrize("name", SPANS)
def test_beyond_its_ends_it_says_nothing(name):
    coldest, hottest = SPANS[name]
    sensor = BUILT[name]
    for celsius in (coldest - 0.01, hottest + 0.01):
        assert sensor.from_celsius(celsius).reason is Reason.OUT_OF_RANGE


def test_a_kind_says_all_that_a_technician_needs():
    for name, kind in SENSORS.items():
        assert name == kind.name
        assert all((kind.title, kind.signal.name, kind.signal.meaning, kind.validity, kind.source))
        assert all(p.meaning for p in kind.parameters)
