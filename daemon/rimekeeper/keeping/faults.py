"""What SQLite complains about, said so that a cook or a technician knows what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rimekeeper.core.errors import StoreBusyError, StoreError, StoreFullError

_LOCKED = (
    StoreBusyError,
    (
        "{file} is locked by another program. Close whatever has it open (a database browser, a backup); "
        "Rimekeeper tries again by itself."
    ),
)
_READ_ONLY = (
    StoreFullError,
    (
        "{file} can't be written: the file, its folder or its disk is read-only. "
        "Give Rimekeeper the right to write there, or check the disk."
    ),
)
_DAMAGED = (
    StoreError,
    "{file} is damaged or is not a database. Keep a copy of it, then restore the last backup.",
)
_OTHER = (StoreError, "the store {file} refused: {fault}")
_MEANINGS: dict[int, tuple[type[StoreError], str]] = {
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_FULL: (
        StoreFullError,
        "there is no space left for {file}. Free some space on that disk; Rimekeeper tries again by itself.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        StoreError,
        "{file} can't be opened. Check that the folder is there and may be read and written.",
    ),
    sqlite3.SQLITE_IOERR: (
        StoreFullError,
        (
            "the disk failed while {file} was used ({fault}). Check the disk and its free space; "
            "Rimekeeper tries again by itself."
        ),
    ),
}


@contextmanager
def in_plain_words(file: Path) -> Iterator[None]:
    """Turn SQLite's errors of the enclosed work into ours. ``file`` is named in the sentence."""
    try:
        yield
    except sqlite3.Error as fault:
        raise explain(fault, file) from fault


def explain(fault: sqlite3.Error, file: Path) -> StoreError:
    """The error of ours that says what ``fault`` means, where, and what to do."""
    code = getattr(fault, "sqlite_errorcode", None)
    kind, sentence = _MEANINGS.get(-1 if code is None else code & 0xFF, _OTHER)
    return kind(sentence.format(file=file, fault=fault))
