"""Heat in, temperature out: the table against the freezing curve it was made from, and the books of heat."""

import itertools

import pytest

from rimekeeper.core.model import Temperature
from rimekeeper.core.process.freezing import specific_enthalpy, water_frozen
from rimekeeper.simulation.mix import Lump, curve_of
from simulation.mixes import CUSTARD, GUELPH, SHERBET


@pytest.mark.parametrize("mix", [CUSTARD, SHERBET, GUELPH])
@pytest.mark.parametrize("celsius", [83.0, 20.0, 0.0, -3.0, -5.5, -10.0, -18.0, -30.0])
def test_table_agrees_with_the_freezing_curve(mix, celsius):
    curve = curve_of(mix)
    heat = specific_enthalpy(mix, Temperature(celsius))
    assert curve.heat(celsius) == pytest.approx(heat, abs=0.35)
    assert curve.celsius(heat) == pytest.approx(celsius, abs=0.05)


def test_heat_from_draw_to_hard_of_the_guelph_mix():
    # science.md section 8: about 0.6 * 0.3285 * 333.5 + 2 * 12.5 = 90.7 kJ/kg from -5.5 to -18 °C
    # (ice by Goff's notes, section 7; specific heat 2 kJ/(kg K) assumed there, so 6 % here).
    curve = curve_of(GUELPH)
    assert curve.heat(-5.5) - curve.heat(-18.0) == pytest.approx(90.7, rel=0.06)


def test_heat_given_is_heat_kept():
    lump = Lump(curve_of(CUSTARD), 3.0, 4.0)
    before = lump.heat * lump.kilograms * 1_000.0
    for _ in range(500):
        lump.add(-700.0)
    assert lump.heat * lump.kilograms * 1_000.0 == pytest.approx(before - 350_000.0, rel=1e-12)
    assert lump.celsius == pytest.approx(
        curve_of(CUSTARD).celsius(curve_of(CUSTARD).heat(4.0) - 350.0 / 3.0), abs=1e-9
    )


def test_supercooled_mix_dips_below_its_freezing_point_and_jumps_back():
    curve = curve_of(SHERBET)
    lump = Lump(curve, 1.0, 1.0, dip=0.8)
    seen = []
    for _ in range(200):
        lump.add(-100.0)
        seen.append(lump.celsius)
    lowest_before_ice = min(seen[: seen.index(next(b for a, b in itertools.pairwise(seen) if b > a))])
    assert curve.freezing_point - 0.85 < lowest_before_ice < curve.freezing_point - 0.7
    rise = max(b - a for a, b in itertools.pairwise(seen))
    assert 0.4 < rise < 0.8
    assert lump.celsius == pytest.approx(curve.celsius(lump.heat))


def test_a_portion_and_the_rest_hold_together_what_was_there():
    lump = Lump(curve_of(CUSTARD), 3.0, 60.0)
    heat = lump.heat * lump.kilograms
    portion = lump.split(0.5)
    for _ in range(100):
        portion.add(-1_500.0)
    assert portion.frozen
    lump.stir_in(portion)
    assert lump.kilograms == pytest.approx(3.0)
    assert lump.heat * lump.kilograms == pytest.approx(heat - 150.0, rel=1e-12)


def test_drawn_mix_has_the_ice_that_the_trade_expects():
    # science.md section 7: more than half of the water frozen at the draw is a common guide (Goff's notes give
    # 0.54 at -6 °C for their mix); here only that the two invented mixes are mixes one could draw.
    for mix in (CUSTARD, SHERBET):
        assert 0.40 < water_frozen(mix, Temperature(-5.6)) < 0.62
