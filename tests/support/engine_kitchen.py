"""Slipway Ices (invented) for tests of the engine: a small kitchen, and a hand that feeds it events."""

from __future__ import annotations

from rimekeeper.core.engine import step
from rimekeeper.core.messages import (
    AlarmMoved,
    CallOwed,
    ClockStepped,
    CommandAnswered,
    CommandGiven,
    EntryMade,
    PromptGiven,
    ReadingMade,
    SampleTaken,
    SourceReported,
    SpansSet,
    StartBatch,
    Started,
    Tick,
)
from rimekeeper.core.model import (
    MINUTE,
    Actor,
    BatchId,
    ChannelId,
    ClockTrust,
    Health,
    Instant,
    Millis,
    PersonId,
    ProbeId,
    RoleId,
    Sample,
    Scale,
    SheetId,
    SourceId,
    SourceState,
    StageId,
    StationId,
    Temperature,
    TemperatureDifference,
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
from rimekeeper.core.state import EngineState

T0 = 1_795_600_800_000
ADA = Actor("Ada", "web page")
STOVE, BROKER = SourceId("stove"), SourceId("broker")


def at(seconds: float) -> Instant:
    """Seconds after the beginning."""
    return Instant(T0 + round(seconds * 1000))


def stage(name, kind=StageKind.CHILL, role="pan", target=None, after=(), band=0.5, **more):
    return StagePlan(
        id=StageId(name),
        name=name.capitalize(),
        kind=kind,
        role=RoleId(role),
        target=None if target is None else Temperature(target),
        band=TemperatureDifference(band),
        after=tuple(StageId(a) for a in after),
        **more,
    )


def sheet(*stages, roles=("pan",), name="barley", mix=None):
    return SheetPlan(
        SheetId(name),
        "Toasted-barley custard",
        tuple(RolePlan(RoleId(r), r.capitalize()) for r in roles),
        stages,
        mix,
    )


def ceiling(celsius=-15.0, side=Side.CEILING, band=0.5, **more):
    return LimitPlan(side, Temperature(celsius), TemperatureDifference(band), action="Shut the door", **more)


def station(*limits, probe="walkin", name="walkin"):
    return StationPlan(StationId(name), "Walk-in freezer", StationKind.FREEZER, ProbeId(probe), limits)


ADA_IS = PersonPlan(PersonId("ada"), "Ada", (ChannelId("mail-ada"), ChannelId("push-ada")))
BO_IS = PersonPlan(PersonId("bo"), "Bo", (ChannelId("mail-bo"),))
POLICY = CallPolicy(
    frozenset({Priority.HIGH, Priority.CRITICAL}),
    (CallStep((ADA_IS.id,), Millis(5 * MINUTE)), CallStep((BO_IS.id,), Millis(5 * MINUTE))),
    Millis(10 * MINUTE),
)


def kitchen(
    *, sheets=(), stations=(), policies=(POLICY,), clock=ClockTrust.ARRIVAL, accuracy=0.0, **more
) -> KitchenPlan:
    sure = TemperatureDifference(accuracy)
    probes = [
        ProbePlan(
            ProbeId(name),
            name.capitalize(),
            source,
            name,
            clock=clock,
            silent_after=Millis(60_000),
            accuracy=sure,
        )
        for name, source in (("pan", STOVE), ("base", STOVE), ("walkin", BROKER), ("fridge", BROKER))
    ]
    return KitchenPlan(
        name="Slipway Ices",
        zone="Europe/London",
        sources={
            STOVE: SourcePlan(STOVE, "Stove line", "serial"),
            BROKER: SourcePlan(BROKER, "Broker", "mqtt"),
        },
        probes={p.id: p for p in probes},
        stations={s.id: s for s in stations},
        sheets={s.id: s for s in sheets},
        people={p.id: p for p in (ADA_IS, BO_IS)},
        policies=policies,
        **more,
    )


def sample(probe, value, seconds, *, taken=None, retained=False, scale=Scale.CELSIUS):
    return SampleTaken(
        ProbeId(probe),
        Sample(
            BROKER, probe, value, scale, at(seconds), None if taken is None else at(taken), retained=retained
        ),
    )


class Hand:
    """Feeds the engine one event after the other and keeps what comes out."""

    def __init__(self, plan: KitchenPlan, state: EngineState | None = None):
        self.plan = plan
        self.state = state or EngineState()
        self.outcomes = []
        self.changed = {}

    def feed(self, *events):
        done = step(self.plan, self.state, events)
        self.state = done.state
        self.outcomes += done.outcomes
        self.changed.update(done.changed)
        return done.outcomes

    def sample(self, probe, value, seconds, **more):
        return self.feed(sample(probe, value, seconds, **more))

    def ramp(self, probe, seconds, values, every=1.0):
        """Readings from ``seconds`` on; returns the second after the last."""
        for value in values:
            self.sample(probe, value, seconds)
            seconds += every
        return seconds

    def tick(self, seconds):
        return self.feed(Tick(at(seconds)))

    def start_up(self, seconds=0.0, watched_until=None):
        return self.feed(Started(at(seconds), None if watched_until is None else at(watched_until)))

    def step_clock(self, seconds, by):
        return self.feed(ClockStepped(at(seconds), Millis(by)))

    def source(self, source, health: Health, seconds, why=""):
        return self.feed(SourceReported(SourceState(source, at(seconds), health, why)))

    def give(self, command, seconds, actor=ADA) -> CommandAnswered:
        outcomes = self.feed(CommandGiven(at(seconds), command, actor, ticket=len(self.outcomes)))
        answers = [o for o in outcomes if isinstance(o, CommandAnswered)]
        assert len(answers) == 1
        return answers[0]

    def begin(self, seconds=0.0, sheet_id="barley", **roles) -> BatchId:
        bindings = tuple((RoleId(r), ProbeId(p)) for r, p in (roles or {"pan": "pan"}).items())
        answer = self.give(StartBatch(SheetId(sheet_id), bindings), seconds)
        assert answer.accepted, answer.sentence
        return answer.batch

    def batch(self, batch=None):
        return self.state.batches[batch] if batch else next(reversed(self.state.batches.values()))

    def run(self, name, batch=None):
        found = self.batch(batch).run(StageId(name))
        assert found is not None
        return found

    def _of(self, kind):
        return [o for o in self.outcomes if isinstance(o, kind)]

    @property
    def readings(self):
        return [o.reading for o in self._of(ReadingMade)]

    @property
    def entries(self):
        return [o.entry for o in self._of(EntryMade)]

    def kinds(self):
        return [e.kind for e in self.entries]

    @property
    def moves(self):
        return [(o.alarm.key, o.move.value, (o.at - T0) / 1000) for o in self._of(AlarmMoved)]

    @property
    def calls(self) -> list[CallOwed]:
        return self._of(CallOwed)

    @property
    def prompts(self):
        return [(o.kind.value, o.stage, (o.at - T0) / 1000) for o in self._of(PromptGiven)]

    @property
    def spans(self):
        return self._of(SpansSet)
