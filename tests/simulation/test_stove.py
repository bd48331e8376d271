"""The pan: a closed form without losses, the balance at rest, and the climb that the demo shows."""

import numpy as np
import pytest

from rimekeeper.simulation.mix import Lump, curve_of
from rimekeeper.simulation.stove import LATENT_STEAM, Pan, Stove, saturation_pressure
from simulation.mixes import CUSTARD


def pan(celsius=20.0, **more):
    return Pan(Lump(curve_of(CUSTARD), 3.0, celsius), np.random.default_rng(1), **more)


def test_without_losses_it_climbs_in_a_straight_line():
    # science.md section 6: dT/dt = eta P / (m c); 1500 W, eta 0.6, 8 kg, 3400 J/(kg K) -> 1.9853 K/min.
    one = Pan(
        Lump(curve_of(CUSTARD), 8.0, 30.0),
        np.random.default_rng(1),
        stove=Stove(watts=1_500.0, share=0.6, loss=0.0, film=0.0),
        burner=1.0,
    )
    c = one.lump.curve.liquid_heat
    for _ in range(60):
        one.step(10.0, 21.0)
    assert one.lump.celsius - 30.0 == pytest.approx(19.853 * 3.4 / c, rel=1e-4)


def test_heat_is_booked_to_the_joule():
    one = pan(40.0, burner=0.6)
    before = one.lump.heat * 3.0 * 1_000.0
    given = 0.0
    for _ in range(300):
        given += 0.6 * one.stove.share * one.stove.watts - one.losses(21.0)
        one.step(1.0, 21.0)
    assert one.lump.heat * 3.0 * 1_000.0 - before == pytest.approx(given, rel=1e-9)


def test_saturation_pressure():
    # steam tables (IAPWS-IF97): 2.3393 kPa at 20 °C, 47.415 kPa at 80 °C, 101.42 kPa at 100 °C
    for celsius, pascal in ((20.0, 2_339.3), (80.0, 47_415.0), (100.0, 101_420.0)):
        assert saturation_pressure(celsius) == pytest.approx(pascal, rel=0.03)


def test_steam_carries_away_little_when_cold_and_a_lot_when_hot():
    cold, hot = pan(25.0), pan(83.0)
    stove = Stove()
    steam = [one.losses(21.0) - stove.loss * (one.lump.celsius - 21.0) for one in (cold, hot)]
    assert steam[0] < 15.0
    assert 120.0 < steam[1] < 400.0  # about 0.3 kg of water an hour: from memory, no published source
    assert 0.15 < steam[1] / LATENT_STEAM * 3_600.0 < 0.7


def test_the_hand_brings_it_to_the_target_and_keeps_it_there():
    one = pan(65.5)
    seconds = 0
    while one.lump.celsius < 83.0:
        one.step(1.0, 21.0)
        seconds += 1
        assert seconds < 180
    assert seconds > 75
    kept = []
    for _ in range(600):
        one.step(1.0, 21.0)
        kept.append(one.lump.celsius)
    assert max(kept) < 84.0
    assert min(kept[60:]) > 83.3


def test_the_tip_of_the_probe_swirls_around_the_truth():
    one = pan(83.5)
    off = []
    for _ in range(2_000):
        one.step(1.0, 21.0)
        off.append(one.celsius - one.lump.celsius)
    assert abs(np.mean(off)) < 0.02
    assert 0.04 < np.std(off) < 0.08
