"""Versions of the file: forward only, with a copy first, and hands off a later one."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from rimekeeper.core.commit import Commit
from rimekeeper.core.errors import StoreError, StoreNewerError
from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.schema import MIGRATIONS
from rimekeeper.keeping.store import Store
from support.parts import NOON, reading

NEXT = (*MIGRATIONS, "ALTER TABLE probes ADD COLUMN note TEXT NOT NULL DEFAULT 'none';")


def test_a_new_file_has_our_version_and_no_copy(tmp_path):
    with Store(tmp_path) as store:
        assert store.backup is None
        assert store._connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
        assert store._connection.execute("SELECT value FROM meta WHERE name = 'version'").fetchone() == (
            str(len(MIGRATIONS)),
        )


def test_an_older_file_is_copied_then_brought_up_to_date(tmp_path):
    with Store(tmp_path) as store:
        store.commit(Commit(readings=(reading("pan", NOON, 71.5),)))
    with Store(tmp_path, migrations=NEXT) as store:
        assert store.backup is not None
        assert store.backup.name == f"rimekeeper.db.version-{len(MIGRATIONS)}.backup"
        assert store._connection.execute("SELECT id, note FROM probes").fetchall() == [("pan", "none")]
        back = list(Reader(store.database).readings(ProbeId("pan"), Instant(0), Instant(2**60)))
        assert [r.raw for r in back] == [71.5]
        with closing(sqlite3.connect(store.backup)) as copy:
            assert copy.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
            assert copy.execute("SELECT raw FROM readings").fetchall() == [(71.5,)]
    with Store(tmp_path, migrations=NEXT) as store:
        assert store.backup is None


def test_a_step_that_fails_changes_nothing(tmp_path):
    with Store(tmp_path):
        pass
    broken = (*MIGRATIONS, "CREATE TABLE half(x); SELECT no_such_thing;")
    with pytest.raises(StoreError, match="no such column"):
        Store(tmp_path, migrations=broken)
    with Store(tmp_path) as store:
        tables = {row[0] for row in store._connection.execute("SELECT name FROM sqlite_master")}
        assert "half" not in tables


def test_a_later_file_is_left_alone(tmp_path):
    with Store(tmp_path, migrations=NEXT):
        pass
    before = (tmp_path / "rimekeeper.db").read_bytes()
    with pytest.raises(StoreNewerError) as refusal:
        Store(tmp_path)
    assert str(refusal.value) == (
        f"{tmp_path}/rimekeeper.db was written by a later Rimekeeper (its version is {len(NEXT)}, "
        f"this one knows {len(MIGRATIONS)}). "
        "Nothing was changed. Install the later version again, or use another data folder."
    )
    assert (tmp_path / "rimekeeper.db").read_bytes() == before


def test_a_reader_says_that_a_file_is_later(tmp_path):
    with Store(tmp_path):
        Reader(tmp_path / "rimekeeper.db").check_version()
    with Store(tmp_path, migrations=NEXT):
        pass
    with pytest.raises(StoreNewerError, match="was written by a later Rimekeeper"):
        Reader(tmp_path / "rimekeeper.db").check_version()


def test_somebody_elses_database_is_left_alone(tmp_path):
    with closing(sqlite3.connect(tmp_path / "rimekeeper.db")) as other:
        other.execute("CREATE TABLE recipes(x)")
    with pytest.raises(StoreError, match="is a database, but not one of Rimekeeper's"):
        Store(tmp_path)


def test_not_a_database(tmp_path):
    (tmp_path / "rimekeeper.db").write_bytes(b"custard" * 1_000)
    with pytest.raises(StoreError, match="is damaged or is not a database"):
        Store(tmp_path)
    assert (tmp_path / "rimekeeper.db").read_bytes() == b"custard" * 1_000


def test_a_file_of_the_first_version_keeps_every_reading(tmp_path):
    with Store(tmp_path, migrations=MIGRATIONS[:1]) as store:
        connection = store._connection
        connection.execute("INSERT INTO probes VALUES(1, 'pan')")
        connection.execute("INSERT INTO reasons VALUES(1, '')")
        connection.execute(
            "INSERT INTO readings VALUES(1, ?, 40, 71.5, NULL, 0, 1, 2)", (NOON,)
        )  # flags 2: celsius is raw
    with Store(tmp_path) as store:
        assert store.backup is not None
        (back,) = Reader(store.database).readings(ProbeId("pan"), Instant(0), Instant(2**60))
        assert (back.raw, back.celsius, back.calibration) == (71.5, 71.5, 0)
        assert store._connection.execute("SELECT celsius, calibration FROM reading").fetchall() == [(71.5, 0)]
        assert Reader(store.database).measurements(ProbeId("pan")) == ()
