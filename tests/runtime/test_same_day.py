"""A stored day, replayed through pipeline and store in groups of 1, 7 and 1000, comes out the same to the last row."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing

import pytest

from rimekeeper.core import engine as real_engine
from rimekeeper.core.messages import Acknowledge, AdvanceStage, CommandGiven, NoteBatch, StartBatch
from rimekeeper.core.model import (
    BatchId,
    ChannelId,
    ClockTrust,
    Delivery,
    Instant,
    Millis,
    PersonId,
    ProbeId,
    RoleId,
    SheetId,
    StageId,
    StationId,
    Temperature,
    TemperatureDifference,
)
from rimekeeper.core.plan import (
    Advance,
    Approach,
    CallPolicy,
    CallStep,
    KitchenPlan,
    LimitPlan,
    PersonPlan,
    Priority,
    ProbePlan,
    RolePlan,
    SheetPlan,
    Side,
    StageKind,
    StagePlan,
    StationKind,
    StationPlan,
)
from rimekeeper.runtime.clock import EventClock
from support.parts import ADA, BROKER, NOON, Daemon, sample
from support.which_engine import real_engine_steps

MINUTE = 60_000
TABLES = ("readings", "entries", "alarms", "outbox", "spans", "batches", "slots")


def kitchen():
    pan, fridge, freezer = (
        ProbePlan(ProbeId(name), name, BROKER, name, clock=trust, silent_after=Millis(5 * MINUTE))
        for name, trust in (
            ("pan", ClockTrust.ARRIVAL),
            ("fridge", ClockTrust.PROBE),
            ("freezer", ClockTrust.ARRIVAL),
        )
    )
    role = RoleId("pan")
    sheet = SheetPlan(
        SheetId("barley"),
        "Toasted-barley custard",
        (RolePlan(role, "pan"),),
        (
            StagePlan(
                StageId("cook"),
                "Cook",
                StageKind.COOK,
                role,
                target=Temperature(82.0),
                approach=Approach.RISING,
                hold=Millis(2 * MINUTE),
                reach_within=Millis(20 * MINUTE),
                advance=Advance.TARGET,
            ),
            StagePlan(
                StageId("chill"),
                "Chill",
                StageKind.CHILL,
                role,
                after=(StageId("cook"),),
                target=Temperature(5.0),
                approach=Approach.FALLING,
                reach_within=Millis(90 * MINUTE),
            ),
            StagePlan(StageId("age"), "Age", StageKind.AGE, role, after=(StageId("chill"),)),
        ),
    )
    stations = [
        StationPlan(
            StationId("fridge"),
            "Mix fridge",
            StationKind.FRIDGE,
            ProbeId("fridge"),
            (
                LimitPlan(
                    Side.CEILING,
                    Temperature(5.0),
                    TemperatureDifference(0.5),
                    on_delay=Millis(3 * MINUTE),
                    off_delay=Millis(MINUTE),
                ),
            ),
        ),
        StationPlan(
            StationId("freezer"),
            "Walk-in",
            StationKind.FREEZER,
            ProbeId("freezer"),
            (LimitPlan(Side.CEILING, Temperature(-15.0), priority=Priority.CRITICAL),),
        ),
    ]
    ada, bo = (PersonPlan(PersonId(n), n.title(), (ChannelId(f"mail-{n}"),)) for n in ("ada", "bo"))
    return KitchenPlan(
        name="Slipway Ices",
        zone="Europe/London",
        probes={p.id: p for p in (pan, fridge, freezer)},
        stations={s.id: s for s in stations},
        sheets={sheet.id: sheet},
        people={p.id: p for p in (ada, bo)},
        policies=(CallPolicy(frozenset(Priority), (CallStep((ada.id,)), CallStep((bo.id,)))),),
    )


def day():
    """Deliveries and commands of a day: a batch, a failing walk-in, a fridge left open, silences, late readings."""
    events = []
    batch = BatchId("barley-1")
    for minute in range(1_440):
        now = NOON + minute * MINUTE
        pan = (
            20 + 3 * minute
            if minute < 21
            else 83 - 0.3 * (minute - 21) ** 1.0
            if minute < 280
            else 4 + math.sin(minute)
        )
        fridge = 3.5 + (4 if 600 <= minute < 640 else 0) + 0.7 * math.sin(minute / 9)
        freezer = -19 + (0.2 * (minute - 900) if 900 <= minute < 960 else 0) + math.sin(minute / 5)
        if not 400 <= minute < 420:
            events.append(Delivery(BROKER, (sample("pan", pan, now),)))
        stamp = now - 9 * MINUTE if minute % 211 == 0 else now - 700
        events.append(Delivery(BROKER, (sample("fridge", fridge, now + 40, stamp),)))
        events.append(Delivery(BROKER, (sample("freezer", freezer, now + 90),)))
        given = {
            1: StartBatch(SheetId("barley"), ((RoleId("pan"), ProbeId("pan")),), lot="L7"),
            300: AdvanceStage(batch),
            301: NoteBatch(batch, "smells of toast"),
            950: Acknowledge(""),
        }.get(minute)
        if given is not None:
            events.append(CommandGiven(Instant(now + 200), given, ADA))
    return events


def replay(folder, size):
    with Daemon(folder, kitchen(), clock=EventClock(), engine=real_engine) as daemon:
        for number, event in enumerate(day(), 1):
            if isinstance(event, Delivery):
                daemon.give(event)
            else:
                daemon.inbox.put(event)
            if number % size == 0:
                daemon.pipeline.turn()
        daemon.pipeline.turn()
        with closing(sqlite3.connect(daemon.store.database)) as file:
            return {table: file.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}


@pytest.mark.skipif(not real_engine_steps(), reason="the engine does not step yet")
def test_the_same_in_groups_of_any_size(tmp_path):
    one, seven, thousand = (replay(tmp_path / str(size), size) for size in (1, 7, 1_000))
    assert len(one["readings"]) == 3 * 1_440 - 20
    assert len(one["alarms"]) >= 3
    assert one["outbox"]
    assert one["spans"]
    for table in TABLES:
        assert one[table] == seven[table] == thousand[table], table
