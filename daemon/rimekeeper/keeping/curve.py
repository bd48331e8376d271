"""A span of one probe, thinned for drawing without losing an extreme or hiding a gap."""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from rimekeeper.core.model import Instant, ProbeId, Quality
from rimekeeper.keeping.rows import Curve

_BELIEVED = "CASE WHEN quality < 2 THEN CASE WHEN flags & 2 THEN raw ELSE celsius END END"
_SPAN = "FROM readings WHERE probe_no = ? AND taken_at >= ? AND taken_at < ?"


class _Point(NamedTuple):
    at: int
    celsius: float | None
    quality: int


def draw(
    connection: sqlite3.Connection,
    probe: ProbeId,
    number: int,
    since: Instant,
    until: Instant,
    points: int,
    gap: int,
) -> Curve:
    """The curve of one probe from ``since`` up to but not including ``until``.

    With more readings than ``points``, the span is cut into ``points // 2`` equal stretches and each gives
    its lowest and its highest believed reading at their own instants. A gap is a time longer than ``gap`` ms
    without any reading; gaps are found exactly, however far the curve is thinned.
    """
    few = connection.execute(
        f"SELECT count(*) FROM (SELECT 1 {_SPAN} LIMIT ?)",  # noqa: S608 - fixed text
        (number, since, until, points + 1),
    ).fetchone()[0]
    thinned = few > points
    if thinned:
        total = connection.execute(f"SELECT count(*) {_SPAN}", (number, since, until)).fetchone()[0]
        drawn = _extremes(connection, number, since, until, max(1, points // 2))
    else:
        total = few
        drawn = [
            _Point(*row)
            for row in connection.execute(
                f"SELECT taken_at, {_BELIEVED}, quality {_SPAN} ORDER BY taken_at", (number, since, until)
            )
        ]
    drawn += [_Point(at, None, int(Quality.BAD)) for at in _gaps(connection, number, since, until, gap)]
    drawn.sort(key=lambda point: point.at)
    return Curve(
        probe=probe,
        times=[p.at for p in drawn],
        celsius=[p.celsius for p in drawn],
        quality=[p.quality for p in drawn],
        thinned=thinned,
        readings=total,
    )


def _extremes(
    connection: sqlite3.Connection, number: int, since: int, until: int, stretches: int
) -> list[_Point]:
    first, last = connection.execute(
        f"SELECT min(taken_at), max(taken_at) {_SPAN}", (number, since, until)
    ).fetchone()
    width = max(1, -(-(last + 1 - first) // stretches))
    found: list[_Point] = []
    for begins in range(first, last + 1, width):
        bounds = (number, begins, begins + width)
        # In SQLite the other columns of a query with one lone min() or max() come from the row that has it.
        low = connection.execute(f"SELECT taken_at, min({_BELIEVED}) {_SPAN}", bounds).fetchone()
        if low[0] is None:
            continue
        high = connection.execute(f"SELECT taken_at, max({_BELIEVED}) {_SPAN}", bounds).fetchone()
        worst = connection.execute(f"SELECT max(quality) {_SPAN}", bounds).fetchone()[0]
        found.append(_Point(low[0], low[1], worst))
        if low[1] is not None and high[0] != low[0]:
            found.append(_Point(high[0], high[1], worst))
    return found


def _gaps(connection: sqlite3.Connection, number: int, since: int, until: int, gap: int) -> list[int]:
    """An instant inside every gap between two readings of the span.

    It leaps from a reading to the last one within ``gap`` after it, so a day costs a day divided by ``gap``
    look-ups, not one for each reading.
    """
    rows = connection.execute(
        """
        WITH RECURSIVE leap(at, came) AS (
            SELECT min(taken_at), NULL FROM readings WHERE probe_no = :no AND taken_at >= :since AND taken_at < :until
            UNION ALL
            SELECT coalesce(
                (SELECT max(taken_at) FROM readings
                 WHERE probe_no = :no AND taken_at > leap.at AND taken_at <= min(leap.at + :gap, :until - 1)),
                (SELECT min(taken_at) FROM readings
                 WHERE probe_no = :no AND taken_at > leap.at + :gap AND taken_at < :until)
            ), leap.at
            FROM leap WHERE leap.at IS NOT NULL
        )
        SELECT came FROM leap WHERE at - came > :gap
        """,
        {"no": number, "since": since, "until": until, "gap": gap},
    )
    return [int(came) + 1 for (came,) in rows]
