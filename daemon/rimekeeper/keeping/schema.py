"""The tables, and how an older file is brought up to date.

Readings are the bulk, so their rows are small: numbers instead of names, the delay instead of the arrival,
and no second copy of a value that needed no conversion. The view ``reading`` shows them in plain words.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from rimekeeper.core.errors import StoreError, StoreNewerError

LATE = 1
SAME = 2
NUDGED = 4

_FIRST = """
CREATE TABLE meta(name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

CREATE TABLE probes(no INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE);
CREATE TABLE reasons(no INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);

-- flags: 1 late, 2 celsius is the same number as raw (and celsius is left out), 4 nudged to a free millisecond.
-- raw is NULL for "not a number". delay is arrival minus taken_at, in ms.
CREATE TABLE readings(
    probe_no INTEGER NOT NULL,
    taken_at INTEGER NOT NULL,
    delay INTEGER NOT NULL,
    raw REAL,
    celsius REAL,
    quality INTEGER NOT NULL,
    reason_no INTEGER NOT NULL,
    flags INTEGER NOT NULL,
    PRIMARY KEY(probe_no, taken_at)
) WITHOUT ROWID;

CREATE VIEW reading AS
SELECT p.id AS probe, r.taken_at, r.taken_at + r.delay AS arrived_at, r.raw,
       CASE WHEN r.flags & 2 THEN r.raw ELSE r.celsius END AS celsius,
       r.quality, w.text AS reason, r.flags & 1 AS late, (r.flags & 4) / 4 AS nudged
FROM readings r JOIN probes p ON p.no = r.probe_no JOIN reasons w ON w.no = r.reason_no;

-- A batch's spans are replaced as a whole; the earlier versions stay, with current = 0.
CREATE TABLE spans(
    batch TEXT NOT NULL,
    version INTEGER NOT NULL,
    line INTEGER NOT NULL,
    set_at INTEGER NOT NULL,
    current INTEGER NOT NULL,
    probe TEXT NOT NULL,
    role TEXT NOT NULL,
    stage TEXT,
    begins INTEGER NOT NULL,
    ends INTEGER,
    PRIMARY KEY(batch, version, line)
) WITHOUT ROWID;
CREATE INDEX spans_by_probe ON spans(probe, begins) WHERE current = 1;
CREATE INDEX spans_by_batch ON spans(batch) WHERE current = 1;

CREATE TABLE slots(key TEXT PRIMARY KEY, kind TEXT NOT NULL, json TEXT NOT NULL) WITHOUT ROWID;

CREATE TABLE entries(
    number INTEGER PRIMARY KEY,
    at INTEGER NOT NULL,
    kind TEXT NOT NULL,
    batch TEXT,
    subject TEXT NOT NULL,
    actor TEXT NOT NULL,
    came_from TEXT NOT NULL,
    why TEXT NOT NULL,
    sentence TEXT NOT NULL,
    facts TEXT NOT NULL,
    seal TEXT NOT NULL
);
CREATE INDEX entries_by_batch ON entries(batch, number) WHERE batch IS NOT NULL;
CREATE INDEX entries_by_time ON entries(at);
CREATE TRIGGER entries_stay BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'an entry of the record is never changed; write a new one'); END;
CREATE TRIGGER entries_remain BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'an entry of the record is never deleted'); END;

CREATE TABLE alarms(
    alarm_id TEXT PRIMARY KEY,
    key TEXT NOT NULL,
    batch TEXT,
    began INTEGER NOT NULL,
    raised_at INTEGER NOT NULL,
    returned_at INTEGER,
    acknowledged_at INTEGER,
    closed_at INTEGER,
    json TEXT NOT NULL
) WITHOUT ROWID;
CREATE INDEX alarms_by_time ON alarms(raised_at);

CREATE TABLE batches(
    batch TEXT PRIMARY KEY,
    sheet TEXT NOT NULL,
    lot TEXT NOT NULL,
    phase TEXT NOT NULL,
    began INTEGER NOT NULL,
    ended INTEGER,
    json TEXT NOT NULL
) WITHOUT ROWID;
CREATE INDEX batches_by_time ON batches(began);

CREATE TABLE outbox(
    id TEXT PRIMARY KEY,
    alarm_id TEXT NOT NULL,
    channel TEXT NOT NULL,
    kind TEXT NOT NULL,
    at INTEGER NOT NULL,
    due INTEGER NOT NULL,
    attempts INTEGER NOT NULL,
    state TEXT NOT NULL,
    last_error TEXT NOT NULL,
    delivered_at INTEGER,
    json TEXT NOT NULL
) WITHOUT ROWID;
CREATE INDEX outbox_waiting ON outbox(due) WHERE state = 'waiting';
CREATE INDEX outbox_by_alarm ON outbox(alarm_id);
CREATE INDEX outbox_by_time ON outbox(at);

-- A ring for each source: what was stored lately, to know a message that is delivered again.
CREATE TABLE source_tokens(
    source TEXT NOT NULL,
    place INTEGER NOT NULL,
    turn INTEGER NOT NULL,
    token TEXT NOT NULL,
    PRIMARY KEY(source, place)
) WITHOUT ROWID;
"""

_MEASURED = """
CREATE TABLE measurements(
    number INTEGER PRIMARY KEY,
    probe TEXT NOT NULL,
    kind TEXT NOT NULL,
    at INTEGER NOT NULL,
    json TEXT NOT NULL
);
CREATE INDEX measurements_by_probe ON measurements(probe, number);
CREATE TRIGGER measurements_stay BEFORE UPDATE ON measurements
BEGIN SELECT RAISE(ABORT, 'a calibration or plunge test is never changed; make a new one'); END;
CREATE TRIGGER measurements_remain BEFORE DELETE ON measurements
BEGIN SELECT RAISE(ABORT, 'a calibration or plunge test is never deleted'); END;

-- The calibration that celsius was corrected with; 0 for none.
ALTER TABLE readings ADD COLUMN calibration_no INTEGER NOT NULL DEFAULT 0;
DROP VIEW reading;
CREATE VIEW reading AS
SELECT p.id AS probe, r.taken_at, r.taken_at + r.delay AS arrived_at, r.raw,
       CASE WHEN r.flags & 2 THEN r.raw ELSE r.celsius END AS celsius,
       r.quality, w.text AS reason, r.flags & 1 AS late, (r.flags & 4) / 4 AS nudged,
       r.calibration_no AS calibration
FROM readings r JOIN probes p ON p.no = r.probe_no JOIN reasons w ON w.no = r.reason_no;
"""

MIGRATIONS: tuple[str, ...] = (_FIRST, _MEASURED)
"""Script number n brings a file from version n to n + 1. Never edit one that was released; append."""


def version_of(connection: sqlite3.Connection) -> int:
    """The version of an open file; 0 for a new, empty one."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def refuse_newer(connection: sqlite3.Connection, file: Path, migrations: Sequence[str] = MIGRATIONS) -> None:
    """Leave a file alone that a later version wrote.

    Raises:
        StoreNewerError: the file's version is above ours.
    """
    found, ours = version_of(connection), len(migrations)
    if found > ours:
        raise StoreNewerError(
            f"{file} was written by a later Rimekeeper (its version is {found}, this one knows {ours}). "
            "Nothing was changed. Install the later version again, or use another data folder."
        )


def bring_up_to_date(
    connection: sqlite3.Connection, file: Path, migrations: Sequence[str] = MIGRATIONS
) -> Path | None:
    """Create or migrate the tables. A file that has data is copied aside first.

    Args:
        connection: the writing connection, in autocommit mode.
        file: where it is, for the copy's name and for messages.
        migrations: the scripts; a version is the number of scripts applied.

    Returns:
        The copy that was made, or None when none was needed.

    Raises:
        StoreNewerError: the file's version is above ours; it is left alone.
        StoreError: it holds something that is not ours.
    """
    refuse_newer(connection, file, migrations)
    found, ours = version_of(connection), len(migrations)
    if found == 0 and connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise StoreError(
            f"{file} is a database, but not one of Rimekeeper's. Nothing was changed. Use another data folder."
        )
    if found == ours:
        return None
    copy = _copy_aside(connection, file, found) if found else None
    for number in range(found, ours):
        script = migrations[number]
        connection.executescript(
            f"BEGIN IMMEDIATE;\n{script}\n"
            f"INSERT OR REPLACE INTO meta(name, value) VALUES('version', '{number + 1}');\n"
            f"PRAGMA user_version = {number + 1};\nCOMMIT;"
        )
    return copy


def _copy_aside(connection: sqlite3.Connection, file: Path, version: int) -> Path:
    target = file.with_name(f"{file.name}.version-{version}.backup")
    unfinished = target.with_name(target.name + ".unfinished")
    unfinished.unlink(missing_ok=True)
    with closing(sqlite3.connect(unfinished)) as copy:
        connection.backup(copy)
    unfinished.replace(target)
    return target
