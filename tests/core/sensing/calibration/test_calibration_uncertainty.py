"""What is counted against a limit, when a calibration counts, and how uncertainty grows away from the points."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.sensing.calibration.correction import fit
from rimekeeper.core.sensing.calibration.record import Calibration, CalibrationPoint, Method
from rimekeeper.core.sensing.calibration.reference import boiling, boiling_at_altitude, compared, ice_point
from rimekeeper.core.sensing.calibration.uncertainty import (
    CalibrationState,
    counted,
    expanded,
    point_u,
    state_of,
)

DAY = 24 * 3600 * 1000
DUE = 365 * DAY


def point(reference, u=0.05, spread=0.02):
    return CalibrationPoint(Method.COMPARISON, reference, u, reference + 0.1, spread, 60, 0, 60_000)


def calibration(*references, **more):
    points = tuple(point(reference) for reference in references)
    correction = fit(points, -50.0, 150.0) if points else None
    return replace(Calibration(1, "p", 0, DUE, "Ada", points, correction, 0.1, 0.1, (), ()), **more)


def test_one_point_worked_by_hand():
    """GUM: point (reference, scatter of six independent readings, resolution), reading, drift, gain unknown to 0.5 %."""
    at_point = 0.05**2 + 0.02**2 / 6 + 0.1**2 / 12
    reading = 0.1**2 / 12 + 0.1**2 / 3
    one = calibration(0.0)
    assert point_u(one.points[0], 0.1) == pytest.approx(at_point**0.5)
    assert expanded(one, 0.0) == pytest.approx(2 * (at_point + reading) ** 0.5)
    assert expanded(one, 80.0) == pytest.approx(2 * (at_point + reading + 0.4**2 / 3) ** 0.5)


def test_readings_of_a_moment_count_as_one():
    hasty = replace(point(0.0, spread=0.1), until=5_000)
    assert point_u(hasty, 0.0) == pytest.approx((0.05**2 + 0.1**2) ** 0.5)


@pytest.mark.parametrize(
    "references", [(0.0,), (0.0, 95.0), (0.0, 40.0, 95.0), (0.0, 8.0, 50.0, 87.0, 95.0)], ids=len
)
def test_it_grows_beyond_the_points(references):
    one = calibration(*references)
    outward = [
        [expanded(one, 95.0 + n) for n in range(0, 200, 10)],
        [expanded(one, -n) for n in range(0, 200, 10)],
    ]
    for values in outward:
        assert values == sorted(values)
        assert values[-1] > 1.4 * values[0]


def test_more_points_leave_less_unsaid_between_them():
    assert expanded(calibration(0.0, 47.5, 95.0), 47.5) < expanded(calibration(0.0, 95.0), 47.5)
    assert expanded(calibration(0.0, 95.0), 80.0) < expanded(calibration(0.0), 80.0)


def test_the_order_of_the_points_does_not_matter():
    for references in ((0.0, 95.0), (0.0, 40.0, 95.0)):
        one = calibration(*references)
        other = replace(one, points=one.points[::-1])
        for celsius in (-30.0, 20.0, 60.0, 120.0):
            assert expanded(other, celsius) == pytest.approx(expanded(one, celsius))


@given(st.lists(st.integers(-5, 12), min_size=1, max_size=5, unique=True), st.floats(-200.0, 300.0))
def test_it_is_never_less_than_drift_and_resolution_alone(tens, celsius):
    one = (
        calibration(*(10.0 * ten for ten in tens))
        if len(tens) == 1 or max(tens) - min(tens) >= 2
        else calibration(0.0)
    )
    found = expanded(one, celsius)
    assert math.isfinite(found)
    assert found > 2 * (0.1**2 / 3 + 0.1**2 / 12) ** 0.5


@given(st.floats())
def test_any_temperature_has_an_uncertainty_that_is_no_nan(celsius):
    for one in (calibration(0.0), calibration(0.0, 95.0), calibration(0.0, 40.0, 95.0)):
        assert expanded(one, celsius) > 0.13
    assert expanded(calibration(0.0), math.nan) == math.inf


@pytest.mark.parametrize(
    ("now", "state", "words"),
    [
        (0, CalibrationState.IN_FORCE, "calibrated"),
        (DUE - 14 * DAY - 1, CalibrationState.IN_FORCE, "calibrated"),
        (DUE - 14 * DAY, CalibrationState.DUE_SOON, "due soon"),
        (DUE - 1, CalibrationState.DUE_SOON, "due soon"),
        (DUE, CalibrationState.PAST_DUE, "past due"),
    ],
)
def test_the_state_follows_the_due_date(now, state, words):
    assert state_of(calibration(0.0), now) is state
    assert state == words


def test_no_calibration_is_not_calibrated():
    assert state_of(None, 0) is CalibrationState.NONE
    assert state_of(calibration(), 0) == "not calibrated"


def test_what_is_counted_is_never_better_than_what_is_known():
    one = calibration(0.0, 95.0)
    u = expanded(one, 82.0)
    assert counted(one, 1.0, 82.0, DUE - 1) == u
    assert counted(one, 1.0, 82.0, DUE) == 1.0
    assert counted(one, 0.01, 82.0, DUE) == u
    assert counted(None, 1.0, 82.0, 0) == 1.0
    assert counted(calibration(), 1.0, 82.0, 0) == 1.0


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (
            lambda: boiling(1013.25),
            "1013.25 kPa is no air pressure of a kitchen: give the pressure at the place itself",
        ),
        (lambda: boiling(math.nan), "nan kPa is no air pressure"),
        (lambda: boiling(101.3, 0.0), "The pressure can't be unsure by 0 kPa"),
        (lambda: boiling(101.3, 3.1), "The pressure can't be unsure by 3.1 kPa"),
        (lambda: boiling_at_altitude(5001.0), "5001 m is no altitude of a kitchen"),
        (lambda: boiling_at_altitude(-501.0), "-501 m is no altitude of a kitchen"),
        (lambda: compared(20.0, 0.0), "A reference can't be unsure by 0 K"),
        (lambda: compared(20.0, math.nan), "A reference can't be unsure by nan K"),
        (lambda: compared(20.0, 2.1), "A reference can't be unsure by 2.1 K"),
        (lambda: compared(math.inf, 0.1), "inf °C can't be what the reference shows"),
    ],
)
def test_what_is_no_reference_is_refused_in_a_sentence(ask, says):
    with pytest.raises(OutOfRangeError) as refused:
        ask()
    assert says in str(refused.value)


def test_a_certificate_states_twice_the_standard_uncertainty():
    """GUM: U = k u with k = 2."""
    known = compared(20.0, 0.1)
    assert (known.celsius, known.u, known.remark) == (20.0, 0.05, "reference thermometer, U = 0.1 K (k = 2)")


def test_every_reference_known_here_makes_a_calibration():
    for known in (
        ice_point(),
        boiling(50.0),
        boiling(110.0),
        boiling_at_altitude(5000.0),
        compared(37.0, 2.0),
    ):
        assert 0.0 < known.u <= 1.0
        assert known.remark
