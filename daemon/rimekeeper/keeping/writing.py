"""What one transaction writes, table by table."""

from __future__ import annotations

import math
import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.commit import CallResult, CallState, Commit, Committed, Token
from rimekeeper.core.errors import StoreError
from rimekeeper.core.messages import AlarmMove, AlarmMoved, CallKind, CallOwed, SpansSet
from rimekeeper.core.model import Entry, Instant, Reading
from rimekeeper.core.state import BatchSlot, Slot
from rimekeeper.keeping import measurements
from rimekeeper.keeping.codec import slot_kind, to_json
from rimekeeper.keeping.schema import LATE, NUDGED, SAME
from rimekeeper.keeping.seal import seal

HISTORY = "h-"
"""Begins the id of every alarm and call-out filled in from history, so that none can meet a live one."""

_Row = tuple[int, int, int, float | None, float | None, int, int, int, int]
_INSERT = "INSERT OR IGNORE INTO readings VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?)"


@dataclass
class Memory:
    """What the writer knows without asking the file; a draft of it is kept only when the commit succeeds."""

    probes: dict[str, int]
    reasons: dict[str, int]
    turns: dict[str, int]
    last_number: int
    last_seal: str

    def draft(self) -> Memory:
        """A copy to change during a transaction."""
        return Memory(
            dict(self.probes), dict(self.reasons), dict(self.turns), self.last_number, self.last_seal
        )


def write(connection: sqlite3.Connection, memory: Memory, commit: Commit, ring: int) -> Committed:
    """Write everything of ``commit`` inside the transaction that is open."""
    done = _readings(connection, memory, commit.readings)
    measurements.put(connection, commit.measurements)
    _entries(connection, memory, commit.entries)
    for spans in commit.spans:
        _spans(connection, spans)
    for batch in commit.batches:
        _batch(connection, batch, from_history=commit.from_history)
    # Calls before moves: an acknowledge of the same turn supersedes what was owed just before it.
    _calls(connection, commit.calls, from_history=commit.from_history)
    for move in commit.alarms:
        _alarm(connection, move, from_history=commit.from_history)
    # Slots after moves: a move shows an alarm as it was at the move, its slot as it is at the end.
    _slots(connection, commit.changed.items())
    for result in commit.results:
        _result(connection, result)
    _tokens(connection, memory, commit.tokens, ring)
    if commit.watched_until is not None and not commit.from_history:
        connection.execute(
            "INSERT OR REPLACE INTO meta VALUES('watched_until', ?)", (str(commit.watched_until),)
        )
    return done


# --- readings ---------------------------------------------------------------------------------------------


def _readings(connection: sqlite3.Connection, memory: Memory, readings: Sequence[Reading]) -> Committed:
    if not readings:
        return Committed()
    rows = [_row(connection, memory, reading) for reading in readings]
    connection.execute("SAVEPOINT quick")
    before = connection.total_changes
    connection.executemany(_INSERT, rows)
    if connection.total_changes - before == len(rows):
        connection.execute("RELEASE quick")
        return Committed(stored=len(rows))
    connection.execute("ROLLBACK TO quick")
    connection.execute("RELEASE quick")
    return _readings_one_by_one(connection, readings, rows)


def _readings_one_by_one(
    connection: sqlite3.Connection, readings: Sequence[Reading], rows: Sequence[_Row]
) -> Committed:
    """Insert where some instants are taken.

    Dated by the probe: the same reading came twice. Dated by us: it is another reading (messages that come
    twice are known by their token), so it moves on to the next free millisecond.
    """
    stored = nudged = 0
    duplicates: Counter[str] = Counter()
    taken: dict[tuple[int, int], int] = {}
    for reading, row in zip(readings, rows, strict=True):
        if connection.execute(_INSERT, row).rowcount == 1:
            stored += 1
        elif not reading.dated_here:
            duplicates[reading.probe] += 1
        else:
            _insert_nudged(connection, row, taken)
            stored += 1
            nudged += 1
    return Committed(
        stored=stored, duplicates=duplicates.total(), nudged=nudged, duplicates_by_probe=duplicates
    )


def _insert_nudged(connection: sqlite3.Connection, row: _Row, taken: dict[tuple[int, int], int]) -> None:
    """Insert at the next free millisecond. ``taken`` remembers where the search may go on after an instant."""
    number, at, _, raw, celsius, quality, reason, flags, calibration = row
    visited, moved = [at], at + 1
    while True:
        while (further := taken.get((number, moved))) is not None:
            visited.append(moved)
            moved = further
        nudged = (number, moved, at - moved, raw, celsius, quality, reason, flags | NUDGED, calibration)
        if connection.execute(_INSERT, nudged).rowcount:
            break
        visited.append(moved)
        moved += 1
    for instant in (*visited, moved):
        taken[number, instant] = moved + 1


def _row(connection: sqlite3.Connection, memory: Memory, reading: Reading) -> _Row:
    number = memory.probes.get(reading.probe)
    if number is None:
        number = memory.probes[reading.probe] = _named(connection, "probes(id)", reading.probe)
    reason = memory.reasons.get(reading.reason.value)
    if reason is None:
        reason = memory.reasons[reading.reason.value] = _named(
            connection, "reasons(text)", reading.reason.value
        )
    raw = None if math.isnan(reading.raw) else reading.raw
    celsius = reading.celsius
    flags = LATE if reading.late else 0
    if celsius is not None and (celsius == raw or math.isnan(celsius)):
        flags |= SAME if celsius == raw else 0
        celsius = None
    return (
        number,
        reading.taken_at,
        reading.arrived_at - reading.taken_at,
        raw,
        celsius,
        reading.quality.value,
        reason,
        flags,
        reading.calibration,
    )


def _named(connection: sqlite3.Connection, table: str, name: str) -> int:
    return int(connection.execute(f"INSERT INTO {table} VALUES(?)", (name,)).lastrowid or 0)


# --- state, record, batches ---------------------------------------------------------------------------------


def _slots(connection: sqlite3.Connection, changed: Iterable[tuple[str, Slot | None]]) -> None:
    gone: list[tuple[str]] = []
    kept: list[tuple[str, str, str]] = []
    for key, slot in changed:
        if slot is None:
            gone.append((key,))
            continue
        kept.append((key, slot_kind(slot), to_json(slot)))
        if isinstance(slot, BatchSlot):
            _batch(connection, slot, from_history=False)
        elif isinstance(slot, AlarmSlot):
            _put_alarm(connection, slot, closed_at=None)
    connection.executemany("DELETE FROM slots WHERE key = ?", gone)
    connection.executemany("INSERT OR REPLACE INTO slots VALUES(?, ?, ?)", kept)


def _entries(connection: sqlite3.Connection, memory: Memory, entries: Sequence[Entry]) -> None:
    for entry in entries:
        memory.last_number += 1
        columns = (
            memory.last_number,
            entry.at,
            entry.kind,
            entry.batch,
            entry.subject,
            entry.actor.who,
            entry.actor.where,
            entry.why,
            entry.sentence,
            to_json(dict(entry.facts)),
        )
        memory.last_seal = seal(memory.last_seal, columns)
        connection.execute(
            "INSERT INTO entries VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", (*columns, memory.last_seal)
        )


def _spans(connection: sqlite3.Connection, spans: SpansSet) -> None:
    version = connection.execute(
        "SELECT coalesce(max(version), 0) + 1 FROM spans WHERE batch = ?", (spans.batch,)
    ).fetchone()[0]
    connection.execute("UPDATE spans SET current = 0 WHERE batch = ? AND current = 1", (spans.batch,))
    connection.executemany(
        "INSERT INTO spans VALUES(?, ?, ?, ?, 1, ?, ?, ?, ?, ?)",
        [
            (spans.batch, version, line, spans.at, s.probe, s.role, s.stage, s.begins, s.ends)
            for line, s in enumerate(spans.spans)
        ],
    )


def _batch(connection: sqlite3.Connection, batch: BatchSlot, *, from_history: bool) -> None:
    if from_history:
        live = connection.execute("SELECT 1 FROM slots WHERE key = ?", (f"batch/{batch.batch}",)).fetchone()
        if live:
            raise StoreError(
                f"history brings a batch {batch.batch!r}, but one of that name is running or has just run; "
                "nothing of this piece of history was stored"
            )
    connection.execute(
        "INSERT OR REPLACE INTO batches VALUES(?, ?, ?, ?, ?, ?, ?)",
        (batch.batch, batch.sheet, batch.lot, batch.phase, batch.began, batch.ended, to_json(batch)),
    )


# --- alarms and call-outs -----------------------------------------------------------------------------------


def _alarm(connection: sqlite3.Connection, moved: AlarmMoved, *, from_history: bool) -> None:
    alarm = moved.alarm
    if from_history:
        alarm = replace(alarm, alarm_id=_historic(alarm.alarm_id))
    _put_alarm(connection, alarm, closed_at=moved.at if moved.move is AlarmMove.CLOSED else None)
    if moved.move is AlarmMove.ACKNOWLEDGED:
        connection.execute(
            "UPDATE outbox SET state = ? WHERE alarm_id = ? AND state = ? AND kind <> ?",
            (CallState.SUPERSEDED, alarm.alarm_id, CallState.WAITING, CallKind.RETURNED),
        )


def _put_alarm(connection: sqlite3.Connection, alarm: AlarmSlot, closed_at: Instant | None) -> None:
    connection.execute(
        "INSERT INTO alarms VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT(alarm_id) DO UPDATE SET"
        " returned_at = excluded.returned_at, acknowledged_at = excluded.acknowledged_at,"
        " closed_at = excluded.closed_at, json = excluded.json WHERE alarms.closed_at IS NULL",
        (
            alarm.alarm_id,
            alarm.key,
            alarm.batch,
            alarm.began,
            alarm.raised_at,
            alarm.returned_at,
            alarm.acknowledged_at,
            closed_at,
            to_json(alarm),
        ),
    )


def _calls(connection: sqlite3.Connection, calls: Sequence[CallOwed], *, from_history: bool) -> None:
    for owed in calls:
        call = (
            replace(owed, id=_historic(owed.id), alarm_id=_historic(owed.alarm_id)) if from_history else owed
        )
        connection.execute(
            "INSERT OR IGNORE INTO outbox VALUES(?, ?, ?, ?, ?, ?, 0, ?, '', NULL, ?)",
            (
                call.id,
                call.alarm_id,
                call.channel,
                call.kind,
                call.at,
                call.at,
                CallState.HISTORY if from_history else CallState.WAITING,
                to_json(call),
            ),
        )


def _historic(name: str) -> str:
    return name if name.startswith(HISTORY) else HISTORY + name


def _result(connection: sqlite3.Connection, result: CallResult) -> None:
    """A call-out that was acknowledged away while under way stays superseded, unless it did arrive."""
    delivered = result.state is CallState.DELIVERED
    connection.execute(
        "UPDATE outbox SET attempts = attempts + 1, last_error = ?, due = ?, delivered_at = ?,"
        " state = CASE WHEN state = ? OR ? THEN ? ELSE state END WHERE id = ? AND state <> ?",
        (
            result.error,
            result.due,
            result.at if delivered else None,
            CallState.WAITING,
            delivered,
            result.state,
            result.call_id,
            CallState.DELIVERED,
        ),
    )


def _tokens(connection: sqlite3.Connection, memory: Memory, tokens: Sequence[Token], ring: int) -> None:
    rows = []
    for token in tokens:
        turn = memory.turns[token.source] = memory.turns.get(token.source, 0) + 1
        rows.append((token.source, turn % ring, turn, token.token))
    connection.executemany("INSERT OR REPLACE INTO source_tokens VALUES(?, ?, ?, ?)", rows)
