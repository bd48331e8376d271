"""Slipway Ices, an invented workshop, as the screens' tests see it: real plans, real slots, a real store.

The engine is not run here: the slots are what it would hold at one moment. ``Slipway`` answers commands by
moving those slots just as far as a screen's test needs.
"""

from __future__ import annotations

import math
import threading
from dataclasses import replace
from pathlib import Path

from rimekeeper.core.alarms.slot import AlarmPhase, AlarmSlot
from rimekeeper.core.commit import Commit
from rimekeeper.core.messages import (
    Acknowledge,
    AdvanceStage,
    AlarmMove,
    AlarmMoved,
    Calibrate,
    Command,
    CommandAnswered,
    HoldBatch,
    NoteBatch,
    PromptGiven,
    PromptKind,
    ResumeBatch,
    Span,
    SpansSet,
    UndoAdvance,
)
from rimekeeper.core.model import (
    Actor,
    BatchId,
    Entry,
    Health,
    Instant,
    Millis,
    ProbeId,
    Quality,
    Reading,
    Reason,
    Rejected,
    RoleId,
    Scale,
    SheetId,
    SourceId,
    StageId,
    StationId,
    Temperature,
)
from rimekeeper.core.plan import (
    Advance,
    Approach,
    KitchenPlan,
    LimitPlan,
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
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.core.state import (
    BatchPhase,
    BatchSlot,
    EngineState,
    ProbeSlot,
    SourceSlot,
    StagePhase,
    StageRun,
    WatchPhase,
    WatchSlot,
)
from rimekeeper.keeping.store import Store
from rimekeeper.runtime.ports import Glance, Pulse, SeenChannel, SourceTally

MINUTE, HOUR = 60_000, 3_600_000
CUSTARD, SHERBET = SheetId("barley-custard"), SheetId("plum-sherbet")
ADA, BO = Actor("Ada", "web page"), Actor("Bo", "command line")


def _stage(name, kind, role, target=None, after=(), **more):
    return StagePlan(
        id=StageId(name.lower().replace(" ", "-")),
        name=name,
        kind=kind,
        role=RoleId(role),
        after=tuple(StageId(a) for a in after),
        target=None if target is None else Temperature(target),
        **more,
    )


def sheets() -> dict[SheetId, SheetPlan]:
    """Two invented sheets; the second splits in two and comes together again."""
    custard = SheetPlan(
        id=CUSTARD,
        name="Toasted-barley custard",
        roles=(RolePlan(RoleId("pan"), "Pan"), RolePlan(RoleId("core"), "Tray core")),
        stages=(
            _stage(
                "Cook", StageKind.COOK, "pan", 82.2, approach=Approach.RISING, hold=Millis(15_000), critical=True,
                ceiling=LimitPlan(Side.CEILING, Temperature(85.0), action="Lift the pan into the ice bath"),
                advance=Advance.CONFIRM, do="Take the pan off and stir it over ice.", caution="Hot base: it sticks and burns.",
            ),
            _stage("Chill", StageKind.CHILL, "pan", 4.0, ("cook",), approach=Approach.FALLING, reach_within=Millis(4 * HOUR)),
            _stage("Age", StageKind.AGE, "pan", None, ("chill",), lasts=Millis(8 * HOUR), advance=Advance.TIME),
            _stage("Churn", StageKind.CHURN, "core", -6.1, ("age",), approach=Approach.FALLING),
            _stage("Harden", StageKind.HARDEN, "core", -18.0, ("churn",), approach=Approach.FALLING),
        ),
        allergens=("milk", "egg", "barley"),
    )  # fmt: skip
    sherbet = SheetPlan(
        id=SHERBET,
        name="Plum-buttermilk sherbet",
        roles=(RolePlan(RoleId("base"), "Base"), RolePlan(RoleId("frozen-portion"), "Frozen portion")),
        stages=(
            _stage("Warm", StageKind.COOK, "base", 65.0, approach=Approach.RISING),
            _stage("Chill base", StageKind.CHILL, "base", -1.0, ("warm",), approach=Approach.FALLING, portion="base", do="Whisk, then cover."),
            _stage("Freeze portion", StageKind.CHILL, "frozen-portion", -12.0, ("warm",), approach=Approach.FALLING, portion="frozen portion"),
            _stage("Combine", StageKind.COMBINE, "base", -4.0, ("chill-base", "freeze-portion"), approach=Approach.FALLING),
            _stage("Harden", StageKind.HARDEN, "base", -18.0, ("combine",), approach=Approach.FALLING),
        ),
        allergens=("milk",),
    )  # fmt: skip
    return {CUSTARD: custard, SHERBET: sherbet}


def plan(
    scale: Scale = Scale.CELSIUS, zone: str = "Europe/Copenhagen", *, simulated: bool = True
) -> KitchenPlan:
    """The kitchen."""
    stove, broker = SourceId("stove"), SourceId("broker")
    probes = [
        ProbePlan(ProbeId("stove-pan"), "Stove pan", stove, "1"),
        ProbePlan(ProbeId("ice-bath"), "Ice bath base", stove, "2"),
        ProbePlan(ProbeId("portion"), "Blast shelf", broker, "portion"),
        ProbePlan(ProbeId("tray"), "Tray core", broker, "tray"),
        ProbePlan(ProbeId("walkin-air"), "Walk-in air", broker, "walkin"),
        ProbePlan(ProbeId("fridge-air"), "Mix fridge air", broker, "fridge"),
        ProbePlan(ProbeId("cabinet-air"), "Cabinet air", broker, "cabinet"),
    ]

    def station(name, shown, kind, probe, ceiling, action):
        limit = LimitPlan(
            Side.CEILING,
            Temperature(ceiling),
            on_delay=Millis(15 * MINUTE),
            priority=Priority.CRITICAL,
            action=action,
        )
        return StationPlan(StationId(name), shown, kind, ProbeId(probe), (limit,))

    stations = [
        station("walkin", "Walk-in freezer", StationKind.FREEZER, "walkin-air", -18.0, "Shut the door, listen for the compressor, move stock"),
        station("fridge", "Mix fridge", StationKind.FRIDGE, "fridge-air", 5.0, "Move the mix to the other fridge"),
        station("cabinet", "Hardening cabinet", StationKind.HARDENING, "cabinet-air", -28.0, "Look for ice on the coil"),
    ]  # fmt: skip
    return KitchenPlan(
        name="Slipway Ices",
        zone=zone,
        scale=scale,
        simulated=simulated,
        sources={
            stove: SourcePlan(stove, "Stove line", "serial"),
            broker: SourcePlan(broker, "Cold room broker", "mqtt"),
        },
        probes={p.id: p for p in probes},
        stations={s.id: s for s in stations},
        sheets=sheets(),
    )


def probe(
    name: str, now: int, celsius: float | None, *, age: int = 800, quality=Quality.GOOD, reason=Reason.NONE
) -> ProbeSlot:
    """A probe that spoke ``age`` ms ago."""
    at = Instant(now - age)
    return ProbeSlot(
        ProbeId(name), last_at=at, last_arrived=at, raw=celsius, celsius=celsius, quality=quality, reason=reason,
        good_at=at, good_celsius=celsius, health=Health.NORMAL, health_since=Instant(now - HOUR), readings=4_312,
    )  # fmt: skip


def run(stage: str, phase: StagePhase, began=None, ended=None, **more) -> StageRun:
    """A stage's run."""
    return StageRun(
        StageId(stage),
        phase,
        None if began is None else Instant(began),
        None if ended is None else Instant(ended),
        **more,
    )


def custard(now: int) -> BatchSlot:
    """Cooking since 14 min."""
    began = now - 14 * MINUTE
    waiting = [run(name, StagePhase.WAITING) for name in ("chill", "age", "churn", "harden")]
    return BatchSlot(
        BatchId("custard-7"), CUSTARD, "B-1125", BatchPhase.RUNNING, Instant(began),
        ((RoleId("pan"), ProbeId("stove-pan")), (RoleId("core"), ProbeId("tray"))),
        (run("cook", StagePhase.ACTIVE, began, lowest=18.2, highest=78.4, last_celsius=78.4, last_at=Instant(now - 800)), *waiting),
        spans=(
            Span(BatchId("custard-7"), StageId("cook"), RoleId("pan"), ProbeId("stove-pan"), Instant(began)),
            Span(BatchId("custard-7"), None, RoleId("core"), ProbeId("tray"), Instant(began)),
        ),
    )  # fmt: skip


def sherbet(now: int) -> BatchSlot:
    """Two portions side by side since 40 s: the advance can still be taken back in front."""
    began, split = now - 70 * MINUTE, now - 40_000
    first = run(
        "warm", StagePhase.DONE, began, split, reached_at=Instant(split - MINUTE), lowest=20.0, highest=66.1
    )
    return BatchSlot(
        BatchId("sherbet-3"), SHERBET, "P-0311", BatchPhase.RUNNING, Instant(began),
        ((RoleId("base"), ProbeId("ice-bath")), (RoleId("frozen-portion"), ProbeId("portion"))),
        (
            first,
            run("chill-base", StagePhase.ACTIVE, split),
            run("freeze-portion", StagePhase.ACTIVE, split),
            run("combine", StagePhase.WAITING),
            run("harden", StagePhase.WAITING),
        ),
        before=(replace(first, phase=StagePhase.ACTIVE, ended=None),),
        last_by=ADA,
        spans=(
            Span(BatchId("sherbet-3"), StageId("warm"), RoleId("base"), ProbeId("ice-bath"), Instant(began), Instant(split)),
            Span(BatchId("sherbet-3"), StageId("chill-base"), RoleId("base"), ProbeId("ice-bath"), Instant(split)),
            Span(BatchId("sherbet-3"), StageId("freeze-portion"), RoleId("frozen-portion"), ProbeId("portion"), Instant(split)),
        ),
    )  # fmt: skip


def walkin_alarm(now: int) -> AlarmSlot:
    """The walk-in is too warm and nobody has answered."""
    return AlarmSlot(
        "station/walkin/ceiling", "alarm-41", AlarmPhase.UNACKNOWLEDGED, Priority.CRITICAL, "Walk-in freezer",
        "above its ceiling", "Shut the door, listen for the compressor, move stock", Instant(now - 6 * MINUTE),
        Instant(now - 21 * MINUTE), celsius=-15.2, worst=-12.9, limit_celsius=-18.0, probe=ProbeId("walkin-air"), calls_made=2,
    )  # fmt: skip


def state(now: int) -> EngineState:
    """The engine's state at ``now``."""
    probes = [
        probe("stove-pan", now, 78.4),
        probe("ice-bath", now, 31.7),
        probe("portion", now, -2.6, quality=Quality.UNCERTAIN, reason=Reason.STUCK),
        probe("tray", now, 21.0),
        probe("walkin-air", now, -13.1),
        probe("fridge-air", now, 3.4),
        probe("cabinet-air", now, -33.0, age=11 * MINUTE),
    ]
    batches = [custard(now), sherbet(now)]
    alarm = walkin_alarm(now)
    return EngineState(
        probes={p.probe: p for p in probes},
        sources={
            SourceId("stove"): SourceSlot(SourceId("stove"), Health.NORMAL, Instant(now - HOUR)),
            SourceId("broker"): SourceSlot(SourceId("broker"), Health.FAILURE, Instant(now - MINUTE), "the broker refused the password"),
        },
        watches={
            "station/walkin/ceiling": WatchSlot("station/walkin/ceiling", WatchPhase.ABNORMAL, Instant(now - 6 * MINUTE), Instant(now - 21 * MINUTE), worst=-12.9)
        },
        alarms={alarm.key: alarm},
        batches={b.batch: b for b in batches},
        forecasts={
            "custard-7/cook": Forecast(Instant(now), Outlook.ARRIVES, Instant(now + 4 * MINUTE + 9_000), Instant(now + 3 * MINUTE), Instant(now + 6 * MINUTE), 0.92),
            "sherbet-3/chill-base": Forecast(Instant(now), Outlook.UNSETTLED),
            "sherbet-3/freeze-portion": Forecast(Instant(now), Outlook.PLATEAU),
        },
    )  # fmt: skip


def prompts(now: int) -> tuple[PromptGiven, ...]:
    """What was said lately."""
    return (
        PromptGiven(Instant(now - 50_000), PromptKind.HEADS_UP, BatchId("custard-7"), StageId("cook"), 77.6, Instant(now + 4 * MINUTE), "Get the ice bath ready: the custard is nearly there"),
    )  # fmt: skip


def glance(now: int, **more) -> Glance:
    """A whole view."""
    broker = SourceId("broker")
    found = Glance(
        version=1,
        at=Instant(now),
        plan=plan(),
        state=state(now),
        pulse=Pulse(
            alive=True, last_commit=Instant(now), last_reading=Instant(now), backlog=0, readings_stored=90_000
        ),
        prompts=prompts(now),
        tallies={broker: SourceTally(broker, 1200, 1180, 1170, 4, 6, 0, 2)},
        seen=(
            SeenChannel(broker, "walkin", Instant(now), -13.1, "-13.1", 300, "walkin-air"),
            SeenChannel(broker, "shelf-9", Instant(now), math.nan, '{"t": "open"}', 4, None),
        ),
        rejected=(Rejected(broker, Instant(now), "<script>alert(1)</script>", "not a number"),),
    )
    return replace(found, **more)


def _curve(name: str, since: int, until: int, step: int, shape) -> list[Reading]:
    found = []
    for at in range(since, until, step):
        celsius = shape((at - since) / MINUTE)
        found.append(Reading(ProbeId(name), Instant(at), Instant(at + 40), celsius, round(celsius, 2)))
    return found


def fill(folder: Path, now: int) -> Path:
    """A store with some days of this kitchen; returns the database."""
    night_ago = 15 * HOUR
    walkin = _curve("walkin-air", now - night_ago, now, 30_000, lambda m: -21 + 1.2 * math.sin(m / 25) + (3.8 if 300 < m % 480 < 325 else 0) + max(0.0, (m - 870) / 4))  # fmt: skip
    fridge = _curve("fridge-air", now - night_ago, now, 30_000, lambda m: 3.2 + 0.7 * math.sin(m / 18))
    cabinet = _curve(
        "cabinet-air", now - night_ago, now - 11 * MINUTE, 30_000, lambda m: -33 + 1.5 * math.sin(m / 14)
    )
    pan = _curve("stove-pan", now - 14 * MINUTE, now, 1_000, lambda m: 18.2 + 4.32 * m)
    bath = _curve(
        "ice-bath",
        now - 70 * MINUTE,
        now,
        2_000,
        lambda m: 20 + 46 * min(1, m / 66) if m < 69.3 else 66.1 - (m - 69.3) * 49,
    )
    readings = [*walkin, *fridge, *cabinet, *pan, *bath]
    past: list[BatchSlot] = []
    spans: list[SpansSet] = []
    for days in range(4):
        # The same evening on earlier days: 14 hours before now, so that it lies in the newest night or before.
        began = now - 13 * HOUR - days * 24 * HOUR
        tau = 95 + 14 * days
        curve = _curve("tray", began, began + 8 * HOUR, 60_000, lambda m, tau=tau: -31 + 25.5 * math.exp(-max(0.0, m - 25) / tau) if m > 25 else -5.5 - m * 0.02)  # fmt: skip
        readings += curve
        reached = next((r.taken_at for r in curve if r.celsius is not None and r.celsius <= -18), None)
        name = BatchId(f"custard-{6 - days}")
        span = Span(
            name,
            StageId("harden"),
            RoleId("core"),
            ProbeId("tray"),
            Instant(began),
            Instant(began + 8 * HOUR),
        )
        past.append(
            BatchSlot(
                name, CUSTARD, f"B-11{24 - days}", BatchPhase.ENDED, Instant(began - HOUR),
                ((RoleId("pan"), ProbeId("stove-pan")), (RoleId("core"), ProbeId("tray"))),
                (
                    run("cook", StagePhase.DONE, began - HOUR, began - HOUR // 2),
                    run("harden", StagePhase.DONE, began, began + 8 * HOUR, reached_at=reached, lowest=-30.8, highest=-5.5),
                ),
                spans=(span,), ended=Instant(began + 8 * HOUR),
            )
        )  # fmt: skip
        spans.append(SpansSet(Instant(began), name, (span,)))
    live = state(now)
    entries = [
        Entry(Instant(now - 70 * MINUTE), "batch.started", ADA, "Plum-buttermilk sherbet was started, lot P-0311", BatchId("sherbet-3")),
        Entry(Instant(now - 14 * MINUTE), "batch.started", ADA, "Toasted-barley custard was started, lot B-1125", BatchId("custard-7")),
        Entry(Instant(now - 9 * MINUTE), "batch.noted", BO, "Barley toasted a shade darker than last week", BatchId("custard-7")),
        Entry(Instant(now - 40_000), "stage.advanced", ADA, "Warm ended; Chill base and Freeze portion began", BatchId("sherbet-3")),
    ]  # fmt: skip
    spans += [SpansSet(b.began, b.batch, b.spans) for b in live.batches.values()]
    alarm = walkin_alarm(now)
    store = Store(folder)
    try:
        for start in range(0, len(readings), 5_000):
            store.commit(Commit(readings=tuple(readings[start : start + 5_000])))
        store.commit(
            Commit(
                entries=tuple(entries),
                spans=tuple(spans),
                batches=tuple(past),
                changed={f"batch/{b.batch}": b for b in live.batches.values()},
                alarms=(AlarmMoved(alarm.raised_at, AlarmMove.RAISED, alarm),),
            )
        )
        return store.database
    finally:
        store.close()


class Slipway:
    """A kitchen for screens: what it shows can be set, what it is told is kept."""

    def __init__(self, database: Path, first: Glance) -> None:
        self._database = database
        self._glance = first
        self._changed = threading.Condition()
        self.given: list[tuple[Command, Actor]] = []
        self.refuse = ""

    @property
    def database(self) -> Path:
        return self._database

    def glance(self) -> Glance:
        with self._changed:
            return self._glance

    def wait_newer(self, version: int, timeout: float) -> Glance | None:
        with self._changed:
            if not self._changed.wait_for(lambda: self._glance.version > version, timeout):
                return None
            return self._glance

    def show(self, **more) -> None:
        """Another view, newer by one."""
        with self._changed:
            self._glance = replace(self._glance, version=self._glance.version + 1, **more)
            self._changed.notify_all()

    def change_run(self, batch: str, stage: str, **more) -> None:
        """One stage's run is changed, as readings would have changed it."""
        old = self.glance().state
        slot = old.batches[BatchId(batch)]
        stages = tuple(replace(r, **more) if r.stage == stage else r for r in slot.stages)
        self.show(state=replace(old, batches={**old.batches, slot.batch: replace(slot, stages=stages)}))

    def cooked(self) -> None:
        """The custard has reached its target and was held there."""
        now = self.glance().at
        since = Instant(now - 20_000)
        self.change_run(
            "custard-7", "cook", reached_at=since, in_band_since=since, in_band_last=now, hold_met_at=now
        )

    def move(self, now: int) -> None:
        """Time passes: probes that were fresh are fresh again."""
        old = self.glance().state
        probes = {
            name: replace(slot, last_at=Instant(now - 300)) if now - (slot.last_at or 0) < 30_000 else slot
            for name, slot in old.probes.items()
        }
        self.show(at=Instant(now), state=replace(old, probes=probes))

    def command(self, command: Command, actor: Actor, timeout: float = 5.0) -> CommandAnswered:
        self.given.append((command, actor))
        if self.refuse:
            return CommandAnswered(1, False, self.refuse)
        old = self.glance().state
        now = self.glance().at
        match command:
            case Acknowledge(alarm=key):
                alarms = {
                    name: replace(a, phase=AlarmPhase.ACKNOWLEDGED, acknowledged_at=now, acknowledged_by=actor.who)
                    if key in ("", name) else a
                    for name, a in old.alarms.items()
                }  # fmt: skip
                self.show(state=replace(old, alarms=alarms))
                return CommandAnswered(1, True, f"{actor.who} is on it. Calling stops.")
            case AdvanceStage(batch=name):
                batch = old.batches[name]
                stages = list(batch.stages)
                place = next(i for i, r in enumerate(stages) if r.phase is StagePhase.ACTIVE)
                stages[place] = replace(stages[place], phase=StagePhase.DONE, ended=now)
                if place + 1 == len(stages):
                    after = replace(batch, stages=tuple(stages), phase=BatchPhase.ENDED, ended=now)
                    self.show(state=replace(old, batches={**old.batches, name: after}))
                    return CommandAnswered(1, True, "The batch is finished.", name)
                stages[place + 1] = replace(stages[place + 1], phase=StagePhase.ACTIVE, began=now)
                after = replace(batch, stages=tuple(stages), before=batch.stages)
                self.show(state=replace(old, batches={**old.batches, name: after}))
                return CommandAnswered(1, True, "The next stage has begun.", name)
            case UndoAdvance(batch=name):
                batch = old.batches[name]
                after = replace(batch, stages=batch.before or batch.stages, before=None)
                self.show(state=replace(old, batches={**old.batches, name: after}))
                return CommandAnswered(1, True, "The last step was taken back.", name)
            case HoldBatch(batch=name) | ResumeBatch(batch=name):
                held = isinstance(command, HoldBatch)
                after = replace(
                    old.batches[name],
                    phase=BatchPhase.HELD if held else BatchPhase.RUNNING,
                    held_since=now if held else None,
                )
                self.show(state=replace(old, batches={**old.batches, name: after}))
                return CommandAnswered(1, True, "On hold." if held else "Going on.", name)
            case NoteBatch(batch=name):
                return CommandAnswered(1, True, "Written down.", name)
            case Calibrate(probe=probe):
                return CommandAnswered(1, True, f"Probe {probe} was calibrated.", record=1)
        return CommandAnswered(1, False, "This kitchen of the tests does not do that.")
