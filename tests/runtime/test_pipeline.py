"""The pipeline: nothing is acknowledged before it is on disk, and whatever happens the kitchen is watched."""

from __future__ import annotations

import itertools
import sqlite3
import threading
import time
from contextlib import closing
from dataclasses import replace

import pytest

from rimekeeper.core.commit import CallState, Commit
from rimekeeper.core.errors import EdgeError, StoreError, StoreFullError
from rimekeeper.core.messages import Acknowledge, ClockStepped, CommandGiven, NoteBatch, StartBatch
from rimekeeper.core.model import (
    BatchId,
    Delivery,
    Health,
    Instant,
    ProbeId,
    Rejected,
    RoleId,
    SheetId,
    SourceState,
)
from rimekeeper.core.plan import RolePlan, SheetPlan, StageKind, StagePlan
from rimekeeper.runtime.clock import EventClock, SystemClock
from support.parts import (
    ADA,
    BROKER,
    NOON,
    CountedReceipt,
    Daemon,
    HandClock,
    delivery,
    kinds,
    plan,
    reading,
    sample,
)
from support.small_engine import SmallEngine

START = StartBatch(SheetId("barley"), ((RoleId("pan"), ProbeId("pan")),), lot="L7")


@pytest.fixture
def daemon(tmp_path):
    with Daemon(tmp_path) as running:
        yield running


class TestAcknowledging:
    def test_a_receipt_is_settled_when_the_reading_is_on_disk_and_not_before(self, daemon):
        receipt = CountedReceipt(look=daemon.values)
        daemon.give(delivery(sample("pan", 71.5, NOON), receipt=receipt))
        assert receipt.settled == 0
        daemon.pipeline.turn()
        assert (receipt.settled, receipt.seen) == (1, [71.5])
        daemon.pipeline.turn()
        assert receipt.settled == 1

    def test_a_message_with_nothing_of_use_is_settled_too(self, daemon):
        unknown, garbage = CountedReceipt(), CountedReceipt()
        daemon.give(
            delivery(sample("kettle", 99.0, NOON), receipt=unknown),
            Delivery(BROKER, (), (Rejected(BROKER, NOON, "??", "not a number"),), receipt=garbage),
        )
        daemon.pipeline.turn()
        daemon.pipeline.turn()
        assert (unknown.settled, garbage.settled) == (1, 1)

    def test_a_message_delivered_again_is_known_across_a_restart(self, tmp_path):
        with Daemon(tmp_path) as daemon:
            daemon.give(delivery(sample("pan", 71.5, NOON), receipt=CountedReceipt(), token="7:ab"))
            daemon.pipeline.turn()
        with Daemon(tmp_path, clock=HandClock(NOON + 9_000)) as daemon:
            again = CountedReceipt()
            daemon.give(
                delivery(sample("pan", 71.5, NOON + 9_000), receipt=again, token="7:ab", again=True),
                delivery(
                    sample("pan", 72.0, NOON + 9_001), receipt=CountedReceipt(), token="8:ab", again=True
                ),
                delivery(
                    sample("pan", 72.0, NOON + 9_002), receipt=CountedReceipt(), token="8:ab", again=True
                ),
                delivery(sample("pan", 71.5, NOON + 9_003), receipt=CountedReceipt(), token="7:ab"),
            )
            daemon.pipeline.turn()
            assert daemon.values() == [71.5, 72.0, 71.5]
            assert again.settled == 1
            tally = daemon.pipeline.glance().tallies[BROKER]
            assert (tally.messages, tally.samples, tally.stored, tally.duplicates) == (4, 4, 2, 2)

    def test_an_edge_that_breaks_its_promise_stops_nobody(self, daemon):
        class Bad:
            def settle(self):
                raise OSError("gone")

        good = CountedReceipt()
        daemon.give(
            delivery(sample("pan", 1.0, NOON), receipt=Bad()),
            delivery(sample("pan", 2.0, NOON), receipt=good),
        )
        daemon.pipeline.turn()
        assert good.settled == 1


class TestWhatScreensSee:
    def test_state_tallies_and_channels(self, daemon):
        daemon.give(delivery(sample("pan", 71.5, NOON), sample("kettle", 99.0, NOON)))
        daemon.inbox.report(SourceState(BROKER, NOON, Health.NORMAL))
        daemon.pipeline.turn()
        glance = daemon.pipeline.glance()
        assert glance.state.probes[ProbeId("pan")].celsius == 71.5
        tally = glance.tallies[BROKER]
        assert (tally.samples, tally.stored, tally.unknown) == (2, 1, 1)
        assert [(s.channel, s.value, s.probe, s.count) for s in glance.seen] == [
            ("kettle", 99.0, None, 1),
            ("pan", 71.5, "pan", 1),
        ]
        assert (glance.pulse.last_commit, glance.pulse.last_reading) == (NOON, NOON)
        assert glance.pulse.readings_stored == 1
        assert daemon.reader.probe_ids() == ("pan",)

    def test_unknown_channels_are_bounded_and_known_ones_always_listed(self, daemon):
        for n in range(700):
            daemon.give(delivery(sample(f"x{n}", 1.0, NOON)))
        daemon.give(delivery(sample("pan", 1.0, NOON)))
        daemon.pipeline.turn()
        seen = daemon.pipeline.glance().seen
        assert len(seen) == 501
        assert "pan" in {s.channel for s in seen}
        assert daemon.pipeline.glance().tallies[BROKER].unknown == 700

    def test_newer_views_can_be_waited_for(self, daemon):
        version = daemon.pipeline.glance().version
        assert daemon.pipeline.wait_newer(version, 0.01) is None
        threading.Timer(0.05, daemon.pipeline.turn).start()
        assert daemon.pipeline.wait_newer(version, 5.0).version == version + 1

    def test_listeners_hear_after_the_commit_and_can_not_break_it(self, daemon):
        heard = []

        def fails(glance, outcomes):
            raise ValueError("a screen is gone")

        daemon.pipeline.listeners += [
            fails,
            lambda glance, outcomes: heard.append((glance.version, [type(o).__name__ for o in outcomes])),
        ]
        daemon.give(delivery(sample("pan", 20.0, NOON)))
        daemon.pipeline.turn()
        assert heard == [(2, ["ReadingMade"])]

    def test_prompts_are_kept_for_voice_and_screen(self, daemon):
        for _ in range(25):
            daemon.pipeline.submit(START, ADA)
        daemon.pipeline.turn()
        prompts = daemon.pipeline.glance().prompts
        assert len(prompts) == 20
        assert prompts[-1].batch == "barley-25"


class TestCommands:
    def test_accepted_when_on_disk(self, daemon):
        answer = daemon.pipeline.submit(START, ADA)
        assert not answer.done()
        daemon.pipeline.turn()
        assert answer.result(0).accepted
        assert daemon.reader.batch(BatchId("barley-1")).lot == "L7"
        assert daemon.reader.spans(BatchId("barley-1"))[0].probe == "pan"

    def test_refused_with_the_engines_words(self, daemon):
        answer = daemon.pipeline.submit(Acknowledge("oven"), ADA)
        daemon.pipeline.turn()
        assert (answer.result(0).accepted, answer.result(0).sentence) == (False, "There is no alarm 'oven'")

    def test_from_another_thread(self, tmp_path):
        with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
            daemon.pipeline.start()
            assert daemon.pipeline.command(START, ADA).batch == "barley-1"
            assert daemon.pipeline.stop()
            assert kinds(daemon.reader.entries()) == ["daemon.started", "batch.started", "daemon.stopped"]

    def test_nobody_answers(self, daemon):
        with pytest.raises(EdgeError, match=r"no answer within 0.05 s; look at the screen"):
            daemon.pipeline.command(START, ADA, timeout=0.05)


class TestBadEvents:
    def test_one_that_breaks_the_engine_is_set_aside_and_the_others_count(self, daemon):
        receipts = [CountedReceipt() for _ in range(9)]
        for n, receipt in enumerate(receipts):
            daemon.give(delivery(sample("pan", 666 if n == 4 else n, NOON + n), receipt=receipt))
        daemon.pipeline.turn()
        assert daemon.values() == [0, 1, 2, 3, 5, 6, 7, 8]
        daemon.pipeline.turn()
        assert [r.settled for r in receipts] == [1] * 9
        (entry,) = daemon.reader.entries(kinds=["fault.set aside"])
        assert entry.subject == "pan"
        assert entry.facts["fault"] == "RuntimeError: a fault in the engine"

    def test_one_that_no_store_can_write_is_found_and_set_aside(self, daemon):
        receipts = [CountedReceipt() for _ in range(6)]
        for n, receipt in enumerate(receipts):
            daemon.give(
                delivery(sample("pan", n, NOON + n), receipt=receipt, token=f"{n}:x"),
            )
            if n == 2:
                good = daemon.pipeline.submit(NoteBatch(BatchId("b"), "thick"), ADA)
                bad = daemon.pipeline.submit(NoteBatch(BatchId("b"), "a lone \ud800"), ADA)
        daemon.pipeline.turn()
        daemon.pipeline.turn()
        assert daemon.values() == [0, 1, 2, 3, 4, 5]
        assert [r.settled for r in receipts] == [1] * 6
        assert good.result(0).accepted
        assert not bad.result(0).accepted
        assert "nothing was changed" in bad.result(0).sentence
        assert [e.sentence for e in daemon.reader.entries(kinds=["batch.noted"])] == ["thick"]
        assert len(daemon.store.recollect().tokens[BROKER]) == 6
        assert daemon.reader.verify_chain() is None

    def test_a_token_that_can_not_be_written_costs_no_reading(self, daemon):
        receipt = CountedReceipt()
        daemon.give(delivery(sample("pan", 1.0, NOON), receipt=receipt, token="\ud800"))
        daemon.pipeline.turn()
        daemon.pipeline.turn()
        assert daemon.values() == [1.0]
        assert receipt.settled == 1

    def test_an_instant_beyond_what_can_be_stored(self, daemon):
        daemon.give(delivery(sample("pan", 1.0, NOON, taken=10**30)), delivery(sample("pan", 2.0, NOON)))
        daemon.pipeline.turn()
        assert daemon.values() == [2.0]


class TestStartingAgain:
    def test_the_record_says_what_was_missed(self, tmp_path):
        with Daemon(tmp_path) as daemon:
            daemon.pipeline.turn()
        with Daemon(tmp_path, clock=HandClock(NOON + 483_000)) as daemon:
            daemon.pipeline.turn()
            assert [e.sentence for e in daemon.reader.entries()] == [
                "Rimekeeper started for the first time on this data folder",
                (
                    "Rimekeeper started; it was not watching from 2026-11-25 10:00:00 +0000 "
                    "to 2026-11-25 10:08:03 +0000 (8 min 3 s)"
                ),
            ]
            assert [(s.at, s.watched_until) for s in daemon.engine.started] == [(NOON + 483_000, NOON)]

    def test_a_clock_set_back_meanwhile_moves_the_state_along(self, tmp_path):
        with Daemon(tmp_path) as daemon:
            daemon.pipeline.turn()
        with Daemon(tmp_path, clock=HandClock(NOON - 3_600_000)) as daemon:
            daemon.pipeline.turn()
            assert daemon.engine.stepped == [ClockStepped(NOON - 3_600_000, -3_600_000)]
            assert daemon.engine.started[0].watched_until == NOON - 3_600_000
            assert "for how long it was not watching is unknown" in daemon.reader.entries()[0].sentence

    def test_batch_alarm_and_call_are_as_they_were(self, tmp_path):
        with Daemon(tmp_path) as daemon:
            daemon.pipeline.submit(START, ADA)
            daemon.give(delivery(sample("pan", 120.0, NOON)))
            daemon.pipeline.turn()
            before = daemon.pipeline.glance().state
        with Daemon(tmp_path) as daemon:
            after = daemon.pipeline.glance().state
            assert (after.batches, after.alarms, after.probes) == (
                before.batches,
                before.alarms,
                before.probes,
            )
            assert [w.call.id for w in daemon.pipeline.waiting_calls()] == ["c1"]
            answer = daemon.pipeline.submit(Acknowledge("warm/pan"), ADA)
            daemon.pipeline.turn()
            assert answer.result(0).accepted
            assert daemon.pipeline.waiting_calls() == ()
            assert daemon.reader.calls()[0].state is CallState.SUPERSEDED

    def test_courses_are_warmed_from_the_stages_under_way(self, tmp_path):
        stage = StagePlan(type(RoleId("x"))("cook"), "Cook", StageKind.COOK, RoleId("pan"))
        sheet = SheetPlan(SheetId("barley"), "Barley", (RolePlan(RoleId("pan"), "pan"),), (stage,))
        plan_ = replace(plan("pan", "base"), sheets={sheet.id: sheet})
        with Daemon(tmp_path, plan_) as daemon:
            daemon.give(delivery(sample("pan", 1.0, NOON - 5_000)))
            daemon.pipeline.turn()
            daemon.pipeline.submit(START, ADA)
            daemon.pipeline.turn()
            for n in range(3):
                daemon.give(delivery(sample("pan", 10.0 + n, NOON + n), sample("base", 4.0, NOON + n)))
            daemon.pipeline.turn()
        with Daemon(tmp_path, plan_, clock=HandClock(NOON + 9_000)) as daemon:
            assert [r.raw for r in daemon.engine.warmed] == [10.0, 11.0, 12.0]


class TestSleeping:
    def test_a_machine_that_slept_is_like_a_daemon_that_was_off(self, tmp_path):
        slept = threading.Event()
        with Daemon(
            tmp_path,
            clock=SystemClock(),
            steady=time.monotonic,
            awake=lambda: time.monotonic() + (7_200 if slept.is_set() else 0),
        ) as daemon:
            daemon.pipeline.start()
            time.sleep(0.1)
            slept.set()
            daemon.inbox.wake()
            time.sleep(0.3)
            daemon.pipeline.stop()
            first, second = daemon.engine.started
            assert first.watched_until is None
            assert second.at - second.watched_until == pytest.approx(7_200_000, abs=2_000)
            said = [entry.sentence for entry in daemon.reader.entries() if entry.kind == "daemon.slept"]
            assert len(said) == 1
            assert said[0].startswith("This machine slept; Rimekeeper was not watching from ")
            assert "(2 h" in said[0]


class TestHistory:
    def test_is_written_between_turns_without_calling_anybody(self, daemon):
        done = daemon.pipeline.import_history(
            Commit(readings=(reading("pan", NOON - 10**9, 5.0),), watched_until=Instant(5))
        )
        assert done.stored == 1
        assert daemon.values() == [5.0]
        assert daemon.store.recollect().watched_until == NOON

    def test_a_fault_belongs_to_who_asked(self, daemon):
        daemon.pipeline.submit(START, ADA)
        daemon.pipeline.turn()
        live = daemon.reader.batch(BatchId("barley-1"))
        with pytest.raises(StoreError, match="history brings a batch"):
            daemon.pipeline.import_history(Commit(batches=(live,)))
        daemon.give(delivery(sample("pan", 1.0, NOON)))
        daemon.pipeline.turn()
        assert daemon.values() == [1.0]

    def test_beside_a_running_pipeline(self, tmp_path):
        with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
            daemon.pipeline.start()
            for n in range(5):
                daemon.pipeline.import_history(
                    Commit(readings=tuple(reading("pan", n * 1_000 + k, 1.0) for k in range(1_000)))
                )
            daemon.pipeline.set_backfill("5 of 5 days")
            daemon.pipeline.stop()
            assert len(daemon.values()) == 5_000
            assert daemon.pipeline.glance().backfill == "5 of 5 days"


class TestIdle:
    def test_an_idle_kitchen_is_written_down_now_and_then(self, daemon):
        daemon.pipeline.turn()
        for _ in range(50):
            daemon.clock.on(100)
            daemon.pipeline.turn()
        assert daemon.pipeline.glance().pulse.last_commit == NOON
        daemon.steady.at += 11
        daemon.pipeline.turn()
        assert daemon.pipeline.glance().pulse.last_commit == NOON + 5_000
        assert daemon.store.recollect().watched_until == NOON + 5_000

    def test_a_deadline_wakes_it(self, tmp_path):
        engine = SmallEngine()
        with Daemon(
            tmp_path, replace(plan(), tick_grace=0), clock=SystemClock(), steady=time.monotonic, engine=engine
        ) as daemon:
            engine.deadline = Instant(daemon.clock.now() + 150)
            turns = []
            daemon.pipeline.listeners.append(lambda glance, _: turns.append(glance.at))
            daemon.pipeline.start()
            time.sleep(0.5)
            daemon.pipeline.stop()
        assert any(engine.deadline <= at < engine.deadline + 150 for at in turns)


class TestTrouble:
    """Faults of the store, made by a keeper that fails; tests/faults has the real ones."""

    def broken(self, daemon, fault=None):
        real = daemon.store.commit
        fault = fault or StoreFullError("there is no space left for it")

        def fail(commit):
            raise fault

        daemon.store.commit = fail
        return lambda: setattr(daemon.store, "commit", real)

    def test_nothing_is_acknowledged_the_kitchen_is_watched_and_it_is_said(self, daemon):
        daemon.pipeline.turn()
        mend = self.broken(daemon)
        receipt = CountedReceipt()
        daemon.give(delivery(sample("pan", 120.0, NOON), receipt=receipt))
        daemon.pipeline.turn()
        glance = daemon.pipeline.glance()
        assert glance.pulse.store_trouble == "there is no space left for it"
        assert glance.state.probes[ProbeId("pan")].celsius == 120.0
        assert [a.where for a in glance.state.alarms.values()] == ["pan"]
        assert [w.call.id for w in daemon.pipeline.waiting_calls()] == ["c1"]
        assert receipt.settled == 0
        with pytest.raises(EdgeError, match="so it was not done: there is no space left"):
            daemon.pipeline.command(START, ADA)
        mend()
        daemon.steady.at += 10
        daemon.pipeline.turn()
        assert receipt.settled == 1
        assert daemon.pipeline.glance().pulse.store_trouble == ""
        assert daemon.values() == [120.0]
        assert [c.call.id for c in daemon.reader.calls()] == ["c1"]

    def test_retries_back_off(self, daemon):
        tries = []

        def fail(commit):
            tries.append(daemon.steady.at)
            raise StoreFullError("full")

        daemon.store.commit = fail
        for _ in range(400):
            daemon.pipeline.turn()
            daemon.steady.at += 0.05
        assert tries[0] == 0
        assert [round(b - a, 1) for a, b in itertools.pairwise(tries)] == pytest.approx(
            [0.25, 0.5, 1.0, 2.0, 4.0, 5.0, 5.0], abs=0.1
        )

    def test_memory_stays_bounded_and_the_edge_is_refused(self, daemon):
        self.broken(daemon)
        refused = 0
        for n in range(120):
            refused += not daemon.inbox.deliver(
                delivery(*(sample("pan", 1.0, NOON + n) for _ in range(500)), receipt=CountedReceipt())
            )
            daemon.pipeline.turn()
        assert daemon.pipeline.glance().pulse.backlog <= 45_000
        assert refused > 30

    def test_in_its_thread_it_waits_while_full_and_goes_on_when_mended(self, tmp_path):
        with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
            mend = self.broken(daemon)
            daemon.pipeline.start()
            receipts = [CountedReceipt() for _ in range(30)]
            waiting = list(receipts)
            ends = time.monotonic() + 10
            while waiting and time.monotonic() < ends:
                samples = [sample("pan", 1.0, daemon.clock.now()) for _ in range(1_000)]
                if daemon.inbox.deliver(delivery(*samples, receipt=waiting[0])):
                    waiting.pop(0)
                else:
                    time.sleep(0.01)
            time.sleep(0.3)
            assert daemon.pipeline.glance().pulse.store_trouble
            assert daemon.pipeline.glance().pulse.alive
            assert not any(r.settled for r in receipts)
            mend()
            ends = time.monotonic() + 15
            while daemon.pipeline.glance().pulse.readings_stored < 30_000 and time.monotonic() < ends:
                time.sleep(0.05)
            assert daemon.pipeline.stop()
            assert [r.settled for r in receipts] == [1] * 30
            assert len(daemon.values()) == 30_000

    def test_a_fault_of_ours_in_a_turn_does_not_end_the_thread(self, tmp_path, monkeypatch, caplog):
        with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
            turns = []
            real = daemon.pipeline.turn

            def turn():
                turns.append(1)
                if len(turns) == 1:
                    raise ValueError("ours")
                return real()

            monkeypatch.setattr(daemon.pipeline, "turn", turn)
            daemon.pipeline.start()
            assert daemon.pipeline.command(START, ADA).accepted
            daemon.pipeline.stop()
        assert "a fault in the pipeline; it goes on" in caplog.text

    def test_it_ends_when_told_even_in_trouble(self, tmp_path):
        with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
            self.broken(daemon)
            daemon.pipeline.start()
            daemon.give(delivery(sample("pan", 1.0, NOON), receipt=CountedReceipt()))
            assert daemon.pipeline.stop(8.0)


def replay_day(folder, size):
    """A day of two probes with alarms and commands, in groups of ``size`` deliveries."""
    with Daemon(folder, plan("pan", "base"), clock=EventClock()) as daemon:
        for n in range(2_000):
            daemon.give(
                delivery(
                    sample("pan", 120.0 if n % 500 == 250 else n % 70, NOON + n * 1_000),
                    sample("base", 4.0, NOON + n * 1_000 - 300),
                )
            )
            if n % 700 == 699:
                daemon.inbox.put(CommandGiven(Instant(NOON + n * 1_000), Acknowledge("warm/pan"), ADA))
            if n % size == 0:
                daemon.pipeline.turn()
        daemon.pipeline.turn()
        with closing(sqlite3.connect(daemon.store.database)) as file:
            return {
                table: file.execute(f"SELECT * FROM {table}").fetchall()
                for table in ("readings", "entries", "alarms", "slots", "outbox", "spans", "batches")
            }


def test_the_same_day_in_groups_of_any_size_is_the_same(tmp_path):
    days = [replay_day(tmp_path / str(size), size) for size in (1, 7, 1_000)]
    assert len(days[0]["readings"]) == 4_000
    assert len(days[0]["alarms"]) == 3
    assert days[0] == days[1] == days[2]
