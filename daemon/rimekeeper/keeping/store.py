"""The one writer of the store: everything of a turn in one transaction, or nothing of it."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Self

from rimekeeper.core.commit import Commit, Committed, Recollection
from rimekeeper.core.errors import StoreError
from rimekeeper.core.model import Instant, SourceId
from rimekeeper.keeping import writing
from rimekeeper.keeping.codec import slot_from_json
from rimekeeper.keeping.faults import in_plain_words
from rimekeeper.keeping.lock import FolderLock
from rimekeeper.keeping.schema import MIGRATIONS, bring_up_to_date
from rimekeeper.keeping.seal import FIRST_SEAL

DATABASE = "rimekeeper.db"
TOKENS = 4_096
"""Twice as many as a source may have under way without an acknowledge."""
LOG_LIMIT = 64 * 1024 * 1024


class Store:
    """The data folder of one daemon, opened for writing.

    Opened by whoever starts the daemon; from the first ``commit`` on it belongs to the thread that made it.
    """

    def __init__(
        self,
        folder: Path,
        *,
        token_ring: int = TOKENS,
        busy_seconds: float = 2.0,
        migrations: Sequence[str] = MIGRATIONS,
    ) -> None:
        """Lock the folder, open the file, bring it up to date.

        Args:
            folder: the data folder; made when missing.
            token_ring: how many message tokens of each source are remembered; at least twice as many as a
                broker may have under way without an acknowledge.
            busy_seconds: how long to wait for another program's lock before saying so.
            migrations: the schema's scripts.

        Raises:
            StoreNewerError: written by a later version; nothing was changed.
            StoreBusyError: another daemon has the folder, or another program locks the file.
            StoreFullError: no space, or no right to write.
        """
        self.folder = folder
        self.database = folder / DATABASE
        self.backup: Path | None = None
        """The copy made before an older file was brought up to date."""
        self._ring = token_ring
        self._owner: int | None = None
        self._lock = FolderLock(folder)
        try:
            with in_plain_words(self.database):
                self._connection = sqlite3.connect(
                    self.database, timeout=busy_seconds, isolation_level=None, check_same_thread=False
                )
            try:
                self._prepare(migrations)
            except BaseException:
                self._connection.close()
                raise
        except BaseException:
            self._lock.release()
            raise

    def _prepare(self, migrations: Sequence[str]) -> None:
        with in_plain_words(self.database):
            run = self._connection.execute
            # The version is looked at before anything is set, so that a later version's file stays untouched.
            self.backup = bring_up_to_date(self._connection, self.database, migrations)
            run("PRAGMA journal_mode = WAL")
            run("PRAGMA synchronous = FULL")
            run(f"PRAGMA journal_size_limit = {LOG_LIMIT}")
            run("PRAGMA temp_store = MEMORY")
            self._memory = writing.Memory(
                probes=dict(run("SELECT id, no FROM probes")),
                reasons=dict(run("SELECT text, no FROM reasons")),
                turns=dict(run("SELECT source, max(turn) FROM source_tokens GROUP BY source")),
                last_number=run("SELECT coalesce(max(number), 0) FROM entries").fetchone()[0],
                last_seal=next(
                    (row[0] for row in run("SELECT seal FROM entries ORDER BY number DESC LIMIT 1")),
                    FIRST_SEAL,
                ),
            )

    def recollect(self) -> Recollection:
        """What the last run left: slots, message tokens, and up to when it watched."""
        with in_plain_words(self.database):
            run = self._connection.execute
            slots = tuple(
                (key, slot_from_json(kind, text))
                for key, kind, text in run("SELECT key, kind, json FROM slots")
            )
            tokens: dict[SourceId, tuple[str, ...]] = {}
            for source, token in run("SELECT source, token FROM source_tokens ORDER BY source, turn"):
                tokens[source] = (*tokens.get(source, ()), token)
            watched = run("SELECT value FROM meta WHERE name = 'watched_until'").fetchone()
        return Recollection(
            slots=slots,
            tokens=tokens,
            watched_until=None if watched is None else Instant(int(watched[0])),
        )

    def commit(self, commit: Commit) -> Committed:
        """Write all of it, durably, or nothing of it.

        Returns:
            How many readings were new, were there already, or had to be nudged to a free millisecond.

        Raises:
            StoreBusyError: another program holds the file; try again.
            StoreFullError: no space, or read-only; try again.
            StoreError: anything else that the store refused.
        """
        self._claim()
        with in_plain_words(self.database):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                memory = self._memory.draft()
                done = writing.write(self._connection, memory, commit, self._ring)
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
            self._memory = memory
        return done

    def tidy(self) -> str:
        """Fold the write-ahead log into the file and check that the file is sound.

        Returns:
            "" when it is sound, else one plain sentence.
        """
        self._claim()
        with in_plain_words(self.database):
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            said = [row[0] for row in self._connection.execute("PRAGMA quick_check(3)")]
        if said == ["ok"]:
            return ""
        return f"{self.database} is damaged ({'; '.join(said)}). Keep a copy of it, then restore the last backup."

    def close(self) -> None:
        """Close the file and let go of the folder; safe to call twice."""
        self._connection.close()
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _claim(self) -> None:
        present = threading.get_ident()
        if self._owner is None:
            self._owner = present
        elif self._owner != present:
            raise StoreError(
                "only the pipeline's thread may write to the store; this is a fault of Rimekeeper"
            )
