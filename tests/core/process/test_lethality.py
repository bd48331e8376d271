"""Rows of a table and equivalent lethality, reading by reading and over a whole curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.process.heat_tables import TABLES, HeatRow, HeatTable, rows_in_order
from rimekeeper.core.process.lethality import (
    Treatment,
    begun,
    equivalent_seconds,
    interrupted,
    segment,
    treated,
)

US = TABLES["frozen-dessert-mix-us"]
FAHRENHEIT = HeatTable(
    "f", "the same rows by their Fahrenheit column", tuple(
        HeatRow((f - 32.0) / 1.8, row.hold) for f, row in zip((155.0, 175.0, 180.0), US.rows, strict=True)
    ), "21 CFR 1240.61(c)",
)  # fmt: skip
GAP = Millis(30_000)


def through(table, curve, uncertainty=0.0, gap=GAP):
    so_far = begun(table)
    for seconds, celsius in curve:
        at = Instant(round(seconds * 1000))
        so_far = (
            interrupted(so_far) if celsius is None else treated(table, so_far, at, celsius, uncertainty, gap)
        )
    return so_far


def held(celsius, seconds, every=0.1):
    return [(n * every, celsius) for n in range(round(seconds / every) + 1)]


# --- checks against the table and figures worked out by hand (science.md section 1) ----------------------------


def test_a_held_temperature_by_the_fahrenheit_column():
    # 21 CFR 1240.61(c): 175 °F (79.44 °C) for 25 s.
    assert through(FAHRENHEIT, held(79.4445, 24.9)).met_at is None
    assert through(FAHRENHEIT, held(79.4445, 25.0)).met_at == Instant(25_000)


def test_the_printed_celsius_column_is_the_safer_one():
    assert through(US, held(79.5, 60.0)).met_at is None
    assert through(US, held(80.0, 25.0)).met_at == Instant(25_000)
    assert through(US, held(83.0, 15.0)).met_at == Instant(15_000)


def test_two_holds_with_a_dip_between_are_no_hold():
    curve = [
        *[(n, 80.0) for n in range(16)],
        (16, 78.0),
        *[(17 + n, 80.0) for n in range(16)],
    ]
    assert through(US, curve).met_at is None


@pytest.mark.parametrize(
    ("celsius", "seconds", "wanted"),
    [(82.2222, 15.0, 37.404), (68.3333, 1800.0, 46.556), (75.0, 60.0, 13.907)],
)
def test_held_temperatures(celsius, seconds, wanted):
    # F = t 10^((T - 79.4444)/7), worked by hand; science.md section 1.
    assert segment(seconds, celsius, celsius) == pytest.approx(wanted, abs=0.01)


def test_a_ramp_and_a_course_of_straight_lines():
    # science.md section 1, T_ref 70 °C, z 7.5 K, found there by two methods.
    assert segment(600.0, 60.0, 85.0, 70.0, 7.5) == pytest.approx(7813.67, abs=0.5)
    times, celsius = np.array([0.0, 300.0, 360.0, 660.0]), np.array([60.0, 80.0, 80.0, 50.0])
    assert equivalent_seconds(times, celsius, 1e9, 70.0, 7.5) == pytest.approx(3044.68, abs=0.5)


# --- what must hold of any curve -------------------------------------------------------------------------------

curves = st.lists(st.tuples(st.floats(0.1, 60.0), st.floats(20.0, 140.0)), min_size=2, max_size=40).map(
    lambda steps: list(zip(np.cumsum([s for s, _ in steps]).tolist(), [c for _, c in steps], strict=True))
)


@given(curve=curves, uncertainty=st.floats(0.0, 2.0))
def test_reading_by_reading_is_the_same_as_the_whole_curve(curve, uncertainty):
    live = through(US, curve, uncertainty)
    times = np.array([round(t * 1000) / 1000 for t, _ in curve])
    whole = equivalent_seconds(times, np.array([c - uncertainty for _, c in curve]), GAP / 1000)
    assert live.seconds == pytest.approx(whole, rel=1e-9, abs=1e-12)


@given(curve=curves, uncertainty=st.floats(0.0, 2.0), more=st.floats(0.0, 1.0))
def test_more_uncertainty_never_proves_more(curve, uncertainty, more):
    sure, unsure = through(US, curve, uncertainty), through(US, curve, uncertainty + more)
    assert unsure.seconds <= sure.seconds * (1 + 1e-9)
    if unsure.met_at is not None:
        assert sure.met_at is not None
        assert sure.met_at <= unsure.met_at


@given(curve=curves, place=st.integers(0, 39))
def test_a_reading_that_cant_be_believed_never_helps(curve, place):
    broken = [*curve[:place], (curve[min(place, len(curve) - 1)][0], None), *curve[place:]]
    assert through(US, broken).seconds <= through(US, curve).seconds * (1 + 1e-9)
    if through(US, broken).met_at is not None:
        assert through(US, curve).met_at is not None


@given(a=st.floats(-50.0, 140.0), b=st.floats(-50.0, 140.0), seconds=st.floats(0.0, 1e5))
def test_a_segment_lies_between_its_ends_and_never_over_the_trapezoid(a, b, seconds):
    low, high = (math.pow(10, (t - 79.4444) / 7.0) for t in sorted((a, b)))
    found = segment(seconds, a, b)
    assert seconds * low * (1 - 1e-9) <= found <= seconds * (low + high) / 2 * (1 + 1e-9)


def test_nothing_is_added_across_a_gap():
    curve = [(0, 85.0), (10, 85.0), (3600, 85.0), (3610, 85.0)]
    found = through(US, curve)
    assert found.seconds == pytest.approx(2 * segment(10.0, 85.0, 85.0))
    assert found.gaps == 1
    assert found.met_at is None


def test_every_table_is_in_order_and_says_where_it_is_from():
    assert all(rows_in_order(table.rows) and table.source for table in TABLES.values())
    assert not rows_in_order(tuple(reversed(US.rows)))
    assert not rows_in_order(())
    assert Treatment().met_at is None
