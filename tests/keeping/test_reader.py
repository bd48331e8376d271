"""Reading the store: curves that keep extremes and gaps, tags, and never in the writer's way."""

from __future__ import annotations

import itertools
import os
import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.commit import Commit
from rimekeeper.core.errors import StoreError
from rimekeeper.core.messages import Span, SpansSet
from rimekeeper.core.model import BatchId, Entry, Instant, ProbeId, Quality, RoleId, StageId
from rimekeeper.core.state import BatchPhase
from rimekeeper.keeping import reader as reading_store
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from support.parts import ADA, NOON, reading

from .test_store import batch

PAN = ProbeId("pan")
ALL_TIME = (Instant(0), Instant(2**60))


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path) as opened:
        yield opened


@pytest.fixture
def reader(store):
    return Reader(store.database)


def fill(store, points):
    store.commit(Commit(readings=tuple(reading("pan", at, value, arrived=at + 1) for at, value in points)))


class TestCurve:
    def test_few_readings_come_as_they_are(self, store, reader):
        fill(store, [(NOON + s * 1_000, 20.0 + s) for s in range(10)])
        curve = reader.curve(PAN, *ALL_TIME)
        assert curve.celsius == [20.0 + s for s in range(10)]
        assert curve.times == [NOON + s * 1_000 for s in range(10)]
        assert (curve.thinned, curve.readings, set(curve.quality)) == (False, 10, {0})

    def test_a_day_is_thinned_and_one_spike_stays(self, store, reader):
        points = [(NOON + s * 1_000, -18.0) for s in range(86_400)]
        points[40_000] = (NOON + 40_000_000, -3.5)
        points[70_001] = (NOON + 70_001_000, -31.0)
        fill(store, points)
        curve = reader.curve(PAN, NOON, Instant(NOON + 86_400_000), points=500)
        assert curve.thinned
        assert curve.readings == 86_400
        assert len(curve.times) <= 502
        assert curve.celsius[curve.times.index(NOON + 40_000_000)] == -3.5
        assert curve.celsius[curve.times.index(NOON + 70_001_000)] == -31.0
        assert curve.times == sorted(curve.times)

    @pytest.mark.parametrize("points", [2_000, 40])
    def test_a_gap_breaks_the_line_however_thin(self, store, reader, points):
        fill(store, [(NOON + s * 1_000, -18.0) for s in range(3_600) if not 1_000 < s < 1_200])
        curve = reader.curve(PAN, *ALL_TIME, points=points, gap=120_000)
        breaks = [at for at, value in zip(curve.times, curve.celsius, strict=True) if value is None]
        assert breaks == [NOON + 1_000_001]
        assert reader.curve(PAN, *ALL_TIME, points=points, gap=200_000).celsius.count(None) == 0

    def test_a_bad_reading_breaks_the_line_and_is_never_an_extreme(self, store, reader):
        fill(store, [(NOON + s * 1_000, -18.0) for s in range(1_000)])
        store.commit(Commit(readings=(reading("pan", NOON + 500_500, 85.0, quality=Quality.BAD),)))
        curve = reader.curve(PAN, *ALL_TIME)
        assert curve.celsius[curve.times.index(NOON + 500_500)] is None
        thin = reader.curve(PAN, *ALL_TIME, points=20)
        assert 85.0 not in thin.celsius
        assert max(thin.quality) == Quality.BAD

    def test_nothing_there(self, store, reader):
        assert reader.curve(ProbeId("none"), *ALL_TIME).times == []
        assert reader.span_of(ProbeId("none")) is None

    @settings(max_examples=25, deadline=None)
    @given(
        st.lists(st.integers(1, 400), min_size=1, max_size=150),
        st.integers(2, 30),
        st.integers(50, 300),
        st.data(),
    )
    def test_extremes_and_gaps_never_go(self, tmp_path_factory, steps, points, gap, data):
        values = data.draw(st.lists(st.integers(-40, 90), min_size=len(steps), max_size=len(steps)))
        times = [NOON + sum(steps[: n + 1]) for n in range(len(steps))]
        with Store(tmp_path_factory.mktemp("curve")) as opened:
            fill(opened, list(zip(times, map(float, values), strict=True)))
            curve = Reader(opened.database).curve(PAN, *ALL_TIME, points=points, gap=gap)
        shown = [value for value in curve.celsius if value is not None]
        assert (max(shown), min(shown)) == (max(values), min(values))
        assert set(zip(times, values, strict=True)) >= {
            (at, value) for at, value in zip(curve.times, curve.celsius, strict=True) if value is not None
        }
        holes = [before + 1 for before, after in itertools.pairwise(times) if after - before > gap]
        assert [at for at, value in zip(curve.times, curve.celsius, strict=True) if value is None] == holes


class TestReadingsAndTags:
    def test_pages_join_without_a_seam(self, store, reader, monkeypatch):
        monkeypatch.setattr(reading_store, "PAGE", 7)
        fill(store, [(NOON + n, float(n)) for n in range(50)])
        assert [r.raw for r in reader.readings(PAN, NOON, Instant(NOON + 49))] == [
            float(n) for n in range(49)
        ]
        assert reader.span_of(PAN) == (NOON, NOON + 49)

    def test_each_reading_knows_its_batch_and_stage(self, store, reader):
        fill(store, [(NOON + n * 1_000, float(n)) for n in range(8)])
        name, role = BatchId("barley-1"), RoleId("pan")
        store.commit(
            Commit(
                spans=(
                    SpansSet(
                        NOON,
                        name,
                        (
                            Span(
                                name, StageId("cook"), role, PAN, Instant(NOON + 2_000), Instant(NOON + 4_000)
                            ),
                            Span(name, None, role, PAN, Instant(NOON + 4_000), Instant(NOON + 6_000)),
                        ),
                    ),
                )
            )
        )
        tags = [(t.reading.raw, t.batch, t.stage, t.role) for t in reader.tagged(PAN, *ALL_TIME)]
        assert tags == [
            (0.0, None, None, None),
            (1.0, None, None, None),
            (2.0, name, "cook", role),
            (3.0, name, "cook", role),
            (4.0, name, None, role),
            (5.0, name, None, role),
            (6.0, None, None, None),
            (7.0, None, None, None),
        ]

    def test_retagging_leaves_the_values(self, store, reader):
        fill(store, [(NOON + n * 1_000, float(n)) for n in range(4)])
        name, role = BatchId("barley-1"), RoleId("pan")
        for begins in (NOON + 3_000, NOON + 1_000):
            store.commit(
                Commit(
                    spans=(SpansSet(NOON, name, (Span(name, StageId("cook"), role, PAN, Instant(begins)),)),)
                )
            )
        assert [(t.reading.raw, t.stage) for t in reader.tagged(PAN, *ALL_TIME)] == [
            (0.0, None),
            (1.0, "cook"),
            (2.0, "cook"),
            (3.0, "cook"),
        ]

    def test_spans_between(self, store, reader):
        name, role = BatchId("b"), RoleId("r")
        past = Span(name, StageId("cook"), role, PAN, Instant(100), Instant(200))
        still = Span(name, StageId("chill"), role, ProbeId("base"), Instant(200))
        store.commit(Commit(spans=(SpansSet(Instant(0), name, (past, still)),)))
        assert reader.spans_between(Instant(150), Instant(160)) == (past,)
        assert reader.spans_between(Instant(150), Instant(500)) == (past, still)
        assert reader.spans_between(Instant(200), Instant(500)) == (still,)
        assert reader.spans_between(Instant(150), Instant(500), ProbeId("base")) == (still,)


class TestBatchesAndEntries:
    def test_batches_newest_first_and_by_time(self, store, reader):
        slots = {
            "a": batch("a", began=100, ended=Instant(200), phase=BatchPhase.ENDED),
            "b": batch("b", began=300, ended=Instant(400), phase=BatchPhase.ENDED),
            "c": batch("c", began=500),
        }
        store.commit(Commit(changed={f"batch/{name}": slot for name, slot in slots.items()}))
        assert [b.batch for b in reader.batches()] == ["c", "b", "a"]
        assert [b.batch for b in reader.batches(limit=1)] == ["c"]
        assert [b.batch for b in reader.batches(since=Instant(250), until=Instant(450))] == ["b"]
        assert [b.batch for b in reader.batches(since=Instant(600))] == ["c"]

    def test_entries_by_batch_kind_and_time(self, store, reader):
        made = [
            Entry(Instant(300), "batch.noted", ADA, "three", batch=BatchId("x")),
            Entry(Instant(100), "alarm.raised", ADA, "one"),
            Entry(Instant(200), "batch.noted", ADA, "two", batch=BatchId("y")),
        ]
        store.commit(Commit(entries=tuple(made)))

        def words(**by):
            return [e.sentence for e in reader.entries(**by)]

        assert words() == ["one", "two", "three"]
        assert words(limit=2) == ["two", "three"]
        assert words(batch=BatchId("x")) == ["three"]
        assert words(kinds=["alarm.raised"]) == ["one"]
        assert words(kinds=[]) == []
        assert words(since=Instant(150), until=Instant(300)) == ["two"]
        assert words(after=1) == ["one", "two"]
        assert words(after=1, limit=1) == ["one"]


def test_readers_and_the_writer_do_not_wait_for_each_other(store, reader):
    """Many threads read while one writes; each sees whole commits only."""
    stop, faults, looks = threading.Event(), [], []

    def look():
        try:
            while not stop.is_set():
                found = len(list(reader.readings(PAN, *ALL_TIME)))
                looks.append(found)
                assert found % 10 == 0
        except Exception as fault:
            faults.append(fault)

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for n in range(60):
        fill(store, [(NOON + n * 10 + k, 1.0) for k in range(10)])
    stop.set()
    for thread in threads:
        thread.join()
    assert not faults
    assert len(looks) > 4
    assert len(list(reader.readings(PAN, *ALL_TIME))) == 600


def test_a_reader_can_not_write(store, reader):
    with reader._open() as connection, pytest.raises(Exception, match="readonly"):
        connection.execute("DELETE FROM slots")


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(StoreError, match=r"nowhere.db can't be opened\. Check that the folder is there"):
        Reader(tmp_path / "nowhere.db").probe_ids()


def test_a_reader_leaves_no_file_open(store, reader):
    def look():
        reader.curve(PAN, *ALL_TIME)
        next(reader.readings(PAN, *ALL_TIME))
        return len(os.listdir("/proc/self/fd"))

    fill(store, [(NOON, 1.0)])
    # SQLite may keep one descriptor of a closed reader to use it again while the writer has the file open.
    first = max(look() for _ in range(3))
    assert max(look() for _ in range(50)) <= first
