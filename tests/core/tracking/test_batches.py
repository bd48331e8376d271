"""Batches: started, advanced, split and recombined, held, taken back, corrected, ended; and refused with a reason."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import (
    AdvanceStage,
    CommandGiven,
    EndBatch,
    HoldBatch,
    NoteBatch,
    ResumeBatch,
    RetimeStage,
    ScrapBatch,
    StartBatch,
    UndoAdvance,
)
from rimekeeper.core.model import BatchId, Millis, ProbeId, RoleId, SheetId, StageId
from rimekeeper.core.plan import Advance, Approach, StageKind
from rimekeeper.core.state import BatchPhase, StagePhase, StageRun
from rimekeeper.core.tracking.phases import STAGE_MOVES, StageMove, moved
from support.engine_kitchen import ADA, T0, Hand, at, kitchen, sheet, stage

PLAIN = sheet(
    stage("cook", StageKind.TEMPER), stage("chill", after=("cook",)), stage("age", after=("chill",))
)
SPLIT = sheet(
    stage("warm", StageKind.TEMPER),
    stage("chill", after=("warm",)),
    stage("portion", role="base", after=("warm",)),
    stage("combine", StageKind.COMBINE, after=("chill", "portion")),
    roles=("pan", "base"),
)
CRITICAL = sheet(
    stage(
        "cook",
        StageKind.COOK,
        target=82.0,
        approach=Approach.RISING,
        band=0.0,
        hold=Millis(15_000),
        critical=True,
    ),
    stage("chill", target=5.0, approach=Approach.FALLING, after=("cook",)),
)


def phases(hand):
    return [run.phase.value for run in hand.batch().stages]


def spans(hand):
    """(role, stage, from s, to s) of the newest spans."""
    return [
        (s.role, s.stage, (s.begins - T0) / 1000, None if s.ends is None else (s.ends - T0) / 1000)
        for s in hand.spans[-1].spans
    ]


def refused(hand, command, seconds, words):
    hand.tick(seconds)
    before, outcomes = hand.state, len(hand.outcomes)
    answer = hand.give(command, seconds)
    assert not answer.accepted
    assert answer.sentence == words
    assert replace(hand.state, clock=before.clock) == before
    assert len(hand.outcomes) == outcomes + 1


# --- start ---------------------------------------------------------------------------------------------------


def test_start():
    hand = Hand(kitchen(sheets=[SPLIT]))
    answer = hand.give(
        StartBatch(
            SheetId("barley"),
            ((RoleId("base"), ProbeId("base")), (RoleId("pan"), ProbeId("pan"))),
            "L7",
            "extra toast",
        ),
        10,
    )
    assert (answer.accepted, answer.batch) == (True, "barley-1")
    assert answer.sentence == "Toasted-barley custard was started as batch barley-1, lot L7. Warm began."
    batch = hand.batch()
    assert (batch.phase, batch.lot, batch.began, batch.notes) == (
        BatchPhase.RUNNING,
        "L7",
        at(10),
        ("extra toast",),
    )
    assert phases(hand) == ["active", "waiting", "waiting", "waiting"]
    assert spans(hand) == [("pan", "warm", 10, None), ("base", None, 10, None)]
    assert hand.prompts == [("stage began", "warm", 10)]
    entry = hand.entries[0]
    assert (entry.kind, entry.actor.who, entry.actor.where, entry.batch) == (
        "batch.started",
        "Ada",
        "web page",
        "barley-1",
    )
    assert dict(entry.facts)["probe of base"] == "base"


def start(*bindings, sheet_id="barley"):
    return StartBatch(SheetId(sheet_id), tuple((RoleId(r), ProbeId(p)) for r, p in bindings))


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (start(sheet_id="plum"), 'There is no batch sheet "plum". Sheets here: barley.'),
        (start(("pan", "pan")), "No probe is named for Base (base). Say which probe it is for every role."),
        (
            start(("pan", "pan"), ("core", "base")),
            'Toasted-barley custard has no role "core". Its roles: pan, base.',
        ),
        (start(("pan", "oven")), 'There is no probe "oven". Probes here: base, fridge, pan, walkin.'),
        (
            start(("pan", "pan"), ("base", "pan")),
            "Probe Pan is given to two roles. Give every role a probe of its own.",
        ),
        (start(("pan", "pan"), ("pan", "base")), "Pan (pan) is given two probes. Give it one."),
    ],
)
def test_a_start_that_is_refused(command, words):
    refused(Hand(kitchen(sheets=[SPLIT])), command, 1, words)


def test_a_probe_belongs_to_one_running_batch():
    hand = Hand(kitchen(sheets=[PLAIN]))
    first = hand.begin(0)
    refused(
        hand,
        start(("pan", "pan")),
        1,
        "Probe Pan belongs to batch barley-1, which is still running. Take another probe, or end that batch first.",
    )
    second = hand.begin(2, pan="base")
    hand.give(ScrapBatch(first, "burnt"), 3)
    assert hand.begin(4) == "barley-3"
    assert second == "barley-2"


# --- advance -------------------------------------------------------------------------------------------------


def test_through_all_stages_to_the_end():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    assert hand.give(AdvanceStage(batch), 10).sentence == "Stage Cook ended, Chill began."
    hand.give(AdvanceStage(batch, StageId("chill")), 20)
    answer = hand.give(AdvanceStage(batch), 30)
    assert answer.sentence == "Stage Age ended. Batch barley-1 is finished."
    assert phases(hand) == ["done", "done", "done"]
    assert (hand.batch().phase, hand.batch().ended) == (BatchPhase.ENDED, at(30))
    assert spans(hand) == [("pan", "cook", 0, 10), ("pan", "chill", 10, 20), ("pan", "age", 20, 30)]
    assert hand.kinds()[-2:] == ["stage.advanced", "batch.ended"]
    refused(hand, AdvanceStage(batch), 40, "Batch barley-1 has ended, so its stages can't be advanced.")


def test_split_and_recombine():
    hand = Hand(kitchen(sheets=[SPLIT]))
    batch = hand.begin(0, pan="pan", base="base")
    assert hand.give(AdvanceStage(batch), 10).sentence == "Stage Warm ended, Chill and Portion began."
    refused(
        hand,
        AdvanceStage(batch),
        11,
        "Chill (chill) and Portion (portion) are under way side by side. Say which of them is done.",
    )
    assert hand.give(AdvanceStage(batch, StageId("portion")), 20).sentence == "Stage Portion ended."
    assert phases(hand) == ["done", "active", "done", "waiting"]
    assert hand.give(AdvanceStage(batch), 30).sentence == "Stage Chill ended, Combine began."
    assert spans(hand) == [
        ("pan", "warm", 0, 10),
        ("pan", "chill", 10, 30),
        ("pan", "combine", 30, None),
        ("base", None, 0, 10),
        ("base", "portion", 10, 20),
        ("base", None, 20, None),
    ]


def test_recombining_ends_both_sides_when_both_lead_to_it():
    hand = Hand(kitchen(sheets=[SPLIT]))
    batch = hand.begin(0, pan="pan", base="base")
    hand.give(AdvanceStage(batch), 10)
    answer = hand.give(AdvanceStage(batch, begin=StageId("combine")), 20)
    assert answer.sentence == "Stages Chill and Portion ended, Combine began."


def test_out_of_order_needs_a_reason():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    refused(
        hand,
        AdvanceStage(batch, begin=StageId("age")),
        5,
        "Age comes after Chill, so it would be out of order. To begin it all the same, say why.",
    )
    answer = hand.give(AdvanceStage(batch, begin=StageId("age"), why="chilled yesterday"), 6)
    assert answer.sentence == "Stage Cook ended, Chill left out, Age began."
    assert phases(hand) == ["done", "skipped", "active"]
    assert (hand.entries[-1].why, dict(hand.entries[-1].facts)["out of order"]) == ("chilled yesterday", True)
    refused(
        hand,
        AdvanceStage(batch, begin=StageId("chill")),
        7,
        "Chill was left out, so it would be out of order. To begin it all the same, say why.",
    )
    hand.give(AdvanceStage(batch, begin=StageId("chill"), why="it was needed after all"), 8)
    assert phases(hand) == ["done", "active", "done"]
    assert hand.give(AdvanceStage(batch), 9).sentence == "Stage Chill ended. Batch barley-1 is finished."


def test_a_jump_ends_what_is_under_way_before_it():
    hand = Hand(kitchen(sheets=[SPLIT]))
    batch = hand.begin(0, pan="pan", base="base")
    hand.give(AdvanceStage(batch), 10)
    hand.give(AdvanceStage(batch, StageId("chill"), StageId("combine"), "in a hurry"), 20)
    assert phases(hand) == ["done", "done", "done", "active"]


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (AdvanceStage(BatchId("plum-9")), 'There is no batch "plum-9". Running now: barley-1.'),
        (
            AdvanceStage(BatchId("barley-1"), StageId("fry")),
            'Batch barley-1 has no stage "fry". Its stages: cook, chill, age.',
        ),
        (AdvanceStage(BatchId("barley-1"), StageId("age")), "Age has not begun yet, so it can't be ended."),
        (AdvanceStage(BatchId("barley-1"), StageId("cook")), "Cook is done, so it can't be ended."),
        (
            AdvanceStage(BatchId("barley-1"), begin=StageId("fry")),
            'Batch barley-1 has no stage "fry". Its stages: cook, chill, age.',
        ),
        (
            AdvanceStage(BatchId("barley-1"), begin=StageId("cook")),
            "Cook is done already, so it can't begin.",
        ),
        (
            AdvanceStage(BatchId("barley-1"), begin=StageId("chill")),
            "Chill is active already, so it can't begin.",
        ),
    ],
)
def test_an_advance_that_is_refused(command, words):
    hand = Hand(kitchen(sheets=[PLAIN]))
    hand.give(AdvanceStage(hand.begin(0)), 1)
    refused(hand, command, 2, words)


def test_two_stages_can_not_watch_one_probe():
    both = sheet(
        stage("warm"),
        stage("chill", after=("warm",)),
        stage("portion", role="base", after=("warm",)),
        stage("rest", role="base", after=("warm",)),
        roles=("pan", "base"),
    )
    hand = Hand(kitchen(sheets=[both]))
    batch = hand.begin(0, pan="pan", base="base")
    refused(
        hand,
        AdvanceStage(batch),
        1,
        "Portion and Rest would watch the same probe side by side. End Portion first.",
    )
    hand.give(AdvanceStage(batch, begin=StageId("portion")), 2)
    assert phases(hand) == ["done", "waiting", "active", "waiting"]


def test_a_critical_limit_not_met_needs_a_reason():
    hand = Hand(kitchen(sheets=[CRITICAL]))
    batch = hand.begin(0)
    refused(
        hand,
        AdvanceStage(batch),
        1,
        "Cook has not reached its target, which is a critical limit. To end it all the same, say why.",
    )
    hand.ramp("pan", 2, [83.0] * 5)
    refused(
        hand,
        AdvanceStage(batch),
        7,
        "Cook was not held at its target for long enough, which is a critical limit. To end it all the same, say why.",
    )
    answer = hand.give(AdvanceStage(batch, why="will be cooked again"), 8)
    assert answer.sentence == "Stage Cook ended before its target, Chill began."
    assert dict(hand.entries[-1].facts)["early"] is True
    answer = hand.give(AdvanceStage(batch), 9)
    assert answer.sentence == "Stage Chill ended before its target. Batch barley-1 is finished."


def test_a_sheet_that_is_gone():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    later = Hand(replace(hand.plan, sheets={}), hand.state)
    later.sample("pan", 20.0, 1)
    sentence = 'The batch sheet "barley" is no longer there. Bring it back, or scrap batch barley-1.'
    refused(later, AdvanceStage(batch), 2, sentence)
    refused(later, RetimeStage(batch, StageId("cook"), at(1), ""), 2, sentence)
    later.give(HoldBatch(batch), 3)
    later.give(ResumeBatch(batch), 4)
    assert later.give(ScrapBatch(batch, "sheet lost"), 5).accepted
    assert spans(later) == [("pan", "cook", 0, 5)]
    other = Hand(replace(hand.plan, sheets={}), hand.state)
    assert other.give(EndBatch(batch, "sheet lost"), 5).accepted


def test_a_stage_that_was_taken_out_of_the_sheet():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    shorter = replace(PLAIN, stages=PLAIN.stages[1:])
    later = Hand(replace(hand.plan, sheets={PLAIN.id: shorter}), hand.state)
    later.start_up(5, watched_until=1)
    assert later.give(AdvanceStage(batch), 10).sentence == "Stage cook ended, Chill began."
    assert spans(later) == [("pan", "cook", 0, 10), ("pan", "chill", 10, None)]
    assert later.give(UndoAdvance(batch), 11).accepted
    again = later.give(AdvanceStage(batch, begin=StageId("age"), why="chilled yesterday"), 12)
    assert again.sentence == "Stage cook ended, Chill left out, Age began."


def test_a_batch_with_nothing_under_way():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    waiting = tuple(StageRun(run.stage) for run in hand.batch().stages)
    hand.state = replace(hand.state, batches={batch: replace(hand.batch(), stages=waiting)})
    refused(hand, AdvanceStage(batch), 1, "No stage of batch barley-1 is under way.")
    assert hand.give(AdvanceStage(batch, begin=StageId("cook")), 2).accepted is False


def test_what_the_table_does_not_know_is_refused():
    with pytest.raises(RefusedError, match="Stage cook is waiting; it can't end"):
        moved(StageRun(StageId("cook")), StageMove.END, at(0))
    for phase, move in product(StagePhase, StageMove):
        run = StageRun(StageId("cook"), phase)
        if (phase, move) in STAGE_MOVES:
            assert moved(run, move, at(0)).phase is STAGE_MOVES[phase, move]
        else:
            with pytest.raises(RefusedError):
                moved(run, move, at(0))


# --- undo ----------------------------------------------------------------------------------------------------


def test_undo_restores_stages_and_spans():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    before = hand.batch().stages
    refused(hand, UndoAdvance(batch), 5, "There is no advance of batch barley-1 to take back.")
    hand.give(AdvanceStage(batch), 10)
    assert (
        hand.give(UndoAdvance(batch, "wet hands"), 20).sentence
        == "The last advance was taken back: Cook goes on."
    )
    assert hand.batch().stages == before
    assert spans(hand) == [("pan", "cook", 0, None)]
    assert [p for p in hand.prompts if p[2] == 20] == []
    refused(hand, UndoAdvance(batch), 21, "There is no advance of batch barley-1 to take back.")


def test_the_last_advance_can_be_taken_back_while_the_probe_is_free():
    hand = Hand(kitchen(sheets=[sheet(stage("cook", StageKind.TEMPER))]))
    batch = hand.begin(0)
    hand.give(AdvanceStage(batch), 10)
    assert not hand.batch().running
    assert hand.give(UndoAdvance(batch), 11).accepted
    assert hand.batch().phase is BatchPhase.RUNNING
    assert hand.batch().ended is None
    hand.give(AdvanceStage(batch), 12)
    hand.begin(13)
    refused(
        hand,
        UndoAdvance(batch),
        14,
        "Probe Pan belongs to batch barley-2 now, so batch barley-1 can't go on with it.",
    )


def test_a_stage_brought_back_waits_for_a_person():
    timed = sheet(stage("age", lasts=Millis(60_000), advance=Advance.TIME), stage("churn", after=("age",)))
    hand = Hand(kitchen(sheets=[timed]))
    batch = hand.begin(0)
    hand.tick(70)
    assert phases(hand) == ["done", "active"]
    hand.give(UndoAdvance(batch), 80)
    hand.tick(1_000)
    assert phases(hand) == ["active", "waiting"]
    assert hand.run("age").awaiting_confirm
    hand.give(AdvanceStage(batch), 1_001)
    assert phases(hand) == ["done", "active"]


# --- hold, note, end, scrap ------------------------------------------------------------------------------------


def test_hold_and_resume():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    refused(hand, ResumeBatch(batch), 1, "Batch barley-1 is running, so it can't be resumed.")
    hand.give(AdvanceStage(batch), 5)
    assert hand.give(HoldBatch(batch, "telephone"), 10).accepted
    assert hand.batch().phase is BatchPhase.HELD
    refused(
        hand,
        AdvanceStage(batch),
        11,
        "Batch barley-1 is on hold, so its stages can't be advanced. Resume it first.",
    )
    refused(hand, HoldBatch(batch), 11, "Batch barley-1 is on hold, so it can't be put on hold.")
    hand.give(ResumeBatch(batch), 40)
    assert hand.run("chill").paused == 30_000
    assert hand.batch().held_since is None
    hand.give(UndoAdvance(batch), 41)
    assert hand.run("cook").paused == 30_000
    assert [e.kind for e in hand.entries] == [
        "batch.started", "stage.advanced", "batch.held", "batch.resumed", "stage.advance undone",
    ]  # fmt: skip


def test_notes():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    refused(hand, NoteBatch(batch, "  "), 1, "The note is empty; write what is to be remembered.")
    hand.give(NoteBatch(batch, " smells of toast "), 2)
    hand.give(ScrapBatch(batch, "burnt"), 3)
    assert hand.give(NoteBatch(batch, "the pan was new"), 4).accepted
    assert hand.batch().notes == ("smells of toast", "the pan was new")
    assert hand.kinds().count("batch.noted") == 2


def test_scrap():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    refused(hand, ScrapBatch(batch, " "), 1, "To scrap batch barley-1, say why: the record needs the reason.")
    hand.give(ScrapBatch(batch, "burnt"), 2)
    assert phases(hand) == ["abandoned", "skipped", "skipped"]
    assert (hand.batch().phase, hand.entries[-1].why) == (BatchPhase.SCRAPPED, "burnt")
    assert spans(hand) == [("pan", "cook", 0, 2)]
    refused(hand, ScrapBatch(batch, "again"), 3, "Batch barley-1 was scrapped, so it can't be scrapped.")
    refused(
        hand, UndoAdvance(batch), 3, "Batch barley-1 was scrapped, so its last advance can't be taken back."
    )


def test_end():
    hand = Hand(kitchen(sheets=[PLAIN]))
    batch = hand.begin(0)
    refused(
        hand,
        EndBatch(batch),
        1,
        "Batch barley-1 has not been through Chill and Age. To end it all the same, say why.",
    )
    assert (
        hand.give(EndBatch(batch, "sold warm"), 2).sentence
        == "Batch barley-1 was ended without Chill and Age."
    )
    assert phases(hand) == ["done", "skipped", "skipped"]
    hand = Hand(kitchen(sheets=[CRITICAL]))
    batch = hand.begin(0)
    hand.give(AdvanceStage(batch, why="test"), 1)
    hand.give(HoldBatch(batch), 2)
    assert (
        hand.give(EndBatch(batch), 3).sentence == "Batch barley-1 was ended. Chill ended before its target."
    )
    hand = Hand(kitchen(sheets=[CRITICAL]))
    batch = hand.begin(0)
    answer = hand.give(EndBatch(batch, "  "), 1)
    assert not answer.accepted


def test_old_finished_batches_leave_the_state_but_not_before_they_were_stored():
    hand = Hand(kitchen(sheets=[PLAIN]))
    stored = {}
    for n in range(60):
        batch = hand.begin(n * 10)
        stored[batch] = None
        hand.give(ScrapBatch(batch, "burnt"), n * 10 + 5)
    assert len(hand.state.batches) == 51
    assert hand.changed["batch/barley-1"] is None
    assert "barley-60" in hand.state.batches
    once = Hand(kitchen(sheets=[PLAIN]))
    events = []
    for n in range(60):
        events.append(CommandGiven(at(n * 10), start(("pan", "pan")), ADA))
        events.append(CommandGiven(at(n * 10 + 5), ScrapBatch(BatchId(f"barley-{n + 1}"), "burnt"), ADA))
    once.feed(*events)
    assert once.changed["batch/barley-1"].phase is BatchPhase.SCRAPPED


# --- correcting a begin ----------------------------------------------------------------------------------------


def tapped_late():
    hand = Hand(kitchen(sheets=[CRITICAL]))
    batch = hand.begin(0)
    hand.ramp("pan", 1, [83.0] * 20)
    hand.give(AdvanceStage(batch), 600)
    hand.ramp("pan", 601, [5.0, 5.0, 5.0, 5.0])
    return hand, batch


def test_a_late_tap_is_corrected():
    hand, batch = tapped_late()
    answer = hand.give(RetimeStage(batch, StageId("chill"), at(30), "tapped ten minutes late"), 700)
    assert answer.accepted
    assert spans(hand) == [("pan", "cook", 0, 30), ("pan", "chill", 30, None)]
    assert (hand.run("cook").ended, hand.run("chill").began) == (at(30), at(30))
    entry = hand.entries[-1]
    assert (entry.kind, entry.why) == ("stage.retimed", "tapped ten minutes late")
    assert dict(entry.facts) == {"from": at(600), "to": at(30)}
    refused(hand, UndoAdvance(batch), 701, "There is no advance of batch barley-1 to take back.")


def test_a_tap_too_early_is_corrected_and_what_was_found_before_is_dropped():
    hand, batch = tapped_late()
    assert hand.run("chill").reached_at is not None
    hand.give(RetimeStage(batch, StageId("chill"), at(650), ""), 700)
    run = hand.run("chill")
    assert (run.reached_at, run.hold_met_at, run.in_band_since, run.in_band_last) == (None, None, None, None)
    assert spans(hand) == [("pan", "cook", 0, 650), ("pan", "chill", 650, None)]


def test_the_first_stage_takes_the_batch_with_it():
    hand, batch = tapped_late()
    hand.give(RetimeStage(batch, StageId("cook"), at(-300), ""), 700)
    assert hand.batch().began == at(-300)
    assert spans(hand)[0] == ("pan", "cook", -300, 600)
    hand.give(RetimeStage(batch, StageId("cook"), at(200), ""), 701)
    assert hand.batch().began == at(200)


@pytest.mark.parametrize(
    ("stage_id", "began", "words"),
    [
        ("fry", 1, 'Batch barley-1 has no stage "fry". Its stages: cook, chill.'),
        ("chill", 600, "Chill began just then already; nothing was changed."),
        ("chill", 701, "Chill can't have begun as late as that: it was over by then, or it lies ahead."),
        ("cook", 600, "Cook can't have begun as late as that: it was over by then, or it lies ahead."),
        (
            "chill",
            0,
            "Chill can't have begun as early as that: Cook before it would have had no time at all.",
        ),
        ("cook", -90_000, "Cook can't be said to have begun more than a day before it was tapped."),
    ],
)
def test_a_correction_that_is_refused(stage_id, began, words):
    hand, batch = tapped_late()
    refused(hand, RetimeStage(batch, StageId(stage_id), at(began), ""), 700, words)


def test_a_begin_that_has_not_been_or_belongs_to_another_batch():
    hand = Hand(kitchen(sheets=[PLAIN]))
    first = hand.begin(0)
    refused(
        hand,
        RetimeStage(first, StageId("age"), at(0), ""),
        1,
        "Age has not begun yet, so there is no begin to correct.",
    )
    hand.give(ScrapBatch(first, "burnt"), 100)
    second = hand.begin(200)
    refused(
        hand,
        RetimeStage(second, StageId("cook"), at(50), ""),
        201,
        "Cook can't have begun as early as that: probe Pan still belonged to batch barley-1.",
    )
    assert hand.give(RetimeStage(second, StageId("cook"), at(100), ""), 202).accepted


def test_a_stage_begun_on_its_own_can_not_come_before_its_batch():
    both = sheet(
        stage("warm"),
        stage("portion", role="base"),
        stage("rest", role="base", after=("portion",)),
        roles=("pan", "base"),
    )
    hand = Hand(kitchen(sheets=[both]))
    batch = hand.begin(0, pan="pan", base="base")
    hand.give(AdvanceStage(batch, StageId("portion")), 10)
    hand.give(UndoAdvance(batch), 11)
    hand.give(AdvanceStage(batch, StageId("portion")), 20)
    run = hand.run("rest")
    assert run.phase is StagePhase.ACTIVE
    later = hand.give(RetimeStage(batch, StageId("portion"), at(5), ""), 30)
    assert later.accepted
    refused(
        hand,
        RetimeStage(batch, StageId("portion"), at(-5), ""),
        31,
        "Portion can't have begun before the batch did.",
    )
    assert hand.give(RetimeStage(batch, StageId("portion"), at(3), ""), 32).accepted
