"""When the wall clock is set, every instant moves along and every duration stays."""

from __future__ import annotations

import dataclasses
import typing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.clock_shift import shifted
from rimekeeper.core.draft import Draft
from rimekeeper.core.messages import AdvanceStage, Span
from rimekeeper.core.model import Health, Instant, Millis
from rimekeeper.core.plan import Approach, StageKind
from rimekeeper.core.process.forecast import Forecast
from rimekeeper.core.sensing.doubt import Doubt, RoomDoubt, SwapDoubt
from rimekeeper.core.sensing.pace import ClockWindow, Pace
from rimekeeper.core.state import BatchSlot, ClockSlot, ProbeSlot, SourceSlot, StageRun, WatchSlot
from rimekeeper.core.tracking import stages
from support.engine_kitchen import BROKER, T0, Hand, at, ceiling, kitchen, sheet, stage, station

HOUR = 3_600_000
PIECES = (
    ProbeSlot,
    SourceSlot,
    WatchSlot,
    AlarmSlot,
    BatchSlot,
    ClockSlot,
    StageRun,
    Span,
    Forecast,
    Doubt,
    RoomDoubt,
    SwapDoubt,
    Pace,
    ClockWindow,
)


def has_instant(hint):
    return hint is Instant or any(has_instant(arg) for arg in typing.get_args(hint))


def filled(kind):
    """A piece with a value in every field."""
    values = {}
    for name, hint in typing.get_type_hints(kind).items():
        if has_instant(hint):
            values[name] = 1_000
        elif name == "stages" or name == "before":
            values[name] = (filled(StageRun), filled(StageRun))
        elif name in ("spans", "before_spans"):
            values[name] = (filled(Span),)
        else:
            values[name] = 7
    return kind(**values)


def instants(piece):
    """Every value of an Instant field, near and far."""
    for name, hint in typing.get_type_hints(type(piece)).items():
        value = getattr(piece, name)
        if has_instant(hint):
            yield value
        elif isinstance(value, tuple):
            for one in value:
                if dataclasses.is_dataclass(one):
                    yield from instants(one)


@pytest.mark.parametrize("kind", PIECES)
@given(by=st.integers(-(10**12), 10**12))
def test_every_instant_field_is_moved_and_nothing_else(kind, by):
    piece = filled(kind)
    before = list(instants(piece))
    moved = shifted(piece, Millis(by))
    assert before
    assert list(instants(moved)) == [value + by for value in before]
    assert shifted(moved, Millis(-by)) == piece


def test_what_is_doubted_and_the_pace_of_a_probe_move_with_it():
    slot = ProbeSlot("pan", doubt=Doubt(room=RoomDoubt(far_at=5)), pace=Pace(window=ClockWindow(7, 30)))
    moved = shifted(slot, Millis(100))
    assert moved.doubt.room.far_at == 105
    assert (moved.pace.window.began, moved.pace.window.largest) == (107, 30)


def test_unset_instants_stay_unset_and_other_things_are_left_alone():
    assert shifted(ProbeSlot("pan"), Millis(5)) == ProbeSlot("pan")
    assert shifted("text", Millis(5)) == "text"
    assert shifted(Health.NORMAL, Millis(5)) is Health.NORMAL


def busy():
    plan = kitchen(
        stations=[station(ceiling(on_delay=Millis(60_000)))],
        sheets=[
            sheet(
                stage(
                    "cook",
                    StageKind.COOK,
                    target=82.0,
                    approach=Approach.RISING,
                    reach_within=Millis(300_000),
                ),
                stage("chill", after=("cook",)),
            )
        ],
    )
    hand = Hand(plan)
    hand.start_up(0)
    batch = hand.begin(1)
    hand.give(AdvanceStage(batch, why="wrong"), 2)
    hand.begin(3, pan="base")
    hand.source(BROKER, Health.NORMAL, 3)
    hand.sample("walkin", -10.0, 4)
    hand.sample("base", 20.0, 5)
    return hand


@pytest.mark.parametrize("by", [HOUR, -HOUR])
def test_delays_and_silences_go_on_as_if_nothing_had_happened(by):
    still, stepped = busy(), busy()
    still.tick(400)
    stepped.step_clock(10 + by / 1000, by)
    stepped.tick(400 + by / 1000)
    assert [(k, m) for k, m, _ in stepped.moves] == [(k, m) for k, m, _ in still.moves]
    assert [t - by / 1000 for _, _, t in stepped.moves] == [t for _, _, t in still.moves]
    assert [c.at - by for c in stepped.calls] == [c.at for c in still.calls]
    entry = next(e for e in stepped.entries if e.kind == "clock.stepped")
    assert dict(entry.facts) == {"by_ms": by}
    assert ("forward" in entry.sentence) == (by > 0)
    spans = [s for s in stepped.spans if s.at == at(10 + by / 1000)]
    assert {s.batch for s in spans} == {"barley-1", "barley-2"}
    assert {k for k in stepped.changed if k.startswith(("probe", "batch", "watch", "source", "clock"))} >= {
        "clock", "probe/base", "batch/barley-2", "source/broker",
    }  # fmt: skip


def test_readings_after_a_step_back_are_not_late():
    hand = busy()
    hand.step_clock(10 - 3_600, -HOUR)
    hand.sample("walkin", -20.0, 12 - 3_600)
    assert not hand.readings[-1].late
    assert hand.state.clock.now == T0 + 12_000 - HOUR


def test_what_was_due_by_the_old_clock_takes_effect_first():
    hand = busy()
    hand.step_clock(100 + 3_600, HOUR)
    assert ("station/walkin/ceiling", "raised", 64.0) in hand.moves


def test_forecasts_move_along():
    hand = busy()
    hand.sample("base", 20.5, 6)
    course = hand.state.courses["barley-2/cook"]
    made = hand.state.forecasts["barley-2/cook"]
    hand.step_clock(10 + 3_600, HOUR)
    assert hand.state.courses["barley-2/cook"].times == tuple(t + HOUR for t in course.times)
    assert hand.state.forecasts["barley-2/cook"].made_at == made.made_at + HOUR


def test_a_restart_leaves_standing_alarms_and_stages_as_they_were():
    plan = kitchen(
        sheets=[
            sheet(
                stage("cook", StageKind.COOK, target=82.0, ceiling=ceiling(85.0), stay_at_most=Millis(5_000))
            )
        ]
    )
    hand = Hand(plan)
    hand.start_up(0)
    hand.begin(1)
    hand.sample("pan", 90.0, 2)
    hand.tick(10)
    before = {k: (a.phase, a.alarm_id) for k, a in hand.state.alarms.items()}
    assert set(before) == {"stage/barley-1/cook/ceiling", "stage/barley-1/cook/long"}
    stages = hand.batch().stages
    hand.start_up(60, watched_until=11)
    assert {k: (a.phase, a.alarm_id) for k, a in hand.state.alarms.items()} == before
    assert hand.batch().stages == stages


def test_what_is_not_there_is_passed_over():
    hand = busy()
    draft = Draft(hand.plan, hand.state)
    stages.pass_time(draft, "barley-9/cook")
    assert draft.changed == {}
    draft.forget_batch("barley-1")
    assert "barley-1" in hand.state.batches
    assert "barley-1" not in draft.batches
