"""Hardening time: against a simulation in thin layers, and what must hold of any tray, tub, box and air."""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing_time import (
    Around,
    Food,
    Shape,
    pham_seconds,
    plank_seconds,
)
from rimekeeper.core.process.hardening import (
    FILMS,
    THICKEST,
    AirSpeed,
    Film,
    Hardening,
    conductivity,
    density,
    hardening_time,
    largest_for,
    what_if,
)
from rimekeeper.core.process.hardening_layers import way_down
from rimekeeper.core.process.vessels import Box, Tray, Tub
from support.layers import Substance, middle_of, middle_of_tub

BASE = MixPlan(
    water=60.0, fat=12.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0, syrup_de=42.0
)
SHERBET = MixPlan(water=69.0, msnf=3.0, sucrose=18.0, monosaccharides=6.0, other_solids=4.0)
CASE = Hardening(BASE, Tray(0.04), -5.5, -30.0, FILMS[AirSpeed.FAN])


def exactly(film):
    return Film(film, film, film)


def substance(mix, overrun):
    return Substance(mix, density(mix, overrun), lambda celsius: conductivity(mix, celsius, overrun))


BASE_AS_DRAWN = substance(BASE, 0.3)


# --- against the simulation ------------------------------------------------------------------------------------

SLABS = [
    (start, core, air, thick, film)
    for start, core, air in ((-5.5, -18, -25), (-5.5, -18, -35), (-7, -18, -22), (-5, -25, -35), (-2, -18, -30),
                             (4, -18, -30))
    for thick, film in ((0.02, 6), (0.04, 15), (0.10, 20))
]  # fmt: skip


@pytest.mark.parametrize(("start", "core", "air", "thick", "film"), SLABS)
def test_a_tray_hardens_as_in_the_simulation(start, core, air, thick, film):
    case = Hardening(BASE, Tray(thick), start, air, exactly(film), core)
    times, _ = middle_of(BASE_AS_DRAWN, thick / 2, 1, start, lambda _: air, film, core)
    assert 0.96 <= hardening_time(case).likely / times[-1] <= 1.12


@pytest.mark.parametrize("overrun", [0.0, 0.3, 1.0])
def test_another_mix_and_its_air(overrun):
    times, _ = middle_of(substance(SHERBET, overrun), 0.025, 1, -5.0, lambda _: -30.0, 15.0, -18.0)
    case = Hardening(SHERBET, Tray(0.05), -5.0, -30.0, exactly(15.0), overrun=overrun)
    assert 0.96 <= hardening_time(case).likely / times[-1] <= 1.12


@pytest.mark.parametrize("directions", [2, 3])
@pytest.mark.parametrize(("start", "air", "size", "film"), [(-5.5, -30, 0.04, 8), (-5.5, -22, 0.10, 20)])
def test_a_long_cylinder_and_a_sphere_come_out_late_rather_than_early(directions, start, air, size, film):
    times, _ = middle_of(BASE_AS_DRAWN, size / 2, directions, start, lambda _: air, film, -18.0)
    slab = hardening_time(Hardening(BASE, Tray(size), start, air, exactly(film))).likely
    assert 0.98 <= slab / directions / times[-1] <= 1.22


@pytest.mark.parametrize(("diameter", "height"), [(0.12, 0.12), (0.16, 0.08), (0.10, 0.20)])
@pytest.mark.parametrize("film", [8.0, 30.0])
def test_a_tub_hardens_as_in_a_simulation_in_two_directions(diameter, height, film):
    found = hardening_time(Hardening(BASE, Tub(diameter, height), -5.5, -30.0, exactly(film))).likely
    seen = middle_of_tub(BASE_AS_DRAWN, diameter, height, -5.5, -30.0, film, -18.0)
    assert 0.95 <= found / seen <= 1.06


def test_phams_own_two_temperatures_come_out_short_for_a_drawn_mix():
    """Why the heat is taken off in steps: with the same heat, his mean temperatures alone are a quarter short."""
    times, _ = middle_of(BASE_AS_DRAWN, 0.02, 1, -5.5, lambda _: -25.0, 15.0, -18.0)
    mean = 1.8 - 0.263 * 18.0 - 0.105 * 25.0
    assert -5.6 < mean < -5.5
    heat = hardening_time(replace(CASE, air=-25.0)).heat * 1e3 * density(BASE, 0.3)
    biot = 15.0 * 0.02 / conductivity(BASE, (-5.5 - 18.0) / 2, 0.3)
    pham = 0.02 / 15.0 * heat / (mean + 25.0) * (1.0 + biot / 2.0)
    assert 0.65 < pham / times[-1] < 0.80


@pytest.mark.parametrize(("thick", "film"), [(0.03, 6.0), (0.05, 15.0), (0.08, 28.0)])
def test_the_middle_comes_down_as_in_the_simulation(thick, film):
    times, middle = middle_of(BASE_AS_DRAWN, thick / 2, 1, -5.5, lambda _: -30.0, film, -18.0)
    way = way_down(replace(CASE, vessel=Tray(thick), film=exactly(film)))
    for celsius in (-6.5, -8.0, -10.0, -14.0, -17.0):
        passed = times[np.argmax(middle <= celsius)] / times[-1]
        said = float(np.interp(-celsius, [-one for one in way.celsius], way.seconds)) / way.likely
        assert said == pytest.approx(passed, abs=0.03)


# --- what must hold --------------------------------------------------------------------------------------------

vessels = st.one_of(
    st.builds(Tray, st.floats(0.006, 0.3)),
    st.builds(Tub, st.floats(0.02, 0.3), st.floats(0.02, 0.3)),
    st.builds(Box, st.floats(0.02, 0.3), st.floats(0.02, 0.3), st.floats(0.02, 0.3)),
)
cases = st.builds(
    Hardening,
    mix=st.sampled_from([BASE, SHERBET]),
    vessel=vessels,
    start=st.floats(-9.0, 10.0),
    air=st.floats(-50.0, -19.0),
    film=st.floats(3.0, 60.0).map(exactly),
    core=st.floats(-18.0, -12.0),
    overrun=st.floats(0.0, 1.2),
    wrapping=st.floats(0.0, 0.3),
)


@given(case=cases, more=st.floats(0.0, 5.0), factor=st.floats(1.0, 3.0))
def test_warmer_air_less_wind_more_wrapping_and_a_larger_one_never_harden_sooner(case, more, factor):
    found = hardening_time(case)
    assert 0.0 < found.least < found.likely < found.most
    worse = [
        replace(case, film=exactly(case.film.likely / factor)),
        replace(case, wrapping=case.wrapping + more / 10.0),
        replace(case, core=case.core - more / 5.0),
        replace(case, start=case.start + more),
    ]
    if case.air + more < -18.6:
        worse.append(replace(case, air=case.air + more))
    if case.vessel.smallest * factor <= THICKEST:
        worse.append(replace(case, vessel=case.vessel.scaled(factor)))
    for other in worse:
        if other.air <= other.core - 0.5:
            assert hardening_time(other).likely >= found.likely * (1 - 1e-9)


@settings(max_examples=15, deadline=None)
@given(case=cases)
def test_the_way_down_falls_and_passes_the_core_when_the_time_is_over(case):
    found, way = hardening_time(case), way_down(case)
    assert all(np.diff(way.celsius) < 0.0)
    assert all(np.diff(way.seconds) >= 0.0)
    assert (way.celsius[0], way.seconds[0]) == pytest.approx((case.start, 0.0))
    passed = float(np.interp(-case.core, [-one for one in way.celsius], way.seconds))
    assert passed == pytest.approx(found.likely, rel=1e-3)
    assert (way.least, way.likely, way.most) == (found.least, found.likely, found.most)


@given(case=cases, hours=st.floats(0.1, 60.0))
def test_the_largest_that_is_hard_in_time_is_and_a_larger_one_is_not(case, hours):
    within = hours * 3600.0
    advice = largest_for(case, within)
    for vessel, which in ((advice.surely, "most"), (advice.likely, "likely")):
        if vessel is None:
            continue
        assert getattr(hardening_time(replace(case, vessel=vessel)), which) <= within * (1 + 1e-9)
        larger = vessel.scaled(1.01)
        if larger.smallest <= THICKEST and max(larger.sides) <= 2.0:
            assert getattr(hardening_time(replace(case, vessel=larger)), which) > within
    if advice.surely is not None:
        assert advice.likely is not None
        assert advice.surely.smallest <= advice.likely.smallest * (1 + 1e-9)


@given(biot=st.floats(1e-6, 100.0), sides=st.tuples(*[st.floats(0.02, 0.3)] * 3))
def test_heat_leaves_in_one_to_three_directions(biot, sides):
    for vessel in (Tub(*sides[:2]), Box(*sides)):
        assert 1.0 <= vessel.directions(biot) <= 3.0
    # Where the air is the bottleneck, only surface by volume counts.
    d, h = sides[:2]
    surface_by_volume = 4.0 / d + 2.0 / h
    assert Tub(d, h).directions(1e-9) == pytest.approx(min(d, h) / 2.0 * surface_by_volume, rel=1e-6)


def test_what_if_it_is_colder_or_windier():
    rows = what_if(CASE, (-17.0, -25.0, -35.0), (FILMS[AirSpeed.STILL], FILMS[AirSpeed.BLAST]))
    assert [row[2] is None for row in rows] == [True, True, False, False, False, False]
    assert rows[2][2].likely > rows[3][2].likely > rows[5][2].likely


def test_the_span_of_the_air_is_in_the_span_of_the_time():
    assert hardening_time(CASE).most > hardening_time(replace(CASE, film=exactly(15.0))).most
    sure = hardening_time(replace(CASE, film=exactly(15.0)))
    assert (sure.least, sure.most) == pytest.approx((sure.likely / 1.25, sure.likely * 1.25))


any_float = st.floats(allow_nan=True, allow_infinity=True)


@given(
    given_=st.lists(any_float | st.floats(-60.0, 60.0), min_size=9, max_size=9), shape=st.sampled_from(Shape)
)
def test_any_float_gives_a_finite_answer_or_a_sentence(given_, shape):
    a, b, c, d, e, f, g, h, i = given_
    food, around = Food(a, b, c, d, e, f), Around(g, h, i)
    with contextlib.suppress(OutOfRangeError):
        assert math.isfinite(plank_seconds(shape, a, food, b, around))
    with contextlib.suppress(OutOfRangeError):
        assert all(map(math.isfinite, pham_seconds(shape, a, food, b, c, around)))
    for vessel in (Tray(a), Tub(a, b), Box(a, b, c)):
        case = Hardening(MixPlan(abs(h), i), vessel, d, e, Film(f, f, f), g, h, i)
        with contextlib.suppress(OutOfRangeError):
            assert math.isfinite(hardening_time(case).most)
        with contextlib.suppress(OutOfRangeError):
            largest_for(case, b)
        with contextlib.suppress(OutOfRangeError):
            what_if(case, (a, b), (FILMS[AirSpeed.FAN],))


@pytest.mark.parametrize(
    ("case", "says"),
    [
        (replace(CASE, air=-18.0),
         "In air of -18 °C the middle doesn't get to -18 °C in any time that can be told: the air must be 0.5 K colder."),
        (replace(CASE, start=-18.0), "At -18 °C it is as cold as wanted (-18 °C) already."),
        (replace(CASE, vessel=Tray(0.5)), "smallest side: 0.5 m can't be: give 0.005 m to 0.4 m."),
        (replace(CASE, mix=MixPlan(0.0)),
         "This mix has no water, so it has no freezing point. Give the sheet's water per 100 g."),
        (replace(CASE, film=Film(5.0, 4.0, 6.0)),
         "A film must rise: 1 W/m2K <= least <= likely <= most <= 1000 W/m2K."),
    ],
)  # fmt: skip
def test_what_can_not_be_is_said(case, says):
    with pytest.raises(OutOfRangeError) as refused:
        hardening_time(case)
    assert str(refused.value) == says


def test_pure_water_hardens_too():
    case = Hardening(MixPlan(water=100.0), Tray(0.04), -1.0, -30.0, exactly(15.0), -18.0)
    assert math.isfinite(hardening_time(case).likely)
    assert conductivity(MixPlan(water=100.0), -10.0, 0.0) == pytest.approx(2.3)
