"""The recorded curve of ``rimekeeper examine``: our own export, the replay format, or two columns of time and °C."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.model import Instant, StageId
from rimekeeper.intake.replay_rows import EARLIEST, Row, RowError, RowReader
from rimekeeper.review.examining import CurvePoint, Tap

_TEMPERATURES = ("celsius", "fahrenheit")
_GOOD = "good"
ALONE = "curve"
"""The channel of a file without a column that names probes."""


@dataclass
class CurveFile:
    """What the file holds. ``taps`` and ``roles`` come from an export's columns; both are empty without them."""

    points: list[CurvePoint] = field(default_factory=list)
    taps: list[Tap] = field(default_factory=list)
    roles: dict[str, str] = field(default_factory=dict)
    """Role to channel."""
    batches: dict[str, None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    @property
    def channels(self) -> tuple[str, ...]:
        """In the order in which they first come."""
        return tuple(dict.fromkeys(point.channel for point in self.points))


def read_curve(file: Path, zone: str) -> CurveFile:
    """Read it whole.

    Raises:
        RefusedError: it isn't there, has no readings, or a row can't be read; with file, line and remedy.
        ConfigError: its first line lacks a column.
    """
    try:
        text = file.read_text(encoding="utf-8-sig")
    except IsADirectoryError:
        raise RefusedError(f"{file} is a folder. Name the CSV file in it.") from None
    except OSError as fault:
        raise RefusedError(f"{file} can't be read: {fault.strerror}. Is the path right?") from fault
    except UnicodeDecodeError:
        raise RefusedError(f"{file} is not text in UTF-8. Save it as CSV in UTF-8.") from None
    rows = _rows(text, file)
    if not rows:
        raise RefusedError(
            f"{file} is empty. It needs a first line such as time,celsius and readings below it."
        )
    reading = _Reading(file, rows, zone)
    for line, cells in rows[reading.first :]:
        reading.take(line, cells)
    return reading.done()


def _rows(text: str, file: Path) -> list[tuple[int, list[str]]]:
    reader = csv.reader(text.splitlines(), strict=True)
    found: list[tuple[int, list[str]]] = []
    try:
        found.extend((reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells))
    except csv.Error as fault:
        raise RefusedError(
            f"{file}, line {reader.line_num}: this is not CSV ({fault}). Correct it."
        ) from None
    return found


class _Reading:
    """Goes through the rows."""

    def __init__(self, file: Path, rows: Sequence[tuple[int, list[str]]], zone: str) -> None:
        self.file, self.found = file, CurveFile()
        names = [cell.strip().lower() for cell in rows[0][1]]
        self.first = 1
        if len(names) == 2 and not any(name.isidentifier() for name in names):
            names, self.first = ["time", "celsius"], 0  # no first line with names
        self.at = {name: number for number, name in enumerate(names)}
        if "time_ms" in self.at and "time" in self.at:
            self.at.pop("time")  # an export gives both, the second exactly
        self._check(rows[0][1])
        self.alone = "probe" not in self.at
        columns = [name for name in ("time", "time_ms", *_TEMPERATURES) if name in self.at]
        self.columns = [self.at[name] for name in columns]
        self.value_at = next((n for n, name in enumerate(columns) if name in _TEMPERATURES), None)
        self.wide = len(names)
        self.rows = RowReader(["probe", *columns], str(file), zone)
        self.last: dict[str, Instant] = {}
        self.stages: dict[str, str] = {}
        self.together = self.late = 0

    def _check(self, header: Sequence[str]) -> None:
        for wanted in (("time", "time_ms"), _TEMPERATURES):
            if not any(name in self.at for name in wanted):
                raise RefusedError(
                    f"{self.file}, line 1: there is no column {' or '.join(wanted)}. The first line must name the "
                    f'columns, such as time,celsius or time,probe,celsius; it says "{",".join(header)[:100]}".'
                )

    def take(self, line: int, cells: Sequence[str]) -> None:
        if len(cells) < self.wide or any(cell.strip() for cell in cells[self.wide :]):
            raise RefusedError(
                f"{self.file}, line {line}: it has {len(cells)} cells, the first line names {self.wide}. "
                "Correct the row (a decimal comma must be a point) or take it out."
            )
        if self._cell(cells, "late") == "1":
            self.late += 1
            return
        channel = ALONE if self.alone else cells[self.at["probe"]].strip()
        row, doubt = self._row(line, channel, [cells[n] for n in self.columns])
        quality, reason = self._cell(cells, "quality"), self._cell(cells, "reason")
        if quality and quality != _GOOD:
            doubt = reason or quality
        self._in_order(line, row)
        value = None if doubt else row.scale.to_celsius(row.value)
        self.found.points.append(CurvePoint(row.taken_at, channel, value, doubt))
        self._tags(cells, channel, row.taken_at)

    def _row(self, line: int, channel: str, cells: list[str]) -> tuple[Row, str]:
        """The row; where only its temperature can't be read, that is a doubtful reading and not a broken file."""
        try:
            return self.rows.read([channel, *cells]), ""
        except RowError as fault:
            why = str(fault)
        if self.value_at is not None and why.startswith("the temperature"):
            cells[self.value_at] = "0"
            try:
                return self.rows.read([channel, *cells]), "not a number"
            except RowError as fault:
                why = str(fault)
        raise RefusedError(f"{self.file}, line {line}: {why}. Correct the row or take it out.")

    def _in_order(self, line: int, row: Row) -> None:
        before = self.last.get(row.probe)
        if row.taken_at < EARLIEST:
            raise RefusedError(
                f"{self.file}, line {line}: its time is before the year 2000, by a clock that was never set. "
                "Write when it was, such as 2026-11-25T10:00:00Z."
            )
        if before is not None and row.taken_at < before:
            raise RefusedError(
                f"{self.file}, line {line}: its time comes before that of the row above it of {row.probe}. "
                "Sort the rows by time, or correct this one."
            )
        self.together += before == row.taken_at
        self.last[row.probe] = row.taken_at

    def _cell(self, cells: Sequence[str], name: str) -> str:
        return cells[self.at[name]].strip() if name in self.at else ""

    def _tags(self, cells: Sequence[str], channel: str, at: Instant) -> None:
        stage, batch, role = (self._cell(cells, name) for name in ("stage", "batch", "role"))
        if batch:
            self.found.batches[batch] = None
        if role:
            self.found.roles.setdefault(role, channel)
        before = self.stages.get(channel, "")
        if stage != before:
            self.found.taps.append(
                Tap(at, StageId(before) if before else None, StageId(stage) if stage else None)
            )
            self.stages[channel] = stage

    def done(self) -> CurveFile:
        if not self.found.points:
            raise RefusedError(f"{self.file} has no readings below its first line. Export or record some.")
        self.found.points.sort(key=lambda point: point.at)
        self.found.taps.sort(key=lambda tap: tap.at)
        if self.together:
            self.found.notes.append(
                f"{self.together} rows have the instant of the row before them and decide nothing."
            )
        if self.late:
            self.found.notes.append(
                f"{self.late} rows arrived late when they were recorded and decide nothing."
            )
        return self.found
