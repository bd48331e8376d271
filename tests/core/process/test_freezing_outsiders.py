"""What lies outside the sucrose-equivalent method is counted or refused, in batch as one by one, with its doubt."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.process.mixes import BARLEY_CUSTARD, mixes, wild_mixes
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process import freezing, freezing_doubt
from rimekeeper.core.process.solutes import OUTSIDERS

COUNTED = [one.part for one in OUTSIDERS if one.part != "other_solids"]
WITHOUT = MixPlan(water=60.0, msnf=9.0, sucrose=15.0)


def test_every_part_of_a_mix_but_water_and_fat_has_its_say():
    """Nothing in a mix is ignored: each part moves the freezing point, or how sure it is."""
    names = {f.name for f in dataclasses.fields(MixPlan)} - {"water", "fat", "syrup_de", "polyol_molar_mass"}
    for name in names:
        more = dataclasses.replace(WITHOUT, **{name: getattr(WITHOUT, name) + 2.0})
        colder = freezing.initial_freezing_point(more) < freezing.initial_freezing_point(WITHOUT)
        before = freezing_doubt.freezing_point_uncertainty(WITHOUT)
        assert colder or freezing_doubt.freezing_point_uncertainty(more) > before, name


@pytest.mark.parametrize("part", COUNTED)
@given(grams=st.floats(0.1, 3.0))
def test_more_of_it_freezes_colder_and_is_less_sure(part, grams):
    with_it = dataclasses.replace(WITHOUT, **{part: grams})
    more = dataclasses.replace(WITHOUT, **{part: 2 * grams})
    points = [freezing.initial_freezing_point(m).celsius for m in (WITHOUT, with_it, more)]
    assert points == sorted(points, reverse=True)
    doubts = [freezing_doubt.freezing_point_uncertainty(m) for m in (WITHOUT, with_it, more)]
    assert doubts == sorted(doubts)
    assert freezing.water_frozen(more, Temperature(-8.0)) < freezing.water_frozen(WITHOUT, Temperature(-8.0))


@pytest.mark.parametrize("one", [o for o in OUTSIDERS if o.most < math.inf], ids=lambda o: o.part)
def test_too_much_of_it_is_refused_by_name(one):
    mix = dataclasses.replace(WITHOUT, water=50.0, **{one.part: 0.51 * one.most})
    with pytest.raises(OutOfRangeError, match=f"g of {one.words} per 100 g of water nobody can compute"):
        freezing.initial_freezing_point(mix)
    assert freezing.frozen_percent(mix, -6.0) is None


@pytest.mark.parametrize("molar_mass", [0.0, -1.0, math.nan, math.inf, 5000.0])
def test_a_polyol_that_weighs_nothing_is_refused(molar_mass):
    with pytest.raises(OutOfRangeError, match="molar mass of polyols must be 60 to 2000"):
        freezing.initial_freezing_point(dataclasses.replace(WITHOUT, polyol_molar_mass=molar_mass))


@given(mixes, st.lists(st.floats(-60, 120) | st.floats(), min_size=1, max_size=30))
def test_many_at_once_are_the_same_to_the_last_bit(mix, celsius):
    along = freezing.water_frozen_along(mix, np.array(celsius))
    for at, found in zip(celsius, along, strict=True):
        if math.isfinite(at) and at >= -40.0:
            assert found == freezing.water_frozen(mix, Temperature(at))
            assert freezing.frozen_percent(mix, at) == 100.0 * found
        else:
            assert math.isnan(found)
            assert freezing.frozen_percent(mix, at) is None


@given(wild_mixes, st.floats())
def test_no_mix_and_no_temperature_gives_nonsense(mix, celsius):
    percent = freezing.frozen_percent(mix, celsius)
    assert percent is None or 0.0 <= percent <= 100.0
    try:
        along = freezing.water_frozen_along(mix, np.array([celsius, -6.0]))
        doubt = freezing_doubt.freezing_point_uncertainty(mix)
    except OutOfRangeError:
        assert percent is None
    else:
        assert 0.0 <= along[1] <= 1.0
        assert math.isfinite(doubt)


@given(mixes, st.floats(-39, 5))
def test_the_doubt_of_the_fraction_covers_a_freezing_point_that_is_off(mix, celsius):
    """Shift the curve by the stated kelvin: the fraction moves by no more than is stated."""
    doubt = freezing_doubt.fraction_uncertainty(mix, Temperature(celsius))
    found = freezing.water_frozen(mix, Temperature(celsius))
    assert 0.0 <= doubt < 0.6
    kelvin = freezing_doubt.depression_uncertainty(mix, 1.0 / (1.0 - found))
    for shift in (-kelvin, kelvin):
        moved = freezing.water_frozen(mix, Temperature(max(-40.0, celsius + shift)))
        assert abs(moved - found) <= doubt + 1e-12


@given(mixes, st.floats(0.0, 0.8))
def test_the_doubt_of_the_temperature_is_never_below_the_methods(mix, fraction):
    assert freezing_doubt.temperature_uncertainty(mix, fraction) >= 0.1


def test_an_ordinary_mix_is_as_sure_as_the_method():
    plain = MixPlan(water=60.5, fat=14.5, msnf=9.0, sucrose=16.0)
    assert freezing_doubt.freezing_point_uncertainty(plain) == pytest.approx(0.1, abs=0.001)
    assert freezing_doubt.fraction_uncertainty(plain, Temperature(-12.0)) == pytest.approx(0.02)


@given(mixes)
def test_the_colligative_law_is_near_for_every_ordinary_mix(mix):
    check = freezing_doubt.colligative_check(mix)
    assert check.agrees
    assert check.difference == check.by_molar_mass - check.by_method


def test_the_colligative_law_differs_where_syrup_is_most_of_the_sugar():
    """A syrup counts DE/100 by the method, but 1.9 times that by its molecules."""
    syrup = MixPlan(water=60.0, syrup_solids=30.0, syrup_de=60.0, fat=10.0)
    check = freezing_doubt.colligative_check(syrup)
    assert check.by_molar_mass < check.by_method
    assert not check.agrees


def test_a_screen_may_ask_at_every_reading():
    """A measured time is noise on a shared machine; a thousand answers in 20 ms is 20 µs each, the best of five."""
    import timeit  # noqa: PLC0415

    best = min(timeit.repeat(lambda: freezing.frozen_percent(BARLEY_CUSTARD, -6.1), number=1000, repeat=5))
    assert best < 0.02


@pytest.mark.parametrize("water", [1e-307, 1e-300, 1e-5])
def test_a_mix_with_no_water_to_speak_of_is_refused_and_never_nan(water):
    with pytest.raises(OutOfRangeError, match="nobody can compute when this mix"):
        freezing.initial_freezing_point(MixPlan(water=water, other_solids=100.0))
