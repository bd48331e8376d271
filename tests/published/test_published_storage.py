"""Storage against published formulas and figures worked out from them (sources beside each check)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.process.buffered import Product, following
from rimekeeper.core.process.storage import (
    KINETIC,
    StorageRule,
    exposure_along,
    mean_kinetic_temperature,
)
from rimekeeper.core.process.storage_sums import Sensitivity, exposed_seconds


def test_the_kinetic_constant():
    """USP <1079.2>: activation energy 83.144 kJ/mol, gas constant 8.3144e-3 kJ/(mol K)."""
    assert pytest.approx(83.144 / 8.3144e-3) == KINETIC


@pytest.mark.parametrize(
    ("celsius", "weights", "wanted"),
    [
        ([25.0] * 4, None, 25.000),
        ([20.0, 25.0, 30.0], None, 25.858),
        ([5.0, 5.0, 5.0, 25.0], None, 15.132),
        ([-20.0, -20.0, -20.0, -8.0], None, -14.712),
        ([-18.0, -18.0, -12.0], [20.0, 2.0, 2.0], -17.250),
    ],
)
def test_mean_kinetic_temperature(celsius, weights, wanted):
    """Formula of USP <1079.2>. Worked by hand from it: no published example that we found comes with its raw data."""
    lasting = None if weights is None else np.array(weights)
    assert mean_kinetic_temperature(np.array(celsius), lasting) == pytest.approx(wanted, abs=0.005)


@pytest.mark.parametrize(
    ("curve", "limit", "wanted"),
    [
        ([(0, -20), (10, -16), (20, -10), (30, -20)], -18.0, 87.0),
        ([(0, 4), (60, 8), (120, 4)], 5.0, 135.0),
    ],
)
def test_degree_minutes(curve, limit, wanted):
    """Integral of max(0, T - limit) dt; areas of the triangles and trapezoids worked by hand (no published source)."""
    minutes, celsius = (np.array(column, dtype=float) for column in zip(*curve, strict=True))
    found = exposure_along(StorageRule(limit), minutes * 60.0, celsius, math.inf)
    assert found.degree_minutes == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize(("tau", "rise"), [(180.0, 1.842), (60.0, 4.722)])
def test_a_product_behind_a_step_of_the_air(tau, rise):
    """Newton's law of cooling: air 12 K warmer for 30 min; 12 (1 - exp(-30 / tau)), tau in minutes."""
    so_far = following(Product(), Instant(0), -6.0, tau * 60.0, Millis(3_600_000), -18.0)
    so_far = following(so_far, Instant(1_800_000), -6.0, tau * 60.0, Millis(3_600_000))
    assert so_far.celsius - -18.0 == pytest.approx(rise, abs=1e-3)


def test_arrhenius_ratio():
    """Arrhenius law as in any physical-chemistry text: the ratio of two rates is exp(E/R (1/T1 - 1/T2))."""
    _, likely, _ = exposed_seconds(1.0, 35.0, 35.0, 25.0, Sensitivity(0.0, KINETIC, KINETIC))
    # A rule of thumb of the same texts: near room temperature 50 kJ/mol doubles a rate in 10 K; 83.144 gives 2.97.
    assert likely == pytest.approx(math.exp(10_000.0 * (1 / 298.15 - 1 / 308.15)), rel=1e-9)
    half = exposed_seconds(1.0, 35.0, 35.0, 25.0, Sensitivity(0.0, 50.0 / 8.3144e-3, KINETIC))[1]
    assert half == pytest.approx(1.92, abs=0.01)
