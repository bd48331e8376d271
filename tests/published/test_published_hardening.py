"""Freezing times against textbooks (sources beside each check), and hardening against common practice, marked as such."""

from __future__ import annotations

import pytest

from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing_time import Around, Food, Shape, pham_seconds, plank_seconds
from rimekeeper.core.process.hardening import FILMS, AirSpeed, Hardening, hardening_time
from rimekeeper.core.process.vessels import Tray, Tub

SPHERE = Food(density=1000.0, latent=250.0, conductivity=1.2)
TEACHING_MIX = MixPlan(water=60.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0, syrup_de=42.0)
"""H. D. Goff's ice-cream notes, University of Guelph."""


@pytest.mark.parametrize(("film", "seconds"), [(50.0, 2603.0), (30.0, 3606.6)])
def test_planks_sphere(film, seconds):
    """Singh and Heldman, Introduction to Food Engineering: sphere of 7 cm at -40 °C (film 50 from memory; 30 as in
    lecture slides, whose own answer of 10.8 s is wrong)."""
    found = plank_seconds(Shape.SPHERE, 0.07, SPHERE, -1.25, Around(-40.0, film))
    assert found == pytest.approx(seconds, abs=1.0)


@pytest.mark.parametrize(
    ("latent", "wrapping", "seconds"),
    [
        (256.0, 0.0, 7539.0),
        (256.0, 1e-3 / 0.06, 14806.0),
        (256.0, 0.019 - 1 / 600, 15097.0),
        (323.0, 0.0, 9512.0),
        (323.0, 0.019 - 1 / 600, 19048.0),
    ],
)
def test_planks_slab_of_meat_bare_and_wrapped(latent, wrapping, seconds):
    """Earle, Unit Operations in Food Processing: meat slab of 10 cm between plates at -34 °C, bare and in 1 mm of card.

    Latent heat, temperatures and the amended latent heat as printed; film 600, card 0.06 and density from memory. The
    text rounds 1/h with the card up to 0.019 m2 K/W, which makes the third and the last.
    """
    food = Food(density=1090.0, latent=latent, conductivity=1.6)
    found = plank_seconds(Shape.SLAB, 0.10, food, -2.0, Around(-34.0, 600.0, wrapping))
    assert found == pytest.approx(seconds, abs=2.0)


def test_phams_sphere():
    """Pham 1986, J Food Technol 21:209 (form from memory), on Singh and Heldman's sphere; worked by hand."""
    food = Food(1000.0, 0.75 * 333.2, 1.2, density_frozen=950.0, heat_unfrozen=3.6, heat_frozen=1.8)
    seconds, mean = pham_seconds(Shape.SPHERE, 0.07, food, 10.0, -18.0, Around(-40.0, 50.0))
    assert mean == pytest.approx(-7.134, abs=1e-3)
    assert seconds == pytest.approx(3743.0, abs=2.0)


@pytest.mark.parametrize(("size", "hours"), [(0.03, 0.75), (0.05, 1.45), (0.08, 2.80), (0.12, 5.17)])
def test_time_grows_faster_than_thickness_and_slower_than_its_square(size, hours):
    """Plank, worked by hand: rho 550, 15 W/(m2 K), 0.35 W/(m K), -30 °C; between air- and conduction-limited."""
    food = Food(density=550.0, latent=90.7, conductivity=0.35)
    around = Around(-30.0, 15.0)
    found = plank_seconds(Shape.SLAB, size, food, -5.5, around)
    twice = plank_seconds(Shape.SLAB, 2.0 * size, food, -5.5, around)
    assert found / 3600.0 == pytest.approx(hours, abs=0.01)
    assert 2.0 < twice / found < 4.0


def test_heat_from_the_draw_to_the_store():
    """By hand for the Guelph mix: ice 0.5018 to 0.8303 of 0.6 kg/kg at 333.5 kJ/kg, and 2 kJ/(kg K): 90.7 kJ/kg."""
    case = Hardening(TEACHING_MIX, Tray(0.04), -5.5, -30.0, FILMS[AirSpeed.FAN])
    assert hardening_time(case).heat == pytest.approx(90.7, rel=0.05)


@pytest.mark.parametrize("speed", [AirSpeed.NATURAL, AirSpeed.FAN])
def test_a_room_at_minus_thirty_takes_a_working_day(speed):
    """Trade handbooks: core at -18 °C or below after 6 to 8 h in a room at -30 °C or below. A tub of 4 to 5 litres,
    whether air moves past it by itself or by a fan: the stated span meets theirs."""
    found = hardening_time(Hardening(TEACHING_MIX, Tub(0.19, 0.16), -5.5, -30.0, FILMS[speed]))
    assert found.least < 8.0 * 3600.0
    assert found.most > 6.0 * 3600.0
    assert 4.0 < found.likely / 3600.0 < 10.0


def test_a_thin_tray_takes_an_hour_and_a_tub_two_or_more():
    """Common practice, no published source: thin tray 1 hour, tub 2 hours or more, in a hardening cabinet."""
    film = FILMS[AirSpeed.FAN]
    tray = hardening_time(Hardening(TEACHING_MIX, Tray(0.02), -5.5, -30.0, film))
    tub = hardening_time(Hardening(TEACHING_MIX, Tub(0.10, 0.12), -5.5, -30.0, film))
    assert tray.least < 3600.0 < tray.most
    assert tub.likely > 2.0 * 3600.0
