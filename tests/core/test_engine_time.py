"""Engine time is event time: neither the size of the batches nor the moments of the ticks change what is decided."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.engine import next_deadline, restore, step
from rimekeeper.core.messages import (
    Acknowledge,
    AdvanceStage,
    CommandGiven,
    EndBatch,
    HoldBatch,
    NoteBatch,
    ResumeBatch,
    RetimeStage,
    ScrapBatch,
    SourceReported,
    Span,
    StartBatch,
    Started,
    Tick,
    UndoAdvance,
)
from rimekeeper.core.model import (
    BatchId,
    ClockTrust,
    Health,
    Instant,
    Millis,
    ProbeId,
    RoleId,
    SheetId,
    SourceState,
    StageId,
)
from rimekeeper.core.plan import Advance, Approach, StageKind
from rimekeeper.core.state import EngineState
from support.engine_kitchen import (
    ADA,
    BROKER,
    STOVE,
    T0,
    Hand,
    at,
    ceiling,
    kitchen,
    sample,
    sheet,
    stage,
    station,
)


def busy_kitchen():
    barley = sheet(
        stage(
            "cook",
            StageKind.COOK,
            target=82.0,
            approach=Approach.RISING,
            hold=Millis(15_000),
            advance=Advance.TARGET,
            reach_within=Millis(90_000),
            ceiling=ceiling(85.0, on_delay=Millis(5_000)),
        ),
        stage("chill", target=20.0, after=("cook",), approach=Approach.FALLING, stay_at_most=Millis(60_000)),
        stage("portion", role="base", target=20.0, after=("cook",), approach=Approach.FALLING),
        stage("age", after=("chill", "portion"), lasts=Millis(40_000), advance=Advance.TIME),
        stage("churn", role="base", target=10.0, after=("age",), advance=Advance.CONFIRM),
        roles=("pan", "base"),
    )
    plan = kitchen(
        sheets=[barley],
        stations=[station(ceiling(-15.0, on_delay=Millis(20_000), off_delay=Millis(8_000)))],
    )
    probes = dict(plan.probes)
    for name in ("base", "walkin"):
        probes[ProbeId(name)] = replace(probes[ProbeId(name)], clock=ClockTrust.PROBE)
    return replace(plan, probes=probes, tick_grace=Millis(2_000))


PLAN = busy_kitchen()
BATCH = BatchId("barley-1")
BEGIN = StartBatch(SheetId("barley"), ((RoleId("pan"), ProbeId("pan")), (RoleId("base"), ProbeId("base"))))
VALUES = {
    "pan": (20.0, 83.0, 86.0, 19.0),
    "base": (20.0, 9.9, 30.0),
    "walkin": (-20.0, -14.0, -15.2),
    "fridge": (4.0,),
}

samples = st.sampled_from(sorted(VALUES)).flatmap(
    lambda name: st.tuples(
        st.just("sample"),
        st.just(name),
        st.sampled_from((*VALUES[name], float("nan"))),
        st.sampled_from((0.0, 0.3, 1.5, 9.0, 70.0)),
        st.booleans(),
    )
)
commands = st.tuples(
    st.just("command"),
    st.sampled_from(
        (
            BEGIN,
            AdvanceStage(BATCH),
            AdvanceStage(BATCH, why="it is enough"),
            AdvanceStage(BATCH, StageId("chill"), why="it is enough"),
            AdvanceStage(BATCH, begin=StageId("churn"), why="in a hurry"),
            HoldBatch(BATCH),
            ResumeBatch(BATCH),
            UndoAdvance(BATCH),
            NoteBatch(BATCH, "smells of toast"),
            EndBatch(BATCH, "enough"),
            ScrapBatch(BATCH, "burnt"),
            RetimeStage(BATCH, StageId("chill"), at(30), "tapped late"),
            Acknowledge(""),
        )
    ),
)
sources = st.tuples(
    st.just("source"), st.sampled_from((STOVE, BROKER)), st.sampled_from((Health.NORMAL, Health.FAILURE))
)
steps = st.lists(
    st.tuples(
        st.sampled_from((0.0, 0.05, 0.4, 1.0, 1.0, 3.0, 20.0, 75.0, 400.0)),
        st.one_of(samples, samples, samples, commands, sources),
    ),
    max_size=60,
)


def stream(steps):
    """Events in the order of their arrival."""
    now, events = 0.0, [Started(at(0)), CommandGiven(at(0), BEGIN, ADA, ticket=0)]
    for gap, what in steps:
        now += gap
        match what:
            case ("sample", name, value, lag, retained):
                retained = retained and lag == 9.0
                events.append(sample(name, value, now, taken=now - lag, retained=retained))
            case ("command", command):
                events.append(CommandGiven(at(now), command, ADA, ticket=len(events)))
            case ("source", source, health):
                events.append(SourceReported(SourceState(source, at(now), health)))
    return events, now


def arrived(event):
    match event:
        case SourceReported(state):
            return state.at
        case CommandGiven() | Started():
            return event.at
        case _:
            return event.sample.arrived_at


def play(events, size, end):
    state, outcomes, changed = EngineState(), [], {}
    events = [*events, Tick(at(end + 4_000))]
    for place in range(0, len(events), size):
        done = step(PLAN, state, events[place : place + size])
        state = done.state
        outcomes += done.outcomes
        changed.update(done.changed)
    return state, outcomes, changed


def with_ticks(events, shares):
    """A tick between two events wherever a share says so, never before what has arrived."""
    found, before = [], arrived(events[0])
    for place, event in enumerate(events):
        when = arrived(event)
        for share in shares[place % len(shares)] if shares else ():
            found.append(Tick(Instant(before + round((when - before) * share))))
        found.append(event)
        before = max(before, when)
    return found


def slots(state):
    return {
        **{f"probe/{k}": v for k, v in state.probes.items()},
        **{f"source/{k}": v for k, v in state.sources.items()},
        **{f"watch/{k}": v for k, v in state.watches.items()},
        **{f"alarm/{k}": v for k, v in state.alarms.items()},
        **{f"batch/{k}": v for k, v in state.batches.items()},
        "clock": state.clock,
    }


@settings(max_examples=150, deadline=None)
@given(steps, st.lists(st.lists(st.floats(0, 1), max_size=3).map(sorted), min_size=1, max_size=7))
def test_groups_and_ticks_change_nothing(steps, shares):
    events, end = stream(steps)
    state, outcomes, changed = play(events, 1_000, end)
    for size in (1, 7):
        other, said, _ = play(events, size, end)
        assert said == outcomes
        assert other == state
    ticked = with_ticks(events, shares)
    other, said, _ = play(ticked, 5, end)
    assert said == outcomes
    assert slots(other) == slots(state)
    assert {k: v for k, v in changed.items() if v is not None} == slots(state)


@settings(max_examples=60, deadline=None)
@given(steps)
def test_a_restart_at_any_point_forgets_nothing(steps):
    """Everything but the forecasts comes back from the slots, and the same goes on to happen."""
    events, end = stream(steps)
    whole, outcomes, _ = play(events, 1_000, end)
    state, said, kept = EngineState(), [], {}
    for event in [*events, Tick(at(end + 4_000))]:
        done = step(PLAN, state, [event])
        kept.update(done.changed)
        said += done.outcomes
        back = restore((key, slot) for key, slot in kept.items() if slot is not None)
        assert slots(back) == slots(done.state)
        state = replace(back, courses=done.state.courses, forecasts=done.state.forecasts)
    assert said == outcomes
    assert slots(state) == slots(whole)


@settings(max_examples=100, deadline=None)
@given(steps)
def test_what_must_hold_holds_after_every_event(steps):
    events, _ = stream(steps)
    state, given_to = EngineState(), {}
    for event in events:
        before = state
        frozen = {k: dict(v) for k, v in (("p", state.probes), ("a", state.alarms), ("b", state.batches))}
        done = step(PLAN, state, [event])
        state = done.state
        assert (dict(before.probes), dict(before.alarms), dict(before.batches)) == tuple(frozen.values())
        assert state.clock.now >= before.clock.now
        bound = [probe for b in state.batches.values() if b.running for _, probe in b.bindings]
        assert len(bound) == len(set(bound)), "a probe in two batches"
        for batch in state.batches.values():
            for _, probe in batch.bindings:
                of_probe = [s for s in batch.spans if s.probe == probe]
                apart(of_probe)
                given_to[batch.batch, probe] = of_probe
            active = [r.stage for r in batch.active]
            roles = [PLAN.sheets[batch.sheet].stage(s).role for s in active]
            assert len(roles) == len(set(roles)), "two stages watch one role"
            assert not active or batch.running
        for alarm in state.alarms.values():
            assert (alarm.next_call is None) or alarm.phase.value == "unacknowledged"
    for probe in PLAN.probes:
        apart(
            sorted(
                (s for (_, p), spans in given_to.items() if p == probe for s in spans), key=lambda s: s.begins
            )
        )


def apart(spans: list[Span]):
    for one, two in pairwise(spans):
        assert one.ends is not None
        assert one.ends <= two.begins
    for span in spans:
        assert span.ends is None or span.ends > span.begins


@settings(max_examples=60, deadline=None)
@given(steps)
def test_the_next_deadline_is_the_next_thing_to_happen(steps):
    events, end = stream(steps)
    state = step(PLAN, EngineState(), events).state
    now = max(arrived(e) for e in events)
    for _ in range(5):
        due = next_deadline(PLAN, state)
        if due is None:
            assert step(PLAN, state, [Tick(at(end + 10**6))]).outcomes == ()
            return
        early = step(PLAN, state, [Tick(Instant(max(now, due + PLAN.tick_grace - 1)))])
        if due + PLAN.tick_grace - 1 >= now:
            assert early.outcomes == ()
        state = step(PLAN, state, [Tick(Instant(max(now, due + PLAN.tick_grace)))]).state
        following = next_deadline(PLAN, state)
        assert following is None or following > due or following + PLAN.tick_grace > now


def test_a_deadline_takes_effect_at_its_own_instant():
    hand = Hand(kitchen(stations=[station(ceiling(on_delay=Millis(45_000)))]))
    hand.sample("walkin", -10.0, 100)
    hand.tick(146.9)
    assert hand.moves == []
    hand.sample("walkin", -20.0, 5_000)
    assert ("station/walkin/ceiling", "raised", 145.0) in hand.moves


def test_a_backlog_is_judged_by_its_readings():
    """Messages that a broker kept for an hour: an excursion of 30 s in them is none, one of 60 s is."""
    plan = replace(PLAN, probes={**PLAN.probes})
    for long, alarms in ((10, 0), (30, 1)):
        hand = Hand(plan)
        hand.start_up()
        hand.sample("walkin", -20.0, 1, taken=1)
        hand.source(BROKER, Health.FAILURE, 2)
        hand.source(BROKER, Health.NORMAL, 3_600)
        for n in range(60):
            warm = 10 <= n < 10 + long
            hand.sample("walkin", -10.0 if warm else -20.0, 3_600 + n / 100, taken=10 + n)
        raised = [m for m in hand.moves if m[:2] == ("station/walkin/ceiling", "raised")]
        assert len(raised) == alarms
        if alarms:
            assert raised[0][2] == 40.0


def test_the_clock_is_where_the_events_are():
    hand = Hand(kitchen())
    hand.tick(10)
    hand.sample("pan", 20.0, 5)
    assert hand.state.clock.now == T0 + 10_000
