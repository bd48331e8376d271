"""Two weeks of the simulated kitchen, and the night before the opening, decided by the real engine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from rimekeeper.core.commit import Commit
from rimekeeper.core.model import HOUR, MINUTE, Instant
from rimekeeper.core.plan import KitchenPlan, MixPlan
from rimekeeper.core.state import ClockSlot, EngineState
from rimekeeper.simulation.calibrations import Records, as_commit, slipway_records, slots_of
from rimekeeper.simulation.crew import Crew, Errand
from rimekeeper.simulation.following import Follower
from rimekeeper.simulation.kitchen_day import (
    CUSTARD_SHEET,
    SHERBET_SHEET,
    TRAY_SHEET,
    begin_of_day,
    chilling_since,
    cooking_since,
    day_of,
    hardening_since,
    lasts,
    mishaps_of,
    start_custard,
    start_sherbet,
    start_trays,
    usual_day,
)
from rimekeeper.simulation.stretch import SETTLING, Stretch, history_plan
from rimekeeper.simulation.workshop import Workshop

DAYS = 14
PAN_AT, SHERBET_AT, TRAYS_AT = 65.5, 8.5, -16.8
"""Where the newcomer finds the custard, the sherbet's base and the trays, °C."""
LEAST = 2 * HOUR
"""The opening stretch begins at least so long before the trays do."""
CLEAR = 40 * MINUTE
"""Batches of the usual day are over so long before the opening, because it needs their probes."""
CLOSELY = 5 * MINUTE
"""So long before the opening every probe is heard often, or the daemon would find the idle ones silent."""
_BATCHES, _ALARMS, _CALLS = 4, 30, 300
"""Ids set aside for each day."""
_ANY_MIX = MixPlan(water=62.0, fat=8.0, msnf=9.0, sucrose=15.0, other_solids=6.0)


@dataclass(frozen=True, slots=True)
class HistoryChunk:
    """One day, ready to be imported. ``refused``: answers to commands that the engine didn't take (none, in order)."""

    label: str
    commit: Commit
    refused: tuple[str, ...] = ()


@dataclass(frozen=True)
class Opening:
    """The kitchen as it stands when the live scene begins.

    ``commit`` is what a daemon that had run until now would have on disk: readings, record, and the state from
    which the next start goes on. The rest is what the live scene plays on with.
    """

    commit: Commit
    state: EngineState
    workshop: Workshop
    follower: Follower
    crew: Crew
    began: Instant
    refused: tuple[str, ...] = ()
    records: Records = ()


def opening(plan: KitchenPlan, now: Instant, entropy: int = 8321) -> Opening:
    """The stretch up to ``now``: last night, and three batches under way.

    Args:
        plan: the demo's plan.
        now: the instant at which the live scene begins.
        entropy: start of the random numbers; the same one gives the same kitchen.
    """
    scenes = _scenes(plan, now)
    first = min(errand.due for errand in scenes)
    day = day_of(Instant(first - LEAST), plan.zone)
    begins = begin_of_day(day, plan.zone)
    noise = np.random.default_rng([entropy, day.toordinal()])
    records = slipway_records(plan, now)
    measured = slots_of(records)
    stretch = _stretch(plan, begins, noise, DAYS, records)
    days = [day, *(d for d in (day_of(now, plan.zone),) if d != day)]
    usual = [errand for one in days for errand in usual_day(one, plan.zone, noise)]
    kept = [errand for errand in usual if errand.due + lasts(errand) < now - CLEAR]
    stretch.closely_from = Instant(now - CLOSELY)
    stretch.run(now, [*kept, *scenes])
    ready_to_fail(stretch.workshop)
    return Opening(
        commit=as_commit(records, measured).joined(stretch.written.commit(history=False, watched_until=now)),
        state=stretch.state,
        workshop=stretch.workshop,
        follower=stretch.follower,
        crew=stretch.crew,
        began=begins,
        refused=tuple(stretch.written.refused),
        records=records,
    )


def history(
    plan: KitchenPlan,
    before: Instant,
    days: int = DAYS,
    entropy: int = 8321,
    progress: Callable[[str], None] = lambda _: None,
    records: Records = (),
) -> Iterator[HistoryChunk]:
    """Independent days before ``before``, the newest first.

    Args:
        plan: the demo's plan.
        before: where the opening's stretch begins (``Opening.began``).
        days: how many.
        entropy: as for :func:`opening`.
        progress: told what is being filled in, "" at the end.
        records: what was measured of the probes (``Opening.records``); made anew by default.
    """
    records = records or slipway_records(plan, before)
    newest = day_of(Instant(before - MINUTE), plan.zone)
    for back in range(1, days + 1):
        day = newest - timedelta(days=back - 1)
        progress(f"filling in history: day {back} of {days}")
        yield _one_day(plan, day, back, entropy, records)
    progress("")


def _one_day(plan: KitchenPlan, day: date, back: int, entropy: int, records: Records) -> HistoryChunk:
    noise = np.random.default_rng([entropy, day.toordinal()])
    begins = begin_of_day(day, plan.zone)
    ends = begin_of_day(day + timedelta(days=1), plan.zone)
    stretch = _stretch(plan, begins, noise, DAYS - back, records)
    stretch.run(ends, usual_day(day, plan.zone, noise), mishaps_of(day, back, plan.zone))
    return HistoryChunk(
        label=f"{day:%Y-%m-%d}",
        commit=stretch.written.commit(history=True),
        refused=tuple(stretch.written.refused),
    )


def _stretch(
    plan: KitchenPlan, begins: Instant, noise: np.random.Generator, number: int, records: Records
) -> Stretch:
    workshop = Workshop(noise)
    workshop.settle(SETTLING / 1_000.0)
    clock = ClockSlot(
        batches=_BATCHES * number, alarms=_ALARMS * number, calls=_CALLS * number, records=len(records)
    )
    seldom = history_plan(plan)
    return Stretch(seldom, workshop, Crew(seldom), begins, clock, slots_of(records))


def _scenes(plan: KitchenPlan, now: Instant) -> list[Errand]:
    """The three batches that the newcomer finds under way."""
    lot = f"{day_of(now, plan.zone):%m%d}"
    cooking = cooking_since(_mix(plan, CUSTARD_SHEET), PAN_AT)
    chilling = chilling_since(_mix(plan, SHERBET_SHEET), SHERBET_AT)
    hardening = hardening_since(_mix(plan, TRAY_SHEET), TRAYS_AT)
    return [
        Errand(Instant(now - cooking), start_custard(f"B-{lot}-live")),
        Errand(Instant(now - chilling), start_sherbet(f"P-{lot}-live")),
        Errand(Instant(now - hardening), start_trays(f"T-{lot}-live")),
    ]


def _mix(plan: KitchenPlan, sheet: str) -> MixPlan:
    found = next((s for name, s in plan.sheets.items() if name == sheet), None)
    return found.mix if found is not None and found.mix is not None else _ANY_MIX


def ready_to_fail(workshop: Workshop) -> None:
    """Let the walk-in freezer run on until its plant is about to start, and put its next defrost far off.

    The scene needs the air near the warm end of its cycle, so that the failure shows within a minute.
    """
    room = workshop.rooms["walkin"]
    room.defrosting, room.until_defrost = 0.0, room.build.defrost_every
    for _ in range(900):
        if not room.running and room.build.cut_in - 0.3 < room.air < room.build.cut_in:
            break
        room.step(1.0)
