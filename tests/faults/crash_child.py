"""The part of the daemon that a crash test kills: broker intake, pipeline and store, all real.

Run as ``python -m faults.crash_child FOLDER PORT ENGINE``; prints one JSON line with what it restored, then works until killed.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from rimekeeper.config.edges import MqttSettings, TopicSettings
from rimekeeper.core.messages import StartBatch
from rimekeeper.core.model import (
    ChannelId,
    ClockTrust,
    PersonId,
    ProbeId,
    RoleId,
    SheetId,
    SourceId,
    StageId,
    StationId,
    Temperature,
)
from rimekeeper.core.plan import (
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
    SourcePlan,
    StageKind,
    StagePlan,
    StationKind,
    StationPlan,
)
from rimekeeper.core.state import StagePhase
from rimekeeper.intake.mqtt import MqttIntake
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.runtime.inbox import Inbox
from rimekeeper.runtime.pipeline import Pipeline
from support.parts import ADA
from support.which_engine import engine_by_name

STAMPED = tuple(f"p{n}" for n in range(4))
PLAIN = tuple(f"a{n}" for n in range(4))
HOT = tuple(f"h{n}" for n in range(10))
TOO_WARM = 100.0
SOURCE = SourceId("slipway")


def settings(port: int, client: str = "rimekeeper-crash-test") -> MqttSettings:
    return MqttSettings(
        name=SOURCE,
        host="127.0.0.1",
        port=port,
        client_id=client,
        topics=(
            TopicSettings(
                filter="stamped/+",
                payload="json",
                channel_level=2,
                value_path="v",
                time_path="t",
                time_unit="ms",
            ),
            TopicSettings(filter="plain/+", payload="number", channel_level=2),
        ),
    )


def kitchen() -> KitchenPlan:
    def probe(name: str, clock: ClockTrust) -> ProbePlan:
        return ProbePlan(ProbeId(name), name, SOURCE, name, clock=clock, max_rate_kelvin_per_second=1e9)

    probes = [probe(name, ClockTrust.PROBE) for name in STAMPED]
    probes += [probe(name, ClockTrust.ARRIVAL) for name in PLAIN + HOT]
    stations = [
        StationPlan(
            StationId(name),
            f"Station {name}",
            StationKind.OTHER,
            ProbeId(name),
            (LimitPlan(Side.CEILING, Temperature(TOO_WARM)),),
        )
        for name in HOT
    ]
    role = RoleId("pan")
    sheet = SheetPlan(
        SheetId("barley"),
        "Toasted-barley custard",
        (RolePlan(role, "pan"),),
        (
            StagePlan(StageId("cook"), "Cook", StageKind.COOK, role),
            StagePlan(StageId("chill"), "Chill", StageKind.CHILL, role, after=(StageId("cook"),)),
        ),
    )
    ada = PersonPlan(PersonId("ada"), "Ada", (ChannelId("mail"),))
    return KitchenPlan(
        name="Slipway Ices",
        zone="Europe/London",
        sources={SOURCE: SourcePlan(SOURCE, "Slipway broker", "mqtt")},
        probes={plan.id: plan for plan in probes},
        stations={plan.id: plan for plan in stations},
        sheets={sheet.id: sheet},
        people={ada.id: ada},
        policies=(CallPolicy(frozenset(Priority), (CallStep((ada.id,)),)),),
    )


def restored(pipeline: Pipeline) -> dict[str, object]:
    """What a restart finds: batches with their active stages, and the alarms that stand."""
    state = pipeline.glance().state
    return {
        "batches": {
            name: [batch.phase, [r.stage for r in batch.stages if r.phase is StagePhase.ACTIVE]]
            for name, batch in state.batches.items()
        },
        "alarms": sorted(alarm.alarm_id for alarm in state.alarms.values()),
    }


def main(folder: Path, port: int, engine: str) -> None:
    clock = SystemClock()
    inbox = Inbox()
    clock.on_step = inbox.put
    store = Store(folder)
    pipeline = Pipeline(
        kitchen(),
        store,
        Reader(store.database),
        inbox,
        clock,
        engine=engine_by_name(engine),
    )
    print(json.dumps(restored(pipeline)), flush=True)
    intake = MqttIntake(settings(port), inbox, clock)
    pipeline.start()
    intake.start()
    if not pipeline.glance().state.batches:
        pipeline.command(StartBatch(SheetId("barley"), ((RoleId("pan"), ProbeId("p0")),), lot="L7"), ADA)
    while True:
        time.sleep(60)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3])
