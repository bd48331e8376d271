"""Cold rooms: the books of heat, the buffered product, thermostat and defrost, and the failure that the demo shows."""

import math

import numpy as np
import pytest

from rimekeeper.simulation.rooms import CABINET, CANISTERS, FRIDGE, WALK_IN, ColdRoom, RoomBuild

BUILDS = {"walk-in": WALK_IN, "cabinet": CABINET, "canisters": CANISTERS, "fridge": FRIDGE}


def room(build, entropy=1):
    return ColdRoom(build, np.random.default_rng(entropy))


def still(**more):
    """A room without plant, people or defrosts."""
    base = {"cut_in": 99.0, "cut_out": 98.0, "plant": 0.0, "air_heat": 70e3, "product_heat": 600e3}
    return RoomBuild(**{**base, "wall": 0.0, "product": 60.0, "door": 0.0, **more})


def test_air_and_product_share_their_heat_and_lose_none():
    one = room(still())
    one.air, one.product = 0.0, -20.0
    held = one.air * 70e3 + one.product * 600e3
    for _ in range(5_000):
        one.step(10.0)
    assert one.air * 70e3 + one.product * 600e3 == pytest.approx(held, rel=1e-9)
    assert one.air == pytest.approx(one.product, abs=1e-6)


def test_buffered_product_against_the_closed_form():
    # science.md section 9: +12 K of air for 30 min, tau 180 min -> the product rises by 1.842 K.
    one = room(still(air_heat=1e12, product_heat=60.0 * 180.0 * 60.0))
    one.air, one.product = -8.0, -20.0
    for _ in range(180):
        one.step(10.0)
    assert one.product + 20.0 == pytest.approx(1.842, abs=0.003)


def test_without_a_plant_the_room_warms_by_newton():
    one = room(still(wall=12.0, product=0.0))
    one.air = -20.0
    for _ in range(360):
        one.step(10.0)
    assert one.air == pytest.approx(21.0 - 41.0 * math.exp(-3_600.0 * 12.0 / 70e3), abs=0.03)


@pytest.mark.parametrize("name", BUILDS)
def test_the_thermostat_keeps_the_air_in_its_band(name):
    build = BUILDS[name]
    one = room(build)
    one.until_defrost = 1e9
    for _ in range(360):
        one.step(10.0)
    seen = []
    starts = 0
    for _ in range(6 * 360):
        before = one.running
        one.step(10.0)
        starts += one.running and not before
        seen.append(one.air)
    assert build.cut_out - 0.5 < min(seen)
    assert max(seen) < build.cut_in + 0.3
    assert (
        6 <= starts <= 15 * 6
    )  # a plant that starts more than 15 times an hour would not live long (from memory)


def test_a_defrost_lifts_the_air_and_spares_the_product():
    one = room(WALK_IN)
    one.until_defrost = 600.0
    air, product = [], []
    for _ in range(360):
        one.step(10.0)
        air.append(one.air)
        product.append(one.product)
    # science.md section 9: 20 to 40 min each with a rise of the air; the goods hardly notice (from memory).
    assert 6.0 < max(air) - WALK_IN.cut_in < 14.0
    assert max(product) - min(product) < 1.6
    warm = sum(10 for celsius in air if celsius > -18.0)
    assert 15 * 60 < warm < 45 * 60
    assert air[-1] < -18.0


def test_three_defrosts_a_day():
    # science.md section 9: two to four a day (trade articles).
    one = room(WALK_IN)
    began = 0
    for _ in range(8_640):
        before = one.defrosting
        one.step(10.0)
        began += one.defrosting > 0.0 and before == 0.0
    assert began == 3


def test_doors_are_opened_when_people_work_and_not_at_night():
    quiet, busy = room(FRIDGE, 5), room(FRIDGE, 5)
    for _ in range(360):
        quiet.step(10.0, busy=0.0)
        busy.step(10.0, busy=1.0)
    calm = [(quiet.step(10.0), quiet.air)[1] for _ in range(1_000)]
    swings = [(busy.step(10.0, busy=1.0), busy.air)[1] for _ in range(1_000)]
    assert np.mean(swings) > np.mean(calm)
    assert max(swings) < 5.0


def test_a_broken_plant_warms_past_the_limit_in_less_than_a_minute_from_the_top_of_its_cycle():
    one = room(WALK_IN)
    one.air, one.broken = WALK_IN.cut_in - 0.2, True
    seconds = 0
    while one.air < -18.0:
        one.step(1.0)
        seconds += 1
    assert 15 < seconds < 50
    for _ in range(600):
        one.step(1.0)
    assert -12.0 < one.air < 5.0
    assert one.product < -17.0  # the goods are safe for a while: that is what the call-out is for
    one.broken = False
    while one.air > -18.5:
        one.step(1.0)
        seconds += 1
        assert seconds < 3_600


def test_no_power_means_no_plant_and_no_heater():
    one = room(WALK_IN)
    one.powered = False
    one.until_defrost = 60.0
    for _ in range(120):
        one.step(10.0)
    assert not one.running
    assert one.defrosting == 0.0
    assert one.air > -19.5


def test_same_random_numbers_same_room():
    one, two, other = room(FRIDGE, 7), room(FRIDGE, 7), room(FRIDGE, 8)
    for each in (one, two, other):
        for _ in range(720):
            each.step(10.0, busy=1.0)
    assert (one.air, one.product) == (two.air, two.product)
    assert one.air != other.air
