"""Calibrations and plunge tests on disk: written once, never changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from rimekeeper.core.model import ProbeId
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.keeping.codec import from_json, to_json

_KINDS: dict[str, type[Calibration | PlungeTest]] = {
    "calibration": Calibration,
    "plunge test": PlungeTest,
}
_SELECT = "SELECT kind, json FROM measurements"


def put(connection: sqlite3.Connection, records: Sequence[Calibration | PlungeTest]) -> None:
    """Write them. A number that is taken already (the same turn, tried again) stays as it is."""
    connection.executemany(
        "INSERT OR IGNORE INTO measurements VALUES(?, ?, ?, ?, ?)",
        [(r.number, r.probe, kind_of(r), r.at, to_json(r)) for r in records],
    )


def kind_of(record: Calibration | PlungeTest) -> str:
    """The word under which a record is stored."""
    return "calibration" if isinstance(record, Calibration) else "plunge test"


def of_probe(connection: sqlite3.Connection, probe: ProbeId) -> tuple[Calibration | PlungeTest, ...]:
    """Those of one probe, newest first."""
    rows = connection.execute(f"{_SELECT} WHERE probe = ? ORDER BY number DESC", (probe,)).fetchall()
    return tuple(_read(kind, text) for kind, text in rows)


def numbered(connection: sqlite3.Connection, number: int) -> Calibration | PlungeTest | None:
    """The one of that number, or None."""
    row = connection.execute(f"{_SELECT} WHERE number = ?", (number,)).fetchone()
    return None if row is None else _read(*row)


def _read(kind: str, text: str) -> Calibration | PlungeTest:
    found: Calibration | PlungeTest = from_json(_KINDS[kind], text)
    return found
