"""How a probe was over a time, in equal stretches: worst quality with its reason, readings, mean."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from rimekeeper.core.model import Instant, Quality, Reason


@dataclass(frozen=True, slots=True)
class Stretch:
    """What the readings of one stretch come to. A stretch without readings is not there at all."""

    begins: Instant
    worst: Quality
    reason: Reason
    """Of one of the worst readings."""
    readings: int
    good: int
    mean: float | None
    """°C, of what was not bad."""


def stretches(
    connection: sqlite3.Connection, number: int, since: Instant, until: Instant, width: int
) -> tuple[Stretch, ...]:
    """The stretches of ``width`` ms that begin at multiples of it since 1970, of the probe's readings in the span."""
    # In SQLite the other columns of a group with one lone max() come from the row that has it.
    rows = connection.execute(
        "SELECT taken_at / :width * :width AS begins, max(quality), reason_no, count(*), sum(quality = 0),"
        " avg(CASE WHEN quality < 2 THEN CASE WHEN flags & 2 THEN raw ELSE celsius END END)"
        " FROM readings WHERE probe_no = :no AND taken_at >= :since AND taken_at < :until GROUP BY begins",
        {"no": number, "since": since, "until": until, "width": width},
    ).fetchall()
    words = dict(connection.execute("SELECT no, text FROM reasons").fetchall()) if rows else {}
    return tuple(
        Stretch(Instant(begins), Quality(worst), Reason(words[reason]), count, good, mean)
        for begins, worst, reason, count, good, mean in rows
    )
