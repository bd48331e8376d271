"""The writer: all of a turn or nothing of it, each reading once, nothing of the record ever changed."""

from __future__ import annotations

import math
import sqlite3
import threading
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.alarms.slot import AlarmPhase, AlarmSlot
from rimekeeper.core.commit import CallResult, CallState, Commit, Token
from rimekeeper.core.errors import StoreError
from rimekeeper.core.messages import AlarmMove, AlarmMoved, CallKind, CallOwed, Span, SpansSet
from rimekeeper.core.model import (
    Actor,
    BatchId,
    ChannelId,
    Entry,
    Instant,
    PersonId,
    ProbeId,
    Quality,
    Reason,
    RoleId,
    SheetId,
    StageId,
)
from rimekeeper.core.plan import Priority
from rimekeeper.core.sensing.calibration.record import (
    Calibration,
    CalibrationPoint,
    Correction,
    Method,
    PlungeTest,
    Written,
)
from rimekeeper.core.state import (
    BatchPhase,
    BatchSlot,
    ClockSlot,
    ProbeSlot,
    SourceSlot,
    StagePhase,
    StageRun,
    WatchPhase,
    WatchSlot,
)
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from support.parts import ADA, BROKER, NOON, reading

ALL_TIME = (Instant(0), Instant(2**60))


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path) as opened:
        yield opened


@pytest.fixture
def reader(store):
    return Reader(store.database)


def alarm(name="a1", key="walk-in/ceiling", **more):
    return AlarmSlot(
        key=key,
        alarm_id=name,
        phase=AlarmPhase.UNACKNOWLEDGED,
        priority=Priority.HIGH,
        where="Walk-in",
        what="too warm",
        action="look at the door",
        raised_at=NOON,
        began=Instant(NOON - 60_000),
        celsius=-9.0,
        **more,
    )


def call(name="c1", alarm_id="a1", kind=CallKind.RAISED, at=NOON):
    return CallOwed(
        id=name,
        at=Instant(at),
        kind=kind,
        alarm_key="walk-in/ceiling",
        alarm_id=alarm_id,
        priority=Priority.HIGH,
        person=PersonId("ada"),
        channel=ChannelId("mail"),
        where="Walk-in",
        what="too warm",
        since=NOON,
        celsius=-9.0,
        limit_celsius=-15.0,
        action="look at the door",
        step=1,
    )


def batch(name="barley-1", began=NOON, phase=BatchPhase.RUNNING, **more):
    return BatchSlot(
        BatchId(name),
        SheetId("barley"),
        "L7",
        phase,
        Instant(began),
        ((RoleId("pan"), ProbeId("pan")),),
        (StageRun(StageId("cook"), StagePhase.ACTIVE, began=Instant(began)),),
        **more,
    )


def entry(sentence="Something", kind="batch.noted", at=NOON, **more):
    return Entry(Instant(at), kind, ADA, sentence, **more)


class TestReadings:
    def test_comes_back_as_it_went_in(self, store, reader):
        given_ = (
            reading("pan", NOON, 71.5),
            reading("pan", NOON + 1, 159.8, celsius=71.0, arrived=NOON + 900),
            reading("pan", NOON + 2, math.nan, celsius=None, quality=Quality.BAD, reason=Reason.NOT_A_NUMBER),
            reading("pan", NOON + 3, math.inf, celsius=None, quality=Quality.BAD, reason=Reason.OUT_OF_RANGE),
            reading("pan", NOON + 4, 1e308, celsius=None, quality=Quality.BAD, reason=Reason.OUT_OF_RANGE),
            reading(
                "pan",
                NOON + 5,
                85.0,
                quality=Quality.UNCERTAIN,
                reason=Reason.SENSOR_CODE,
                late=True,
                arrived=NOON + 9_000,
            ),
        )
        assert store.commit(Commit(readings=given_)).stored == 6
        back = list(reader.past_readings(ProbeId("pan"), *ALL_TIME))
        assert math.isnan(back[2].raw)
        assert [replace(r, raw=0.0) if math.isnan(r.raw) else r for r in back] == [
            replace(r, raw=0.0) if math.isnan(r.raw) else r for r in given_
        ]

    def test_the_same_from_the_probe_twice_is_stored_once(self, store, reader):
        first = reading("pan", NOON, 20.0, arrived=NOON + 300)
        store.commit(Commit(readings=(first, reading("pan", NOON + 1_000, 21.0, arrived=NOON + 1_300))))
        done = store.commit(
            Commit(
                readings=(
                    replace(first, arrived_at=Instant(NOON + 5_000)),
                    reading("pan", NOON + 2_000, 22.0, arrived=NOON + 5_000),
                )
            )
        )
        assert (done.stored, done.duplicates, done.duplicates_by_probe) == (1, 1, {"pan": 1})
        assert [r.arrived_at - NOON for r in reader.readings(ProbeId("pan"), *ALL_TIME)] == [
            300,
            1_300,
            5_000,
        ]

    def test_dated_here_and_the_instant_is_taken_moves_on(self, store, reader):
        store.commit(Commit(readings=(reading("pan", NOON, 1.0), reading("pan", NOON + 1, 2.0))))
        done = store.commit(Commit(readings=(reading("pan", NOON, 3.0), reading("pan", NOON, 4.0))))
        assert (done.stored, done.duplicates, done.nudged) == (2, 0, 2)
        stored = list(reader.readings(ProbeId("pan"), *ALL_TIME))
        assert [(r.taken_at - NOON, r.raw, r.nudged) for r in stored] == [
            (0, 1.0, False),
            (1, 2.0, False),
            (2, 3.0, True),
            (3, 4.0, True),
        ]
        assert {r.arrived_at - NOON for r in stored[2:]} == {0}

    def test_a_flood_at_one_instant_is_kept_whole(self, store, reader):
        done = store.commit(Commit(readings=tuple(reading("pan", NOON, float(n)) for n in range(3_000))))
        assert (done.stored, done.nudged) == (3_000, 2_999)
        assert [r.raw for r in reader.readings(ProbeId("pan"), *ALL_TIME)] == [float(n) for n in range(3_000)]

    @settings(max_examples=30, deadline=None)
    @given(st.lists(st.tuples(st.integers(0, 6), st.booleans()), max_size=40), st.integers(1, 9))
    def test_nothing_dated_here_is_ever_lost(self, tmp_path_factory, arrivals, size):
        readings = [
            reading("pan", NOON + at, float(n), arrived=NOON + at + (7 if by_probe else 0))
            for n, (at, by_probe) in enumerate(arrivals)
        ]
        with Store(tmp_path_factory.mktemp("nudge")) as opened:
            done = [
                opened.commit(Commit(readings=tuple(readings[i : i + size])))
                for i in range(0, len(readings), size)
            ]
            kept = {r.raw for r in Reader(opened.database).readings(ProbeId("pan"), *ALL_TIME)}
        assert {r.raw for r in readings if r.taken_at == r.arrived_at} <= kept
        assert sum(d.stored for d in done) == len(kept)
        assert sum(d.stored + d.duplicates for d in done) == len(readings)

    def test_a_reading_takes_little_room(self, store, reader):
        for hour in range(10):
            store.commit(
                Commit(
                    readings=tuple(
                        reading(
                            "pan",
                            NOON + (hour * 3_600 + s) * 1_000,
                            round(-18 + s % 40 / 10, 1),
                            arrived=NOON + (hour * 3_600 + s) * 1_000 + 40,
                        )
                        for s in range(3_600)
                    )
                )
            )
        store.tidy()
        assert reader.counts().bytes_on_disk / 36_000 < 36  # with the empty tables


class TestAllOrNothing:
    def test_a_commit_that_fails_leaves_no_trace(self, store, reader):
        store.commit(Commit(entries=(entry("first"),)))
        before = reader.counts().readings, reader.entries(), store.recollect()
        with pytest.raises(UnicodeEncodeError):
            store.commit(
                Commit(
                    readings=(reading("new probe", NOON),),
                    changed={"clock": ClockSlot(Instant(NOON))},
                    entries=(entry("second"), entry("a lone \ud800 can't be written")),
                    tokens=(Token(BROKER, "1:a"),),
                    watched_until=NOON,
                )
            )
        assert (reader.counts().readings, reader.entries(), store.recollect()) == before
        assert reader.probe_ids() == ()
        store.commit(Commit(readings=(reading("new probe", NOON),), entries=(entry("third"),)))
        assert [e.number for e in reader.entries()] == [1, 2]
        assert reader.verify_chain() is None
        assert reader.probe_ids() == ("new probe",)

    def test_only_one_thread_writes(self, store):
        store.commit(Commit(entries=(entry(),)))
        caught = []

        def intrude():
            with pytest.raises(StoreError, match="only the pipeline's thread") as fault:
                store.commit(Commit(entries=(entry(),)))
            caught.append(fault.value)

        thread = threading.Thread(target=intrude)
        thread.start()
        thread.join()
        assert len(caught) == 1

    def test_durable_and_written_ahead(self, store):
        assert store._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert store._connection.execute("PRAGMA synchronous").fetchone() == (2,)


class TestState:
    def test_every_kind_of_slot_comes_back(self, tmp_path):
        slots = {
            "clock": ClockSlot(Instant(NOON), batches=3),
            "probe/pan": ProbeSlot(
                ProbeId("pan"), last_at=NOON, celsius=71.5, quality=Quality.UNCERTAIN, reason=Reason.JUMP
            ),
            "source/mqtt/slipway": SourceSlot(BROKER, why="refused"),
            "watch/station/walk-in/ceiling": WatchSlot(
                "station/walk-in/ceiling", WatchPhase.ENTERING, due=NOON
            ),
            "alarm/walk-in/ceiling": alarm(),
            "batch/barley-1": batch(
                spans=(Span(BatchId("barley-1"), None, RoleId("pan"), ProbeId("pan"), NOON),),
                before=(StageRun(StageId("cook")),),
                last_by=ADA,
                notes=("thick",),
            ),
        }
        with Store(tmp_path) as store:
            store.commit(Commit(changed=slots, watched_until=NOON))
        with Store(tmp_path) as store:
            back = store.recollect()
            assert dict(back.slots) == slots
            assert back.watched_until == NOON
            store.commit(Commit(changed={"alarm/walk-in/ceiling": None}))
            assert "alarm/walk-in/ceiling" not in dict(store.recollect().slots)

    def test_a_damaged_slot_is_named(self, store):
        store.commit(Commit(changed={"clock": ClockSlot()}))
        store._connection.execute('UPDATE slots SET json = \'{"now": "noon"}\'')
        with pytest.raises(StoreError, match=r"a ClockSlot that can't be read .* restore the last backup"):
            store.recollect()
        store._connection.execute("UPDATE slots SET kind = 'OvenSlot'")
        with pytest.raises(StoreError, match="unknown kind 'OvenSlot'"):
            store.recollect()

    def test_a_batch_stays_when_the_engine_forgets_it(self, store, reader):
        store.commit(Commit(changed={"batch/barley-1": batch()}))
        ended = batch(ended=Instant(NOON + 9), notes=("done",))
        store.commit(Commit(changed={"batch/barley-1": ended}))
        store.commit(Commit(changed={"batch/barley-1": None}))
        assert reader.batch(BatchId("barley-1")) == ended
        assert store.recollect().slots == ()

    def test_spans_are_replaced_as_a_whole_and_the_old_ones_stay(self, store, reader):
        name = BatchId("barley-1")
        first = (Span(name, StageId("cook"), RoleId("pan"), ProbeId("pan"), NOON),)
        second = (
            Span(name, StageId("cook"), RoleId("pan"), ProbeId("pan"), NOON, Instant(NOON + 60_000)),
            Span(name, StageId("chill"), RoleId("pan"), ProbeId("pan"), Instant(NOON + 60_000)),
        )
        store.commit(Commit(spans=(SpansSet(NOON, name, first),)))
        store.commit(Commit(spans=(SpansSet(Instant(NOON + 5), name, second),)))
        assert reader.spans(name) == second
        assert reader.span_versions(name) == ((NOON, first), (NOON + 5, second))

    def test_tokens_are_a_ring_for_each_source(self, tmp_path):
        other = type(BROKER)("mqtt/other")
        with Store(tmp_path, token_ring=4) as store:
            store.commit(Commit(tokens=tuple(Token(BROKER, str(n)) for n in range(3))))
            store.commit(Commit(tokens=(Token(other, "x"), *(Token(BROKER, str(n)) for n in range(3, 7)))))
        with Store(tmp_path, token_ring=4) as store:
            assert store.recollect().tokens == {BROKER: ("3", "4", "5", "6"), other: ("x",)}
            store.commit(Commit(tokens=(Token(BROKER, "7"),)))
            assert store.recollect().tokens[BROKER] == ("4", "5", "6", "7")


class TestRecord:
    def test_the_chain_holds_and_a_change_shows(self, store, reader):
        store.commit(
            Commit(
                entries=tuple(
                    entry(f"Nr {n}: né à côté", facts=(("celsius", 71.5), ("ok", True), ("lot", None)))
                    for n in range(5)
                )
            )
        )
        assert reader.verify_chain() is None
        found = reader.entries()
        assert [e.number for e in found] == [1, 2, 3, 4, 5]
        assert found[2].facts == {"celsius": 71.5, "ok": True, "lot": None}
        assert found[2].actor == Actor("Ada", "web page")
        store._connection.execute("DROP TRIGGER entries_stay")
        store._connection.execute("UPDATE entries SET sentence = 'all was well' WHERE number = 3")
        assert reader.verify_chain() == 3

    def test_a_missing_entry_shows(self, store, reader):
        store.commit(Commit(entries=tuple(entry(str(n)) for n in range(4))))
        store._connection.execute("DROP TRIGGER entries_remain")
        store._connection.execute("DELETE FROM entries WHERE number = 2")
        assert reader.verify_chain() == 2

    @pytest.mark.parametrize("change", ["UPDATE entries SET why = 'because'", "DELETE FROM entries"])
    def test_the_file_itself_refuses_changes(self, store, change):
        store.commit(Commit(entries=(entry(),)))
        with pytest.raises(sqlite3.IntegrityError, match="an entry of the record is never"):
            store._connection.execute(change)

    def test_the_chain_goes_on_after_a_restart(self, tmp_path):
        for word in ("one", "two"):
            with Store(tmp_path) as store:
                store.commit(Commit(entries=(entry(word),)))
        reader = Reader(tmp_path / "rimekeeper.db")
        assert [e.sentence for e in reader.entries()] == ["one", "two"]
        assert reader.verify_chain() is None


class TestAlarmsAndCalls:
    def raised(self, store):
        store.commit(Commit(alarms=(AlarmMoved(NOON, AlarmMove.RAISED, alarm()),), calls=(call(),)))

    def test_an_alarm_and_its_call_are_there_together(self, store, reader):
        self.raised(store)
        (stored,) = reader.alarms(*ALL_TIME)
        assert (stored.alarm, stored.closed) == (alarm(), False)
        (owed,) = reader.waiting_calls()
        assert (owed.call, owed.due, owed.attempts) == (call(), NOON, 0)

    def test_what_the_engine_learns_later_is_kept_and_a_closed_one_stays_as_it_was(self, store, reader):
        self.raised(store)
        worse = alarm(worst=-2.0, calls_made=2)
        store.commit(Commit(changed={"alarm/walk-in/ceiling": worse}))
        assert reader.alarms(*ALL_TIME)[0].alarm == worse
        over = replace(worse, acknowledged_at=Instant(NOON + 5), returned_at=Instant(NOON + 9))
        store.commit(
            Commit(
                alarms=(AlarmMoved(Instant(NOON + 9), AlarmMove.CLOSED, over),),
                changed={"alarm/walk-in/ceiling": None},
            )
        )
        store.commit(Commit(changed={"alarm/walk-in/ceiling": alarm("a2")}))
        assert [(a.alarm.alarm_id, a.closed_at) for a in reader.alarms(*ALL_TIME)] == [
            ("a1", NOON + 9),
            ("a2", None),
        ]
        assert reader.alarms(*ALL_TIME)[0].alarm == over

    def test_an_acknowledge_takes_back_what_was_not_sent(self, store, reader):
        self.raised(store)
        store.commit(
            Commit(
                calls=(
                    call("c2", kind=CallKind.REPEAT),
                    call("c3", kind=CallKind.RETURNED),
                    call("c4", "a9"),
                ),
                alarms=(AlarmMoved(NOON, AlarmMove.ACKNOWLEDGED, alarm()),),
            )
        )
        assert {c.call.id: c.state for c in reader.calls()} == {
            "c1": CallState.SUPERSEDED,
            "c2": CallState.SUPERSEDED,
            "c3": CallState.WAITING,
            "c4": CallState.WAITING,
        }

    def test_what_became_of_attempts(self, store, reader):
        self.raised(store)
        later = Instant(NOON + 5_000)
        store.commit(Commit(results=(CallResult("c1", CallState.WAITING, NOON, later, "no route"),)))
        (owed,) = reader.waiting_calls()
        assert (owed.due, owed.attempts) == (later, 1)
        assert reader.call_counts() == (1, 0, "no route")
        store.commit(Commit(results=(CallResult("c1", CallState.DELIVERED, later, later),)))
        (sent,) = reader.calls("a1")
        assert (sent.state, sent.attempts, sent.delivered_at, sent.last_error) == (
            CallState.DELIVERED,
            2,
            later,
            "",
        )
        assert reader.waiting_calls() == ()

    def test_delivered_after_it_was_superseded_counts_and_a_failure_does_not(self, store, reader):
        self.raised(store)
        store.commit(Commit(calls=(call("c2"),), alarms=(AlarmMoved(NOON, AlarmMove.ACKNOWLEDGED, alarm()),)))
        store.commit(
            Commit(
                results=(
                    CallResult("c1", CallState.DELIVERED, NOON, NOON),
                    CallResult("c2", CallState.WAITING, NOON, NOON, "no route"),
                )
            )
        )
        assert {c.call.id: c.state for c in reader.calls()} == {
            "c1": CallState.DELIVERED,
            "c2": CallState.SUPERSEDED,
        }


class TestHistory:
    def test_is_stored_but_nobody_is_called_and_ids_do_not_meet(self, store, reader):
        store.commit(Commit(alarms=(AlarmMoved(NOON, AlarmMove.RAISED, alarm()),), calls=(call(),)))
        past = replace(alarm(), raised_at=Instant(NOON - 10**9), began=Instant(NOON - 10**9))
        store.commit(
            Commit(
                readings=(reading("pan", NOON - 10**9),),
                batches=(batch("barley-0", began=NOON - 10**9),),
                alarms=(AlarmMoved(past.raised_at, AlarmMove.RAISED, past),),
                calls=(call(at=NOON - 10**9),),
                watched_until=Instant(NOON - 10**9),
                from_history=True,
            )
        )
        assert {c.call.id: c.state for c in reader.calls()} == {
            "c1": CallState.WAITING,
            "h-c1": CallState.HISTORY,
        }
        assert [a.alarm.alarm_id for a in reader.alarms(*ALL_TIME)] == ["h-a1", "a1"]
        assert reader.batch(BatchId("barley-0")) is not None
        assert store.recollect().watched_until is None

    def test_may_not_touch_a_batch_of_the_present(self, store, reader):
        store.commit(Commit(changed={"batch/barley-1": batch()}))
        with pytest.raises(StoreError, match="history brings a batch 'barley-1'"):
            store.commit(Commit(readings=(reading("pan", 5),), batches=(batch(began=5),), from_history=True))
        assert reader.batch(BatchId("barley-1")) == batch()
        assert reader.counts().readings == 0


def test_tidy_finds_a_sound_file(store):
    store.commit(Commit(entries=(entry(),)))
    assert store.tidy() == ""


def test_a_calibration_is_written_once_and_never_changed(tmp_path):
    point = CalibrationPoint(Method.ICE, 0.0, 0.03, 0.3, 0.02, 60, Written(NOON - 90_000), Written(NOON))
    made = Calibration(
        1, ProbeId("pan"), Written(NOON), Written(NOON + 1), Actor("Ada", "web page"), (point,),
        Correction(((0.3, 0.0),)), 0.1, 0.1, (0.3,), (0.0,), "ice",
    )  # fmt: skip
    plunged = PlungeTest(
        2, ProbeId("pan"), Written(NOON), Actor("Ada", "web page"), 4.2, 0.3, "ice water", 22.0, 0.1, 0.05, 40,
        Written(NOON - 9), Written(NOON),
    )  # fmt: skip
    with Store(tmp_path) as store:
        corrected = replace(reading("pan", NOON, 71.5), celsius=71.2, calibration=1)
        store.commit(Commit(measurements=(made, plunged), readings=(corrected,)))
        reader = Reader(store.database)
        assert reader.measurements(ProbeId("pan")) == (plunged, made)
        assert reader.measurements(ProbeId("base")) == ()
        assert reader.measurement(1) == made
        assert reader.measurement(3) is None
        back = next(reader.readings(ProbeId("pan"), Instant(0), Instant(2**60)))
        assert (back.raw, back.celsius, back.calibration) == (71.5, 71.2, 1)
        assert next(reader.past_readings(ProbeId("pan"), Instant(0), Instant(2**60))).calibration == 1
        for change in ("UPDATE measurements SET json = '{}'", "DELETE FROM measurements"):
            with pytest.raises(sqlite3.IntegrityError, match="is never"):
                store._connection.execute(change)
