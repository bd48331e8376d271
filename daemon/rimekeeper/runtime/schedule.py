"""What happens by the wall clock, in the kitchen's zone: nightly care of the store, totals of the day."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from zoneinfo import ZoneInfo

from apscheduler.schedulers.background import BackgroundScheduler

from rimekeeper.runtime.pipeline import Pipeline
from rimekeeper.runtime.ports import Keeper

_LOG = logging.getLogger(__name__)

MISSED = 6 * 3_600
"""A job that could not run at its time still runs when it is no more than this late, in seconds."""


PATIENCE = 2.0


class Schedule:
    """Jobs by the wall clock. One that fails is logged and comes again the next time."""

    def __init__(self, zone: str) -> None:
        """Keep time in ``zone``, an IANA name."""
        self._scheduler = BackgroundScheduler(
            timezone=ZoneInfo(zone),
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": MISSED},
        )

    def daily(self, name: str, hour: int, minute: int, job: Callable[[], None]) -> None:
        """Run ``job`` every day at that time of the kitchen's clock."""
        self._scheduler.add_job(
            _careful(name, job), "cron", hour=hour, minute=minute, id=name, replace_existing=True
        )

    def every(self, name: str, seconds: float, job: Callable[[], None]) -> None:
        """Run ``job`` again and again."""
        self._scheduler.add_job(
            _careful(name, job), "interval", seconds=seconds, id=name, replace_existing=True
        )

    def names(self) -> tuple[str, ...]:
        """The jobs there are."""
        return tuple(job.id for job in self._scheduler.get_jobs())

    def start(self) -> None:
        """Begin."""
        self._scheduler.start()

    def stop(self) -> None:
        """End without waiting for a job under way, nor for ever for the scheduler; safe to call twice."""
        if self._scheduler.running:
            ending = threading.Thread(
                target=self._scheduler.shutdown, kwargs={"wait": False}, name="schedule ends", daemon=True
            )
            ending.start()
            ending.join(PATIENCE)


def care_for_the_store(schedule: Schedule, pipeline: Pipeline, keeper: Keeper) -> None:
    """Every night: fold the log in, check the file, and log the totals."""

    def nightly() -> None:
        wrong = pipeline.between_turns(keeper.tidy)
        if wrong:
            _LOG.error("%s", wrong)
        pulse = pipeline.glance().pulse
        _LOG.info(
            "the store is %s; %d readings since the start",
            "damaged" if wrong else "sound",
            pulse.readings_stored,
        )

    schedule.daily("care for the store", 4, 10, nightly)


def _careful(name: str, job: Callable[[], None]) -> Callable[[], None]:
    def run() -> None:
        try:
            job()
        except Exception:  # noqa: BLE001 - logged; the next time it is tried again
            _LOG.exception("the job %r failed", name)

    return run
