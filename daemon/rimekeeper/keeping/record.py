"""The record as it is read: entries, and whether the chain of their seals is whole."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from rimekeeper.core.model import Actor, BatchId, Instant
from rimekeeper.keeping.rows import StoredEntry
from rimekeeper.keeping.seal import FIRST_SEAL, seal

Row = tuple[int, int, str, str | None, str, str, str, str, str, str, str]
_SELECT = "SELECT number, at, kind, batch, subject, actor, came_from, why, sentence, facts, seal FROM entries"


def entries(
    connection: sqlite3.Connection,
    batch: BatchId | None,
    since: Instant | None,
    until: Instant | None,
    kinds: Sequence[str] | None,
    limit: int,
    after: int,
) -> tuple[StoredEntry, ...]:
    """See :meth:`~rimekeeper.keeping.reader.Reader.entries`."""
    tests, values = ["number > ?"], [after]  # type: tuple[list[str], list[object]]
    for test, value in (("batch = ?", batch), ("at >= ?", since), ("at < ?", until)):
        if value is not None:
            tests.append(test)
            values.append(value)
    if kinds is not None:
        tests.append(f"kind IN ({','.join('?' * len(kinds))})")
        values.extend(kinds)
    order = "number" if after else "at DESC, number DESC"
    rows = connection.execute(
        f"{_SELECT} WHERE {' AND '.join(tests)} ORDER BY {order} LIMIT ?", (*values, limit)
    ).fetchall()
    found = [_entry(row) for row in rows]
    return tuple(found if after else reversed(found))


def page_after(connection: sqlite3.Connection, number: int, limit: int) -> list[Row]:
    """The next rows by number."""
    return connection.execute(
        f"{_SELECT} WHERE number > ? ORDER BY number LIMIT ?", (number, limit)
    ).fetchall()


@dataclass(slots=True)
class Intact:
    """How far the chain has been found whole: up to and including ``number``."""

    number: int = 0
    seal: str = FIRST_SEAL

    def followed_by(self, row: Row) -> bool:
        """Whether the row is the next link; if so the chain is whole up to it."""
        if row[0] != self.number + 1 or seal(self.seal, row[:-1]) != row[-1]:
            return False
        self.number, self.seal = row[0], row[-1]
        return True


def _entry(row: Row) -> StoredEntry:
    number, at, kind, batch, subject, actor, came_from, why, sentence, facts, sealed = row
    return StoredEntry(
        number=number,
        at=Instant(at),
        kind=kind,
        actor=Actor(actor, came_from),
        sentence=sentence,
        batch=None if batch is None else BatchId(batch),
        subject=subject,
        why=why,
        facts=json.loads(facts),
        seal=sealed,
    )
