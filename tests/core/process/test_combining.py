"""Stirring portions together keeps heat and mass, and the portion to freeze undoes it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.process.mixes import BARLEY_CUSTARD, mixes, wild_mixes
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.combining import Portion, against_probe, combined, portion_to_freeze
from rimekeeper.core.process.freezing import initial_freezing_point, specific_enthalpy, water_frozen
from rimekeeper.core.process.ingredients import PARTS, blended, total_of

masses = st.floats(0.05, 20.0)
warmths = st.floats(-30, 80)
portions_of = st.lists(
    st.builds(Portion, masses, st.builds(Temperature, warmths), mixes), min_size=1, max_size=4
)


@given(mixes, st.lists(st.tuples(masses, warmths), min_size=1, max_size=4))
def test_heat_and_mass_are_kept(mix, given_portions):
    portions = [Portion(mass, Temperature(celsius), mix) for mass, celsius in given_portions]
    result = combined(portions)
    before = sum(p.kilograms * specific_enthalpy(mix, p.temperature) for p in portions)
    after = result.kilograms * specific_enthalpy(mix, result.temperature)
    assert result.kilograms == pytest.approx(sum(p.kilograms for p in portions))
    assert after == pytest.approx(before, abs=1e-6 * (1.0 + abs(before)) + 1e-3)
    assert min(c for _, c in given_portions) - 1e-6 <= result.temperature.celsius
    assert result.temperature.celsius <= max(c for _, c in given_portions) + 1e-6


@given(portions_of)
def test_different_mixes_keep_heat_and_every_part(portions):
    try:
        result = combined(portions)
    except OutOfRangeError:
        return
    total = sum(p.kilograms for p in portions)
    before = sum(p.kilograms * specific_enthalpy(p.mix, p.temperature) for p in portions)
    after = total * specific_enthalpy(result.mix, result.temperature)
    assert after == pytest.approx(before, abs=1e-6 * abs(before) + 1e-2)
    for part in PARTS:
        parts = sum(p.kilograms * getattr(p.mix, part) for p in portions)
        assert total * getattr(result.mix, part) == pytest.approx(parts)
    assert 0.0 < result.uncertainty < math.inf


@given(mixes, masses, masses, st.floats(1, 80), st.floats(1, 80))
def test_with_nothing_frozen_it_is_the_mean_by_mass(mix, one, other, cool, warm):
    result = combined([Portion(one, Temperature(cool), mix), Portion(other, Temperature(warm), mix)])
    assert result.frozen == 0.0
    assert result.temperature.celsius == pytest.approx((one * cool + other * warm) / (one + other), abs=1e-6)


@given(mixes, masses, masses, st.floats(1, 60), st.floats(-30, -5), st.floats(0.1, 5.0))
def test_more_or_colder_frozen_mix_makes_it_colder(mix, rest, frozen, warm, cold, more):
    def of(mass, celsius):
        return combined(
            [Portion(rest, Temperature(warm), mix), Portion(mass, Temperature(celsius), mix)]
        ).temperature.celsius

    assert of(frozen + more, cold) < of(frozen, cold)
    assert of(frozen, cold - 1.0) < of(frozen, cold)


@given(mixes, st.floats(0.5, 20), st.floats(2, 20), st.floats(-30, -12), st.floats(0.05, 0.95))
def test_the_portion_to_freeze_gives_the_wanted_temperature(mix, batch, warm, cold, way):
    wanted = Temperature(cold + way * (warm - cold))
    found = portion_to_freeze(mix, batch, Temperature(warm), Temperature(cold), wanted)
    assert found.share == pytest.approx(found.kilograms / batch)
    assert found.uncertainty > 0.0
    rest = batch - found.kilograms
    result = combined(
        [Portion(rest, Temperature(warm), mix), Portion(found.kilograms, Temperature(cold), mix)]
    )
    assert result.temperature.celsius == pytest.approx(wanted.celsius, abs=1e-5)


def test_ice_and_water_by_hand():
    """1 kg of water at 80 °C melts 1 kg of ice of 0 °C: 80 * 4.18 / 333.5 = 1.0027 kg, and is then at 0 °C."""
    water = MixPlan(water=100.0)
    ice = Portion(1.0, Temperature(-1e-9), water)
    result = combined([Portion(1.0, Temperature(80.0), water), ice])
    assert result.temperature.celsius == pytest.approx((80 * 4.18 - 333.5) / (2 * 4.18), abs=1e-3)


def test_latent_heat_makes_a_frozen_portion_small():
    """Common practice, no published source: a base near 30 °F (-1.1 °C) before churning. From 4 °C it takes less
    than a tenth of the batch frozen at -18 °C; without the heat of melting it would seem to be a quarter."""
    found = portion_to_freeze(BARLEY_CUSTARD, 5.0, Temperature(4.0), Temperature(-18.0), Temperature(-1.1))
    assert 0.05 < found.share < 0.10
    assert (4.0 + 1.1) / (4.0 + 18.0) > 0.2


def test_the_doubt_near_the_freezing_point_is_of_the_size_of_the_curves():
    point = initial_freezing_point(BARLEY_CUSTARD).celsius
    result = combined(
        [Portion(4.0, Temperature(4.0), BARLEY_CUSTARD), Portion(4.0, Temperature(-18.0), BARLEY_CUSTARD)]
    )
    assert result.temperature.celsius < point
    assert result.frozen == pytest.approx(water_frozen(BARLEY_CUSTARD, result.temperature))
    assert 0.1 < result.uncertainty < 0.6


@pytest.mark.parametrize(
    ("off", "agrees"), [(0.0, True), (0.5, True), (-0.5, True), (1.5, False), (-1.5, False)]
)
def test_a_probe_that_differs_by_more_than_is_explained_is_said(off, agrees):
    expected = combined(
        [Portion(3.0, Temperature(4.0), BARLEY_CUSTARD), Portion(1.0, Temperature(8.0), BARLEY_CUSTARD)]
    )
    found = against_probe(expected, Temperature(5.0 + off))
    assert found.difference == pytest.approx(off, abs=1e-6)
    assert found.agrees is agrees


def test_a_probe_that_says_nothing_is_never_taken_as_agreeing():
    expected = combined([Portion(3.0, Temperature(4.0), BARLEY_CUSTARD)])
    for nothing in (math.nan, math.inf, -127.0):
        with pytest.raises(OutOfRangeError, match="A reading of"):
            against_probe(expected, Temperature(nothing))


@pytest.mark.parametrize(
    ("masses", "says"),
    [((), "at least one portion"), ((0.0, 0.0), "at least one portion"), ((-1.0, 2.0), "none below"),
     ((math.nan, 1.0), "at least one portion"), ((math.inf, 1.0), "at least one portion")],
)  # fmt: skip
def test_refuses_masses_that_cannot_be(masses, says):
    with pytest.raises(OutOfRangeError, match=says):
        combined([Portion(mass, Temperature(4.0), BARLEY_CUSTARD) for mass in masses])


@pytest.mark.parametrize(
    ("kilograms", "warm", "cold", "wanted", "says"),
    [
        (0.0, 4, -18, -1, "must weigh more than nothing"),
        (math.nan, 4, -18, -1, "must weigh more than nothing"),
        (5.0, 4, -18, 6, "never 6.0 °C. Freeze the portion colder, or cool the rest"),
        (5.0, 4, -18, -20, "never -20.0 °C"),
        (5.0, -18, 4, -1, "never -1.0 °C"),
        (5.0, 4, -80, -1, "A portion of -80 °C can't be computed"),
        (5.0, math.nan, -18, -1, "A portion of nan °C"),
    ],
)
def test_refuses_what_no_portion_can_do(kilograms, warm, cold, wanted, says):
    with pytest.raises(OutOfRangeError, match=says):
        portion_to_freeze(
            BARLEY_CUSTARD, kilograms, Temperature(warm), Temperature(cold), Temperature(wanted)
        )


@given(st.lists(st.builds(Portion, st.floats(), st.builds(Temperature, st.floats()), wild_mixes), max_size=3))
def test_anything_gives_a_finite_answer_or_a_sentence(portions):
    try:
        result = combined(portions)
    except OutOfRangeError as refused:
        sentence = str(refused)
    else:
        sentence = ""
        assert math.isfinite(result.temperature.celsius)
        assert math.isfinite(result.uncertainty)
    assert sentence or portions


@given(st.lists(st.tuples(st.floats(0.01, 10), mixes), min_size=1, max_size=4))
def test_a_blend_adds_up_as_its_parts_do(parts):
    total = sum(mass for mass, _ in parts)
    assert total_of(blended(parts)) == pytest.approx(sum(mass * total_of(mix) for mass, mix in parts) / total)


def test_syrups_and_polyols_of_different_kinds_are_weighed():
    """By hand: 2 g of 42 DE and 1 g of 60 DE count as 3 g of 48 DE; 1 mol and 1 mol of polyols as their mean mass."""
    mix = blended(
        [
            (1.0, MixPlan(water=80.0, syrup_solids=20.0, syrup_de=42.0)),
            (1.0, MixPlan(water=90.0, syrup_solids=10.0, syrup_de=60.0)),
            (1.0, MixPlan(water=0.0, polyols=100.0, polyol_molar_mass=182.17)),
            (0.505517, MixPlan(water=0.0, polyols=100.0, polyol_molar_mass=92.09)),
        ]
    )
    assert mix.syrup_de == pytest.approx(48.0)
    assert mix.polyol_molar_mass == pytest.approx((182.17 + 92.09) / 2, abs=1e-3)
