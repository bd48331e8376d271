"""The freezing curve hangs together, and says clearly where it ends."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process import freezing
from rimekeeper.core.process.ice_curve import ice_curve

BARLEY_CUSTARD = MixPlan(water=58.5, fat=11.0, msnf=8.5, sucrose=15.0, syrup_solids=3.0, other_solids=4.0)

mixes = st.builds(
    MixPlan,
    water=st.floats(50, 75),
    fat=st.floats(0, 18),
    msnf=st.floats(2, 12),
    whey_solids=st.floats(0, 3),
    sucrose=st.floats(8, 20),
    monosaccharides=st.floats(0, 4),
    syrup_solids=st.floats(0, 6),
)


@given(mixes, st.floats(-30, 10), st.floats(0.01, 5))
def test_colder_means_more_ice_and_less_heat(mix, celsius, step):
    colder, warmer = Temperature(celsius - step), Temperature(celsius)
    assert 0.0 <= freezing.water_frozen(mix, warmer) <= freezing.water_frozen(mix, colder) < 1.0
    assert freezing.specific_enthalpy(mix, colder) < freezing.specific_enthalpy(mix, warmer)


@given(mixes, st.floats(0.0, 0.8))
def test_temperature_and_fraction_undo_each_other(mix, fraction):
    celsius = freezing.temperature_for(mix, fraction)
    assert freezing.water_frozen(mix, celsius) == pytest.approx(fraction, abs=1e-6)


@given(mixes, st.floats(-35, 80))
def test_heat_and_temperature_undo_each_other(mix, celsius):
    heat = freezing.specific_enthalpy(mix, Temperature(celsius))
    assert freezing.temperature_at_enthalpy(mix, heat).celsius == pytest.approx(celsius, abs=1e-6)


@given(mixes)
def test_no_ice_down_to_the_freezing_point(mix):
    start = freezing.initial_freezing_point(mix)
    assert freezing.water_frozen(mix, start) == 0.0
    assert freezing.water_frozen(mix, Temperature(start.celsius - 0.1)) > 0.0
    assert freezing.temperature_for(mix, 0.0) == start


def test_melting_makes_the_heat_capacity_peak_below_the_freezing_point():
    start = freezing.initial_freezing_point(BARLEY_CUSTARD).celsius
    above = freezing.effective_heat_capacity(BARLEY_CUSTARD, Temperature(start + 0.5))
    below = freezing.effective_heat_capacity(BARLEY_CUSTARD, Temperature(start - 0.5))
    assert 3.0 < above < 4.0
    assert below > 8.0 * above
    coldest = freezing.effective_heat_capacity(BARLEY_CUSTARD, freezing.COLDEST)
    assert 1.5 < coldest < 3.0


def test_pure_water_freezes_at_zero_and_wholly():
    water = MixPlan(water=100.0)
    assert freezing.initial_freezing_point(water).celsius == 0.0
    assert freezing.water_frozen(water, Temperature(-0.1)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("mix", "sentence"),
    [
        (MixPlan(water=0.0, sucrose=50.0), "This mix has no water"),
        (MixPlan(water=20.0, sucrose=70.0), "this mix has 350.0. Check the sheet's water and sugars"),
        (MixPlan(water=-5.0), "The mix's water must be 0 or more, not -5.0"),
        (MixPlan(water=60.0, sucrose=math.nan), "The mix's sucrose must be 0 or more, not nan"),
    ],
)
def test_refuses_a_mix_outside_the_method(mix, sentence):
    with pytest.raises(OutOfRangeError, match=sentence.replace("(", r"\(")):
        freezing.initial_freezing_point(mix)
    with pytest.raises(OutOfRangeError):
        freezing.water_frozen(mix, Temperature(-5.0))
    with pytest.raises(OutOfRangeError):
        freezing.temperature_for(mix, 0.5)


@pytest.mark.parametrize("celsius", [-40.1, -273.0, math.nan, -math.inf])
def test_refuses_a_temperature_below_the_curve(celsius):
    with pytest.raises(OutOfRangeError, match="known down to -40 °C"):
        freezing.water_frozen(BARLEY_CUSTARD, Temperature(celsius))


@pytest.mark.parametrize(
    ("fraction", "sentence"),
    [(-0.1, "from 0 to below 1"), (1.0, "from 0 to below 1"), (0.98, "colder than -40 °C")],
)
def test_refuses_a_fraction_that_no_temperature_gives(fraction, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        freezing.temperature_for(BARLEY_CUSTARD, fraction)


@pytest.mark.parametrize("heat", [-1e4, 1e4])
def test_refuses_a_heat_content_outside_the_curve(heat):
    with pytest.raises(OutOfRangeError, match="is outside what this mix holds"):
        freezing.temperature_at_enthalpy(BARLEY_CUSTARD, heat)


@given(mixes)
def test_typical_curve_stands_for_a_mix_within_a_fifth(mix):
    """Heat from the freezing point to -6 °C in kelvin of unfrozen mix, for any ordinary mix."""
    start = freezing.initial_freezing_point(mix).celsius
    typical = ice_curve(round(start, 2))
    if typical is None or start < -4.5:
        return
    own = freezing.specific_enthalpy(mix, Temperature(start)) - freezing.specific_enthalpy(
        mix, Temperature(-6.0)
    )
    own /= freezing.effective_heat_capacity(mix, Temperature(start + 1.0))
    assert own == pytest.approx(start - float(typical.heat_at(-6.0)), rel=0.25)


@pytest.mark.parametrize("freezing_point", [0.0, -0.1, -9.5, -80.0])
def test_no_typical_curve_where_the_method_does_not_reach(freezing_point):
    assert ice_curve(freezing_point) is None
