"""Jobs by the wall clock, the log, and the words of the daemon's own entries."""

from __future__ import annotations

import logging
import threading
import time
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from rimekeeper.core.model import Instant
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.runtime.entries import length, local
from rimekeeper.runtime.logs import RateBound, set_up_log
from rimekeeper.runtime.schedule import Schedule, care_for_the_store
from support.parts import Daemon, Seconds


@pytest.fixture
def own_log():
    log = logging.getLogger("rimekeeper")
    yield log
    for handler in list(log.handlers):
        log.removeHandler(handler)
        handler.close()
    log.propagate = True
    log.setLevel(logging.NOTSET)


def test_a_job_that_fails_is_logged_and_comes_again(caplog):
    schedule = Schedule("Europe/London")
    runs, often = [], threading.Event()

    def job():
        runs.append(1)
        if len(runs) > 2:
            often.set()
        raise ValueError("broken")

    schedule.every("totals", 0.05, job)
    schedule.start()
    assert often.wait(5)
    schedule.stop()
    schedule.stop()
    assert "the job 'totals' failed" in caplog.text


def test_daily_means_the_kitchens_day_on_both_sides_of_a_clock_change():
    schedule = Schedule("Europe/London")
    schedule.daily("care", 4, 10, lambda: None)
    schedule.start()
    (job,) = schedule._scheduler.get_jobs()
    zone = ZoneInfo("Europe/London")
    eve = datetime(2026, 10, 24, 12, tzinfo=zone)  # clocks go back in the night to the 25th
    following = job.trigger.get_next_fire_time(None, eve)
    schedule.stop()
    assert following.astimezone(UTC) == datetime(2026, 10, 25, 4, 10, tzinfo=UTC)
    assert job.trigger.get_next_fire_time(None, datetime(2026, 7, 1, 12, tzinfo=zone)).astimezone(
        UTC
    ) == datetime(2026, 7, 2, 3, 10, tzinfo=UTC)


def test_nightly_care_runs_in_the_pipelines_thread(tmp_path, caplog):
    schedule = Schedule("Europe/London")
    with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
        daemon.pipeline.start()
        care_for_the_store(schedule, daemon.pipeline, daemon.store)
        schedule.start()
        (job,) = schedule._scheduler.get_jobs()
        with caplog.at_level(logging.INFO):
            job.func()
        schedule.stop()
        daemon.pipeline.stop()
    assert "the store is sound; 0 readings since the start" in caplog.text


def test_a_bound_lets_a_few_through_and_counts_the_rest():
    steady = Seconds()
    bound = RateBound(2, steady)
    assert [bound.allows("a") for _ in range(4)] == [0, 0, None, None]
    assert bound.allows("b") == 0
    steady.at += 60
    assert bound.allows("a") == 2
    for n in range(5_000):
        bound.allows(str(n))
    assert len(bound._seen) <= 1_002


def test_the_log_goes_to_a_file_too_and_setting_up_twice_does_not_double(tmp_path, own_log, capsys):
    file = tmp_path / "rimekeeper.log"
    set_up_log(file)
    set_up_log(file)
    own_log.getChild("test").warning("the door is open")
    said = file.read_text()
    assert said.count("the door is open") == 1
    assert said.startswith(datetime.now(UTC).strftime("%Y-%m-%dT"))
    assert capsys.readouterr().err.count("the door is open") == 1


def test_both_sides_of_a_clock_change_read_differently():
    first = Instant(int(datetime(2026, 10, 25, 0, 30, tzinfo=UTC).timestamp() * 1_000))
    assert local(first, "Europe/London") == "2026-10-25 01:30:00 +0100"
    assert local(Instant(first + 3_600_000), "Europe/London") == "2026-10-25 01:30:00 +0000"


@pytest.mark.parametrize(
    ("millis", "words"),
    [
        (0, "0 s"),
        (-5, "0 s"),
        (3_999, "3 s"),
        (725_000, "12 min 5 s"),
        (7_620_000, "2 h 7 min"),
        (86_400_000, "1 d"),
    ],
)
def test_lengths(millis, words):
    assert length(millis) == words
