"""Reading the store: read-only, short, from any thread.

Every call opens its own read-only connection and closes it, and long spans are read page by page, so that no
reader ever pins the write-ahead log.
"""

from __future__ import annotations

import itertools
import math
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.commit import CallState, WaitingCall
from rimekeeper.core.messages import CallOwed, Span
from rimekeeper.core.model import (
    BatchId,
    Instant,
    ProbeId,
    Quality,
    Reading,
    Reason,
    RoleId,
    StageId,
)
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.state import BatchSlot
from rimekeeper.keeping import measurements, record
from rimekeeper.keeping.codec import from_json
from rimekeeper.keeping.curve import draw
from rimekeeper.keeping.faults import in_plain_words
from rimekeeper.keeping.quality import Stretch, stretches
from rimekeeper.keeping.rows import (
    Counts,
    Curve,
    StoredAlarm,
    StoredCall,
    StoredEntry,
    StoredReading,
    TaggedReading,
)
from rimekeeper.keeping.schema import LATE, NUDGED, refuse_newer

PAGE = 5_000
FOREVER = Instant(2**62)


class Reader:
    """The store as screens, reports and senders see it. Thread-safe; cheap to make."""

    def __init__(self, database: Path) -> None:
        """Remember where the file is; nothing is opened yet."""
        self.database = database
        self._uri = f"{database.absolute().as_uri()}?mode=ro"

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        with in_plain_words(self.database):
            connection = sqlite3.connect(self._uri, uri=True, isolation_level=None, timeout=5.0)
            try:
                connection.execute("PRAGMA query_only = 1")
                yield connection
            finally:
                connection.close()

    def check_version(self) -> None:
        """Look whether this version can read the file.

        Raises:
            StoreNewerError: a later version wrote it.
        """
        with self._open() as connection:
            refuse_newer(connection, self.database)

    # --- readings -----------------------------------------------------------------------------------------

    def probe_ids(self) -> tuple[ProbeId, ...]:
        """Every probe that ever had a reading, by name."""
        with self._open() as connection:
            return tuple(ProbeId(row[0]) for row in connection.execute("SELECT id FROM probes ORDER BY id"))

    def span_of(self, probe: ProbeId) -> tuple[Instant, Instant] | None:
        """The instants of the first and the last reading of a probe; None when it has none."""
        with self._open() as connection:
            number = _probe_number(connection, probe)
            first = connection.execute(
                "SELECT min(taken_at) FROM readings WHERE probe_no = ?", (number,)
            ).fetchone()[0]
            last = connection.execute(
                "SELECT max(taken_at) FROM readings WHERE probe_no = ?", (number,)
            ).fetchone()[0]
        return None if first is None else (Instant(first), Instant(last))

    def curve(
        self, probe: ProbeId, since: Instant, until: Instant, points: int = 2_000, gap: int = 120_000
    ) -> Curve:
        """A span of one probe for drawing, with at most about ``points`` points (plus one for each gap).

        Args:
            probe: whose; one without readings gives an empty curve.
            since: from here on, ms since 1970 UTC.
            until: up to but not including this.
            points: how many are wanted. Lowest and highest are never lost.
            gap: a silence longer than this, in ms, breaks the line.
        """
        with self._open() as connection:
            number = _probe_number(connection, probe)
            return draw(connection, probe, number, since, until, points, gap)

    def stretches(self, probe: ProbeId, since: Instant, until: Instant, width: int) -> tuple[Stretch, ...]:
        """How the probe was in each stretch of ``width`` ms of the span; one without readings is left out."""
        with self._open() as connection:
            return stretches(connection, _probe_number(connection, probe), since, until, width)

    def readings(self, probe: ProbeId, since: Instant, until: Instant) -> Iterator[StoredReading]:
        """The readings of a probe, oldest first, ``until`` not included."""
        begins: int = since
        while True:
            with self._open() as connection:
                number = _probe_number(connection, probe)
                page = connection.execute(
                    "SELECT taken_at, delay, raw, CASE WHEN flags & 2 THEN raw ELSE celsius END, quality,"
                    " text, flags, calibration_no FROM readings JOIN reasons ON no = reason_no"
                    " WHERE probe_no = ? AND taken_at >= ? AND taken_at < ? ORDER BY taken_at LIMIT ?",
                    (number, begins, until, PAGE),
                ).fetchall()
            for at, delay, raw, celsius, quality, reason, flags, calibration in page:
                yield StoredReading(
                    probe=probe,
                    taken_at=Instant(at),
                    arrived_at=Instant(at + delay),
                    raw=math.nan if raw is None else raw,
                    celsius=celsius,
                    quality=Quality(quality),
                    reason=Reason(reason),
                    late=bool(flags & LATE),
                    nudged=bool(flags & NUDGED),
                    calibration=calibration,
                )
            if len(page) < PAGE:
                return
            begins = page[-1][0] + 1

    def past_readings(self, probe: ProbeId, since: Instant, until: Instant) -> Iterator[Reading]:
        """The same as the engine made them, to warm up after a start."""
        for stored in self.readings(probe, since, until):
            yield Reading(
                probe=probe,
                taken_at=stored.taken_at,
                arrived_at=stored.arrived_at,
                raw=stored.raw,
                celsius=stored.celsius,
                quality=stored.quality,
                reason=stored.reason,
                late=stored.late,
                calibration=stored.calibration,
            )

    def tagged(self, probe: ProbeId, since: Instant, until: Instant) -> Iterator[TaggedReading]:
        """The readings of a probe with the batch, stage and role that they belong to, oldest first."""
        spans = sorted(self.spans_between(since, until, probe), key=lambda span: span.begins)
        waiting = iter(spans)
        following = next(waiting, None)
        present: Span | None = None
        for reading in self.readings(probe, since, until):
            while following is not None and following.begins <= reading.taken_at:
                present, following = following, next(waiting, None)
            inside = present is not None and (present.ends is None or reading.taken_at < present.ends)
            tag = present if inside else None
            yield TaggedReading(
                reading=reading,
                batch=tag.batch if tag else None,
                stage=tag.stage if tag else None,
                role=tag.role if tag else None,
            )

    # --- probes -------------------------------------------------------------------------------------------

    def measurements(self, probe: ProbeId) -> tuple[Calibration | PlungeTest, ...]:
        """Calibrations and plunge tests of one probe, newest first."""
        with self._open() as connection:
            return measurements.of_probe(connection, probe)

    def measurement(self, number: int) -> Calibration | PlungeTest | None:
        """The calibration or plunge test of that number, or None."""
        with self._open() as connection:
            return measurements.numbered(connection, number)

    # --- batches ------------------------------------------------------------------------------------------

    def spans(self, batch: BatchId) -> tuple[Span, ...]:
        """The spans of a batch as they stand now."""
        return self._spans("batch = ?", (batch,))

    def spans_between(self, since: Instant, until: Instant, probe: ProbeId | None = None) -> tuple[Span, ...]:
        """The current spans that touch that time, of one probe or of all."""
        if probe is None:
            return self._spans("begins < ? AND (ends IS NULL OR ends > ?)", (until, since))
        return self._spans("probe = ? AND begins < ? AND (ends IS NULL OR ends > ?)", (probe, until, since))

    def span_versions(self, batch: BatchId) -> tuple[tuple[Instant, tuple[Span, ...]], ...]:
        """Every version of a batch's spans with the instant at which it was set, oldest first."""
        with self._open() as connection:
            rows = connection.execute(
                "SELECT version, set_at, batch, stage, role, probe, begins, ends FROM spans"
                " WHERE batch = ? ORDER BY version, line",
                (batch,),
            ).fetchall()
        return tuple(
            (Instant(set_at), tuple(_span(row[2:]) for row in lines))
            for (_, set_at), lines in itertools.groupby(rows, key=lambda row: (row[0], row[1]))
        )

    def _spans(self, where: str, values: Sequence[object]) -> tuple[Span, ...]:
        with self._open() as connection:
            rows = connection.execute(
                "SELECT batch, stage, role, probe, begins, ends FROM spans"  # noqa: S608 - fixed text
                f" WHERE current = 1 AND {where} ORDER BY begins, batch, line",
                values,
            ).fetchall()
        return tuple(_span(row) for row in rows)

    def batch(self, batch: BatchId) -> BatchSlot | None:
        """A batch as it is now or as it ended."""
        with self._open() as connection:
            row = connection.execute("SELECT json FROM batches WHERE batch = ?", (batch,)).fetchone()
        return None if row is None else from_json(BatchSlot, row[0])

    def batches(
        self, limit: int = 50, since: Instant | None = None, until: Instant | None = None
    ) -> tuple[BatchSlot, ...]:
        """Batches that ran at some time between ``since`` and ``until``, newest first."""
        with self._open() as connection:
            rows = connection.execute(
                "SELECT json FROM batches WHERE began < ? AND (ended IS NULL OR ended >= ?)"
                " ORDER BY began DESC, batch DESC LIMIT ?",
                (FOREVER if until is None else until, 0 if since is None else since, limit),
            ).fetchall()
        return tuple(from_json(BatchSlot, row[0]) for row in rows)

    # --- record -------------------------------------------------------------------------------------------

    def entries(
        self,
        batch: BatchId | None = None,
        since: Instant | None = None,
        until: Instant | None = None,
        kinds: Sequence[str] | None = None,
        limit: int = 500,
        after: int = 0,
    ) -> tuple[StoredEntry, ...]:
        """Entries of the record.

        Without ``after``: the newest ``limit`` that fit, oldest first by their instant. With ``after``: the
        next ``limit`` whose number is above it, by number (to follow the record).
        """
        with self._open() as connection:
            return record.entries(connection, batch, since, until, kinds, limit, after)

    def verify_chain(self) -> int | None:
        """The number of the first entry whose seal does not fit, or None when the whole record is intact."""
        intact = record.Intact()
        while True:
            with self._open() as connection:
                page = record.page_after(connection, intact.number, PAGE)
            for row in page:
                if not intact.followed_by(row):
                    return intact.number + 1
            if len(page) < PAGE:
                return None

    def alarms(self, since: Instant, until: Instant, batch: BatchId | None = None) -> tuple[StoredAlarm, ...]:
        """Alarms that stood at some time between ``since`` and ``until``, oldest first."""
        with self._open() as connection:
            rows = connection.execute(
                "SELECT json, closed_at FROM alarms WHERE raised_at < ?"
                " AND (closed_at IS NULL OR closed_at >= ?) AND (? IS NULL OR batch = ?)"
                " ORDER BY raised_at, alarm_id",
                (until, since, batch, batch),
            ).fetchall()
        return tuple(
            StoredAlarm(
                alarm=from_json(AlarmSlot, row[0]),
                closed=row[1] is not None,
                closed_at=None if row[1] is None else Instant(row[1]),
            )
            for row in rows
        )

    # --- call-outs ----------------------------------------------------------------------------------------

    def calls(self, alarm_id: str | None = None, limit: int = 100) -> tuple[StoredCall, ...]:
        """Owed call-outs and what became of them, newest first."""
        with self._open() as connection:
            rows = connection.execute(
                "SELECT json, state, due, attempts, last_error, delivered_at FROM outbox"  # noqa: S608 - fixed text
                f"{'' if alarm_id is None else ' WHERE alarm_id = ?'} ORDER BY at DESC, id DESC LIMIT ?",
                (limit,) if alarm_id is None else (alarm_id, limit),
            ).fetchall()
        return tuple(
            StoredCall(
                call=from_json(CallOwed, row[0]),
                state=CallState(row[1]),
                due=Instant(row[2]),
                attempts=row[3],
                last_error=row[4],
                delivered_at=None if row[5] is None else Instant(row[5]),
            )
            for row in rows
        )

    def waiting_calls(self, limit: int = 500) -> tuple[WaitingCall, ...]:
        """Call-outs still to be sent, the one due first at the front."""
        with self._open() as connection:
            rows = connection.execute(
                "SELECT json, due, attempts FROM outbox WHERE state = 'waiting' ORDER BY due, id LIMIT ?",
                (limit,),
            ).fetchall()
        return tuple(WaitingCall(from_json(CallOwed, row[0]), Instant(row[1]), row[2]) for row in rows)

    def call_counts(self) -> tuple[int, int, str]:
        """How many call-outs wait, how many were given up, and the latest error among those."""
        with self._open() as connection:
            waiting = connection.execute("SELECT count(*) FROM outbox WHERE state = 'waiting'").fetchone()[0]
            failed = connection.execute("SELECT count(*) FROM outbox WHERE state = 'gave up'").fetchone()[0]
            last = connection.execute(
                "SELECT last_error FROM outbox WHERE last_error <> '' AND state IN ('waiting', 'gave up')"
                " ORDER BY at DESC LIMIT 1"
            ).fetchone()
        return waiting, failed, "" if last is None else last[0]

    def counts(self) -> Counts:
        """How much is stored (counts every row: not for every second)."""
        with self._open() as connection:
            number = {
                table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608 - fixed names
                for table in ("readings", "entries", "alarms", "batches", "outbox")
            }
        size = sum(
            path.stat().st_size
            for ending in ("", "-wal")
            if (path := self.database.with_name(self.database.name + ending)).exists()
        )
        return Counts(
            readings=number["readings"],
            entries=number["entries"],
            alarms=number["alarms"],
            batches=number["batches"],
            calls=number["outbox"],
            bytes_on_disk=size,
        )


def _probe_number(connection: sqlite3.Connection, probe: ProbeId) -> int:
    row = connection.execute("SELECT no FROM probes WHERE id = ?", (probe,)).fetchone()
    return -1 if row is None else int(row[0])


def _span(row: Sequence[object]) -> Span:
    batch, stage, role, probe, begins, ends = row
    return Span(
        batch=BatchId(str(batch)),
        stage=None if stage is None else StageId(str(stage)),
        role=RoleId(str(role)),
        probe=ProbeId(str(probe)),
        begins=Instant(int(str(begins))),
        ends=None if ends is None else Instant(int(str(ends))),
    )
