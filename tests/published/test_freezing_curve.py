"""The freezing curve against published figures (sources beside each check)."""

import pytest

from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import initial_freezing_point, sucrose_depression, water_frozen

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
