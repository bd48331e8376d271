"""The morning's word about calibrations: who is named, when, and that a quiet morning stays quiet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from rimekeeper.core.messages import Calibrate
from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.core.sensing.calibration.record import CalibrationPoint, Method, Written
from rimekeeper.runtime.ports import Glance, Pulse
from rimekeeper.runtime.reminding import calibrations_to_do, remind_of_calibrations
from rimekeeper.runtime.schedule import Schedule
from support.engine_kitchen import Hand, at, kitchen

DAY = 24 * 3600


def glance_at(seconds):
    hand = Hand(kitchen())
    for name, when in (("pan", 0), ("base", 100 * DAY)):
        point = CalibrationPoint(
            Method.ICE, 0.0, 0.03, 0.1, 0.02, 60, Written(at(when - 90)), Written(at(when))
        )
        assert hand.give(Calibrate(ProbeId(name), (point,)), when).accepted
    return Glance(
        1,
        at(seconds),
        hand.plan,
        hand.state,
        Pulse(alive=True, last_commit=None, last_reading=None, backlog=0),
    )


def test_nothing_is_said_while_nothing_runs_out():
    assert calibrations_to_do(glance_at(200 * DAY)) == ""


def test_what_runs_out_and_what_has_run_out_are_named_apart():
    assert calibrations_to_do(glance_at(360 * DAY)) == "Calibration due within a fortnight: Pan."
    assert calibrations_to_do(glance_at(365 * DAY)) == "Past its calibration date: Pan."
    assert (
        calibrations_to_do(glance_at(460 * DAY))
        == "Past its calibration date: Pan. Calibration due within a fortnight: Base."
    )


def test_it_is_said_at_eight_by_the_kitchens_clock_and_only_when_there_is_something():
    said, view = [], [glance_at(200 * DAY)]
    schedule = Schedule("Europe/Copenhagen")
    remind_of_calibrations(schedule, lambda: view[0], said.append)
    schedule.start()
    (job,) = schedule._scheduler.get_jobs()
    eve = datetime(2026, 11, 24, 12, tzinfo=ZoneInfo("Europe/Copenhagen"))
    assert job.trigger.get_next_fire_time(None, eve).astimezone(UTC) == datetime(2026, 11, 25, 7, tzinfo=UTC)
    job.func()
    view[0] = replace(view[0], at=Instant(at(365 * DAY)))
    job.func()
    schedule.stop()
    assert said == ["Past its calibration date: Pan."]
