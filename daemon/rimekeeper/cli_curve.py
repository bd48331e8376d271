"""Freezing curves drawn with characters: temperature to the right, colder and colder; percent frozen upwards."""

from __future__ import annotations

from collections.abc import Sequence

from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import frozen_percent

_ROWS = 20
_NARROWEST, _WIDEST = 30, 100
_COLDEST = -25.0
_MARKS = ("●", "○")
_BOTH = "◉"
_MARGIN = 7


def plotted(mixes: Sequence[tuple[str, MixPlan]], width: int) -> list[str]:
    """The lines of a plot of up to two named mixes, at most ``width`` characters wide."""
    columns = min(max(width - _MARGIN - 2, _NARROWEST), _WIDEST)
    cells = [[" "] * columns for _ in range(_ROWS + 1)]
    for (_, mix), mark in zip(mixes, _MARKS, strict=False):
        for column in range(columns):
            percent = frozen_percent(mix, _celsius(column, columns))
            if percent is None:
                continue
            row = round(percent * _ROWS / 100.0)
            cells[row][column] = mark if cells[row][column] == " " else _BOTH
    lines = ["  % of the water frozen"]
    for row in range(_ROWS, -1, -1):
        percent = 100 * row // _ROWS
        label = f"{percent:4d} ┤" if row % 4 == 0 else "     │"
        lines.append(f"{label}{''.join(cells[row])}".rstrip())
    lines += [f"     └{_axis(columns)}", _scale(columns)]
    lines += [f"  {mark} {name}" for (name, _), mark in zip(mixes, _MARKS, strict=False)]
    if len(mixes) > 1:
        lines.append(f"  {_BOTH} both")
    return lines


def _celsius(column: int, columns: int) -> float:
    return _COLDEST * column / (columns - 1)


def _ticks(columns: int) -> list[tuple[int, str]]:
    return [(round(-celsius * (columns - 1) / -_COLDEST), f"{celsius}") for celsius in range(0, -26, -5)]


def _axis(columns: int) -> str:
    line = ["─"] * columns
    for column, _ in _ticks(columns):
        line[column] = "┴"
    return "".join(line)


def _scale(columns: int) -> str:
    line = [" "] * (columns + _MARGIN + 3)
    for column, text in _ticks(columns):
        start = max(0, 6 + column - len(text) + 1)
        line[start : start + len(text)] = text
    return "".join(line).rstrip() + " °C"
