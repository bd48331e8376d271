"""Known temperatures, corrections and uncertainties against published values and independent libraries."""

import pytest
from iapws import IAPWS97
from iapws.iapws97 import _TSat_P

from rimekeeper.core.computations import COMPUTATIONS
from rimekeeper.core.sensing.calibration.correction import corrected, fit
from rimekeeper.core.sensing.calibration.record import Calibration, CalibrationPoint, Method
from rimekeeper.core.sensing.calibration.reference import (
    boiling,
    boiling_at_altitude,
    boiling_point,
    ice_point,
    standard_pressure,
)
from rimekeeper.core.sensing.calibration.uncertainty import along_line, expanded
from rimekeeper.core.sensing.classes import satisfied


def run(name, **values):
    chosen = COMPUTATIONS[name]
    defaults = {one.name: one.default for one in chosen.inputs if one.default is not None}
    return {answer.name: answer.value for answer in chosen.run(defaults | values)}


def point(reference, shown, u, spread=0.0):
    return CalibrationPoint(Method.COMPARISON, reference, u, shown, spread, 60, 0, 60_000)


@pytest.mark.parametrize(
    ("kilopascal", "celsius"),
    # IAPWS-95 and two libraries of IAPWS-IF97 agree on these to 1 mK.
    [(101.325, 99.974), (90.0, 96.687), (84.5, 94.965), (70.0, 89.932)],
)
def test_boiling_point_of_a_table(kilopascal, celsius):
    assert boiling_point(kilopascal) == pytest.approx(celsius, abs=1e-3)
    assert run("boiling-point", pressure=kilopascal)["temperature"] == boiling_point(kilopascal)


def test_boiling_point_of_a_reference_library_over_the_whole_range():
    """The PyPI library ``iapws`` 1.5.5 (IAPWS-IF97), every half kilopascal."""
    for half in range(100, 221):
        assert boiling_point(half / 2.0) == pytest.approx(_TSat_P(half / 2000.0) - 273.15, abs=1e-6)


def test_boiling_point_of_a_reference_librarys_whole_fluid():
    """The same library, by way of its saturated-steam object."""
    for kilopascal in (50.0, 84.5, 101.325, 110.0):
        assert boiling_point(kilopascal) == pytest.approx(
            IAPWS97(P=kilopascal / 1000.0, x=0.0).T - 273.15, abs=1e-6
        )


def test_boiling_point_verification_value_of_the_formulation():
    """IAPWS R7-97(2012), table 36: 0.1 MPa boils at 372.755919 K."""
    assert boiling_point(100.0) + 273.15 == pytest.approx(372.755919, abs=5e-7)


@pytest.mark.parametrize(
    ("metres", "kilopascal"),
    # ICAO standard atmosphere (Doc 7488), troposphere; 1609.344 m is a mile.
    [
        (0.0, 101.325), (500.0, 95.461), (1000.0, 89.875), (1609.344, 83.428), (2000.0, 79.495), (3000.0, 70.109),
        (5000.0, 54.020),
    ],
)  # fmt: skip
def test_standard_atmosphere(metres, kilopascal):
    assert standard_pressure(metres) == pytest.approx(kilopascal, abs=0.01)
    assert run("standard-pressure", altitude=metres)["pressure"] == standard_pressure(metres)


def test_boiling_with_the_pressure_is_five_times_better_than_with_the_altitude():
    """Slope 0.2765 K/kPa at one atmosphere by IAPWS-95; weather of 3 kPa either way: common practice."""
    measured, guessed = boiling(101.325), boiling_at_altitude(0.0)
    assert measured.celsius == pytest.approx(guessed.celsius, abs=1e-9)
    assert measured.u == pytest.approx(((0.2765 * 0.3) ** 2 + 0.1**2 / 3) ** 0.5, abs=1e-4)
    assert guessed.u == pytest.approx(((0.2765 * 3.0) ** 2 / 3 + 0.1**2 / 3) ** 0.5, abs=5e-4)
    assert "NOT measured" in guessed.remark
    assert "±0.8 K" in guessed.remark


def test_ice_point_is_as_good_as_a_fact_sheet_says():
    """University of Wisconsin extension fact sheet on thermometers: 0.1 °F; taken as the half width of a rectangle."""
    assert ice_point().celsius == 0.0
    assert ice_point().u == pytest.approx(0.0556 / 3**0.5, abs=1e-4)


TWO = (point(0.0, 0.3, 0.02), point(94.965, 94.2, 0.10))


@pytest.mark.parametrize(("shown", "celsius"), [(82.0, 82.6266), (-18.0, -18.5076)])
def test_two_points_worked_by_hand(shown, celsius):
    """Straight line through (0.3, 0) and (94.2, 94.965), worked on paper; the freezer's value is an extrapolation."""
    assert corrected(fit(TWO, -50.0, 150.0), shown) == pytest.approx(celsius, abs=1e-4)
    answer = run(
        "two-point-correction",
        shown=shown, low_shown=0.3, low_reference=0.0, high_shown=94.2, high_reference=94.965,
    )  # fmt: skip
    assert answer["temperature"] == pytest.approx(celsius, abs=1e-4)


@pytest.mark.parametrize(
    ("celsius", "wide"), [(-18.0, 0.1743), (0.0, 0.1681), (50.0, 0.1952), (82.2, 0.2380)]
)
def test_uncertainty_worked_by_hand(celsius, wide):
    """JCGM 100:2008 (GUM) section 5: variances weighted by how the points weigh, added up, U = 2 u; on paper."""
    given = {"resolution": 0.1, "drift": 0.1}
    assert along_line(celsius, 0.0, 0.02, 94.965, 0.10, **given) == pytest.approx(wide, abs=1e-4)
    answer = run(
        "calibration-uncertainty", temperature=celsius, low=0.0, low_u=0.02, high=94.965, high_u=0.10, **given
    )
    assert answer["expanded uncertainty"] == pytest.approx(wide, abs=1e-4)


@pytest.mark.parametrize("celsius", [-60.0, -18.0, 0.0, 50.0, 82.2, 94.965, 130.0])
def test_a_calibrations_uncertainty_is_that_sum(celsius):
    """The same formula, with the resolution and scatter of the readings counted at the points as well."""
    calibration = Calibration(
        1, "p", 0, 1, "Ada", (point(94.965, 94.2, 0.10, 0.06), point(0.0, 0.3, 0.02)),
        fit(TWO, -50.0, 150.0), 0.1, 0.1, (), (),
    )  # fmt: skip
    low_u = (0.02**2 + 0.1**2 / 12) ** 0.5
    # A minute holds six readings that are independent.
    high_u = (0.10**2 + 0.1**2 / 12 + 0.06**2 / 6) ** 0.5
    assert expanded(calibration, celsius) == pytest.approx(
        along_line(celsius, 0.0, low_u, 94.965, high_u, 0.1, 0.1)
    )


@pytest.mark.parametrize(
    ("wide", "resolution", "number"),
    [(0.3, 0.1, 1), (1.0, 0.5, 1), (0.3, 1.0, 2), (1.01, 0.1, 2), (2.0, 1.0, 2), (2.01, 0.1, None), (0.1, 1.5, None)],
)  # fmt: skip
def test_recorder_classes(wide, resolution, number):
    """EN 12830, EN 13485: class 1 ±1 °C and 0.5, class 2 ±2 °C and 1. From memory."""
    words = satisfied(wide, resolution, 60_000)
    assert words.accuracy_class == number
    assert (f"class {number} (" in words.accuracy) if number else ("neither" in words.accuracy)
    assert "not a certificate" in words.caution
    assert "from memory" in words.caution


@pytest.mark.parametrize(
    ("interval_ms", "fits", "says"),
    [
        (10_000, True, "every 10 s is often enough for a record of any length."),
        (300_000, True, "every 5 min is often enough for a record of any length."),
        (301_000, True, "of one to seven days and longer."),
        (3_600_000, True, "every 60 min is often enough for a record longer than seven days."),
        (3_601_000, False, "too seldom for any record."),
        (None, False, "No recording interval learnt yet."),
        (0, False, "No recording interval learnt yet."),
    ],
)
def test_recording_intervals(interval_ms, fits, says):
    """EN 12830: 5 min below a day, 15 min to seven days, 60 min beyond. From memory."""
    words = satisfied(0.3, 0.1, interval_ms)
    assert words.interval_fits is fits
    assert says in words.interval


@pytest.mark.parametrize(("days", "minutes"), [(0.9, 5), (1.0, 15), (7.0, 15), (7.1, 60)])
def test_longest_recording_interval(days, minutes):
    """EN 12830. From memory."""
    assert run("recording-interval", days=days) == {"longest interval": minutes}
