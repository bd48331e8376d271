"""The freezing curve against published figures (sources beside each check)."""

import pytest

from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import initial_freezing_point, sucrose_depression, water_frozen
from rimekeeper.core.process.freezing_doubt import (
    colligative_check,
    fraction_uncertainty,
    freezing_point_uncertainty,
)
from rimekeeper.core.process.ingredients import INGREDIENTS, blended

TEACHING_MIX = MixPlan(water=60.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0, syrup_de=42.0)
"""Composition of the worked example in H. D. Goff's ice-cream notes, University of Guelph."""


@pytest.mark.parametrize(
    ("mass_percent", "depression", "within"),
    [(10, 0.63, 0.08), (16, 1.10, 0.08), (20, 1.47, 0.08), (30, 2.64, 0.08), (40, 4.45, 0.08)],
)
def test_sucrose_solutions_freeze_where_the_handbook_says(mass_percent, depression, within):
    """CRC Handbook of Chemistry and Physics, concentrative properties of aqueous solutions: sucrose."""
    per_100g_water = 100.0 * mass_percent / (100.0 - mass_percent)
    assert sucrose_depression(per_100g_water) == pytest.approx(depression, abs=within)


def test_milk_freezes_near_its_known_point():
    """Leighton 1927: milk of 8.99 MSNF and 87.11 water; freezing point of milk about -0.55 °C (trade standard)."""
    milk = initial_freezing_point(MixPlan(water=87.11, msnf=8.99)).celsius
    assert milk == pytest.approx(-0.573, abs=0.002)
    assert milk == pytest.approx(-0.55, abs=0.03)


def test_salts_of_milk_lower_as_much_as_was_measured():
    """Leighton 1927: 0.244 °C from everything in milk but its lactose, at 8.99 MSNF and 87.11 water."""
    with_salts = -initial_freezing_point(MixPlan(water=87.11, msnf=8.99)).celsius
    lactose_only = sucrose_depression(100.0 * 0.545 * 8.99 / 87.11)
    assert with_salts - lactose_only == pytest.approx(0.244, abs=0.002)


def test_teaching_mix_begins_to_freeze():
    """Inputs and method of the Guelph example; the answer computed from the table of Goff and Hartel by hand."""
    assert initial_freezing_point(TEACHING_MIX).celsius == pytest.approx(-2.59, abs=0.01)


def test_second_mix_begins_to_freeze():
    """Same table and method, worked by hand: SE 20.905 in 60.5 g of water."""
    mix = MixPlan(water=60.5, msnf=9.0, sucrose=16.0)
    assert initial_freezing_point(mix).celsius == pytest.approx(-2.476, abs=0.001)
    assert water_frozen(mix, Temperature(-6.11)) == pytest.approx(0.5601, abs=0.003)


@pytest.mark.parametrize(
    ("celsius", "fraction"),
    [(-3, 0.1345), (-5, 0.4566), (-5.5, 0.5018), (-6, 0.5387), (-8, 0.6373), (-10, 0.7004), (-18, 0.8303)],
)
def test_ice_fraction_of_the_teaching_mix(celsius, fraction):
    """Goff and Hartel's table solved for the unfrozen water by a second, separate computation (tolerance 0.003)."""
    assert water_frozen(TEACHING_MIX, Temperature(celsius)) == pytest.approx(fraction, abs=0.003)


def test_ideal_solution_is_a_bound_not_the_answer():
    """Colligative law, Kf 1.86 K kg/mol (any physical-chemistry text): lower than the table, by about 12 %."""
    ideal = 1.86 * 344.33 / 342.3
    assert ideal == pytest.approx(1.871, abs=0.001)
    assert 1.05 < sucrose_depression(34.433) / ideal < 1.2


def test_more_than_half_is_frozen_at_an_ordinary_draw():
    """Trade guide: more than half of the water is frozen when the mix is drawn (common practice, -5 to -7 °C)."""
    assert 0.45 < water_frozen(TEACHING_MIX, Temperature(-5.5)) < 0.6


def solution(part, mass_percent, **more):
    return MixPlan(water=100.0 - mass_percent, **{part: mass_percent}, **more)


@pytest.mark.parametrize(
    ("part", "mass_percent", "celsius"),
    [
        ("alcohol", 4.8, -2.0), ("alcohol", 11.3, -5.0), ("alcohol", 16.4, -7.5), ("alcohol", 20.3, -10.6),
        ("salt", 1.0, -0.58), ("salt", 2.0, -1.13), ("salt", 5.0, -2.97), ("salt", 8.0, -5.03), ("salt", 9.0, -5.77),
    ],
)  # fmt: skip
def test_alcohol_and_salt_freeze_where_the_handbook_says_within_the_stated_doubt(part, mass_percent, celsius):
    """Lange's Handbook of Chemistry, 15th ed., table 5.13, freezing points of ethanol-water and NaCl brines."""
    mix = solution(part, mass_percent)
    assert abs(initial_freezing_point(mix).celsius - celsius) <= freezing_point_uncertainty(mix)


@pytest.mark.parametrize(
    ("part", "mass_percent", "celsius"),
    [("alcohol", 26.7, -16.0), ("alcohol", 33.8, -23.6), ("salt", 15.0, -10.88), ("salt", 20.0, -16.46)],
)
def test_a_weak_brine_or_spirit_freezes_out_to_the_strength_that_the_handbook_has_there(
    part, mass_percent, celsius
):
    """The same table read as a curve: of 5 % solute, so much water is ice that the rest has the tabulated strength."""
    weak = solution(part, 5.0)
    frozen = 1.0 - (5.0 / mass_percent * (100.0 - mass_percent)) / 95.0
    at = Temperature(celsius)
    assert abs(water_frozen(weak, at) - frozen) <= fraction_uncertainty(weak, at)


@pytest.mark.parametrize(("mass_percent", "celsius"), [(20.0, -4.8), (30.0, -9.5)])
def test_glycerol_freezes_where_the_handbook_says_within_the_stated_doubt(mass_percent, celsius):
    """Lange's Handbook, table 5.13, glycerol; its row of 10 % (-1.6) contradicts dilute theory and is left out."""
    mix = solution("polyols", mass_percent, polyol_molar_mass=92.09)
    assert abs(initial_freezing_point(mix).celsius - celsius) <= freezing_point_uncertainty(mix)


def test_half_a_mole_of_salt_in_a_kilogram_of_water():
    """Smithsonian Physical Tables, 9th ed. (1956), lowering by electrolytes: NaCl 0.5 mol/kg 1.68, 0.25 mol/kg 0.85."""
    for molality, lowering in ((0.5, 1.68), (0.25, 0.85)):
        salt = 58.44 * molality
        mix = MixPlan(water=100_000.0 / (1000.0 + salt), salt=100.0 * salt / (1000.0 + salt))
        assert abs(-initial_freezing_point(mix).celsius - lowering) <= freezing_point_uncertainty(mix)
        assert -initial_freezing_point(mix).celsius == pytest.approx(lowering, rel=0.05)


def test_egg_yolk_freezes_where_it_was_measured():
    """Differential thermal analysis of egg samples with carrageenan and salt (2001): yolk of 47.65 % water, -0.59 °C."""
    yolk = MixPlan(water=47.65, yolk_solids=52.35)
    assert initial_freezing_point(yolk).celsius == pytest.approx(-0.59, abs=0.01)


def test_milk_of_the_food_table_freezes_as_milk_does():
    """USDA Handbook 8-1 (1976) composition; freezing point of milk about -0.55 °C (trade standard)."""
    milk = INGREDIENTS["whole milk"].mix
    assert abs(initial_freezing_point(milk).celsius + 0.55) <= freezing_point_uncertainty(milk)


def test_a_mix_of_weighed_ingredients_is_the_mix_of_their_parts():
    """By hand from USDA Handbook 8-1 (1976): milk 88.0 water, 3.3 fat; cream 57.7 water, 37.0 fat; 600, 250, 150 g."""
    names = ("whole milk", "heavy cream", "sugar")
    mix = blended([(g, INGREDIENTS[name].mix) for g, name in zip((600, 250, 150), names, strict=True)])
    assert (mix.water, mix.fat, mix.msnf, mix.sucrose) == pytest.approx((67.225, 11.23, 6.545, 15.0))


def test_colligative_law_beside_the_method_for_the_teaching_mix():
    """By hand: 18.98 g of disaccharides and 4 g of 42 DE syrup in 60 g of water, 1.86 K kg/mol, salts 0.474 K."""
    check = colligative_check(TEACHING_MIX)
    moles = (0.545 * 10 + 0.765 * 2 + 12) / 342.3 + 4 * 0.42 / 180.16
    assert check.by_molar_mass == pytest.approx(-(1860 * moles / 60 + 0.474), abs=1e-9)
    assert check.by_method == pytest.approx(-2.59, abs=0.01)
    assert check.agrees
    assert check.difference == pytest.approx(0.09, abs=0.02)
