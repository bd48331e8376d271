"""Rows of a CSV of readings: a time, a probe, a temperature."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from rimekeeper.core.decoding.figures import (
    FigureError,
    instant_of,
    instant_of_millis,
    moment_or_local_in_text,
    number_in_text,
)
from rimekeeper.core.decoding.found import name_trouble
from rimekeeper.core.errors import ConfigError
from rimekeeper.core.model import Instant, Scale

EARLIEST = Instant(946_684_800_000)
"""2000-01-01: rows before were dated by a clock that was never set; they are kept as uncertain and measure no gap."""
LONGEST_GAP = Instant(366 * 86_400_000)
"""A row so much later than the one before was dated by a clock that was wrong. One such row would otherwise make
all that follow it late."""
_SCALES = {"celsius": Scale.CELSIUS, "fahrenheit": Scale.FAHRENHEIT}


class RowError(ValueError):
    """A row that is no reading; its text says why."""


@dataclass(frozen=True, slots=True)
class Row:
    """One reading of the file."""

    taken_at: Instant
    probe: str
    value: float
    scale: Scale


class RowReader:
    """Reads rows by the names in the file's first line.

    Times without an offset are read in ``zone`` if one is given, else refused. In the hour that a clock change
    repeats, the first occurrence is meant until the file would step back, then the second.
    """

    def __init__(self, header: Sequence[str], file: str, zone: str | None = None) -> None:
        """Find the columns; others are ignored.

        Raises:
            ConfigError: a column is missing or given twice; the text names what is there and what is wanted.
        """
        names = [name.strip().lstrip("\ufeff").lower() for name in header]
        self._time = self._one_of(names, ("time", "time_ms"), file) == "time"
        self._time_at = names.index("time" if self._time else "time_ms")
        self._probe_at = names.index(self._one_of(names, ("probe",), file))
        unit = self._one_of(names, tuple(_SCALES), file)
        self._value_at = names.index(unit)
        self._scale = _SCALES[unit]
        self._columns = len(names)
        try:
            self._zone = ZoneInfo(zone) if zone is not None else None
        except (ZoneInfoNotFoundError, ValueError):
            raise ConfigError(f'"{zone}" is no time zone; write one such as "Europe/Oslo"') from None
        self._last: Instant | None = None

    @staticmethod
    def _one_of(names: Sequence[str], wanted: Sequence[str], file: str) -> str:
        there = [name for name in names if name in wanted]
        choice = " or ".join(wanted)
        if len(there) == 1:
            return there[0]
        if not there:
            raise ConfigError(
                f"{file}, line 1: there is no column {choice}. The first line must name the columns: "
                f'time (or time_ms), probe, celsius (or fahrenheit); it says "{", ".join(names)[:100]}"'
            )
        raise ConfigError(f"{file}, line 1: it names {' and '.join(there)}; give exactly one column {choice}")

    def read(self, cells: Sequence[str]) -> Row:
        """Read one row.

        Raises:
            RowError: it is no reading.
        """
        if len(cells) < self._columns:
            raise RowError(f"it has {len(cells)} cells, the first line names {self._columns}")
        probe = cells[self._probe_at].strip()
        if (trouble := name_trouble(probe)) is not None:
            raise RowError(f"probe: {trouble}")
        taken_at = self._instant(cells[self._time_at].strip())
        try:
            value, scale = number_in_text(cells[self._value_at])
        except FigureError as fault:
            raise RowError(f'the temperature "{cells[self._value_at].strip()[:40]}" {fault}') from None
        if scale not in (None, self._scale):
            raise RowError(f"the temperature says {scale}, the column says {self._scale}")
        self._check(taken_at)
        self._last = taken_at
        return Row(taken_at, probe, value, self._scale)

    def _instant(self, text: str) -> Instant:
        try:
            if not self._time:
                return instant_of_millis(number_in_text(text)[0])
            moment = moment_or_local_in_text(text)
            return instant_of(moment if moment.tzinfo is not None else self._placed(moment))
        except FigureError as fault:
            raise RowError(f'the time "{text[:40]}" {fault}') from None

    def _check(self, taken_at: Instant) -> None:
        if self._last is not None and self._last >= EARLIEST and taken_at - self._last > LONGEST_GAP:
            raise RowError(
                f"its time is in {_year(taken_at)}, more than a year after the row before it, in "
                f"{_year(self._last)}. Correct it, or replay the years as files of their own"
            )

    def _placed(self, local: dt.datetime) -> dt.datetime:
        if self._zone is None:
            raise FigureError(
                "has no offset from UTC; write ...Z or ...+01:00, or give the kitchen's zone with the file"
            )
        first = local.replace(tzinfo=self._zone, fold=0)
        second = local.replace(tzinfo=self._zone, fold=1)
        if first.utcoffset() == second.utcoffset():
            return first
        back = first.astimezone(dt.UTC).astimezone(self._zone).replace(tzinfo=None)
        if back != local:
            raise FigureError(f"does not exist in {self._zone.key}: the clocks were put forward over it")
        return second if self._last is not None and instant_of(first) < self._last else first


def _year(at: Instant) -> int:
    return dt.datetime.fromtimestamp(at / 1000, dt.UTC).year
