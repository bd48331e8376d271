"""A recorded curve drawn with characters: time to the right, temperature upwards, targets as a line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rimekeeper.core.model import Quality

if TYPE_CHECKING:
    from rimekeeper.review.examining import Examined
    from rimekeeper.review.wording import Wording

_ROWS = 20
_NARROWEST, _WIDEST = 30, 100
_MARKS = "●○◆◇"
_MARGIN = 9
_TARGET = "┄"


def drawn(examined: Examined, wording: Wording, width: int) -> list[str]:
    """The lines of the plot, at most ``width`` characters wide; good readings only, so a gap stays empty."""
    columns = min(max(width - _MARGIN - 2, _NARROWEST), _WIDEST)
    good = [r for r in examined.readings if r.quality is Quality.GOOD and r.celsius is not None]
    values = [wording.scale.from_celsius(r.celsius) for r in good if r.celsius is not None]
    if not values:
        return ["No good reading to draw."]
    low, high = min(values), max(values)
    low, high = (low - 1.0, high + 1.0) if high - low < 1.0 else (low, high)
    begins, long = examined.begins, max(1, examined.ends - examined.begins)
    cells = [[" "] * columns for _ in range(_ROWS + 1)]

    def place(at: int, value: float) -> tuple[int, int]:
        column = round((at - begins) / long * (columns - 1))
        return min(max(column, 0), columns - 1), round((value - low) / (high - low) * _ROWS)

    for one in examined.stages:
        if one.run.began is None or one.plan.target is None:
            continue
        target = wording.scale.from_celsius(one.plan.target.celsius)
        if not low <= target <= high:
            continue
        first, row = place(one.run.began, target)
        last, _ = place(one.run.ended if one.run.ended is not None else examined.ends, target)
        for column in range(first, last + 1):
            cells[row][column] = _TARGET
    channels = list(dict.fromkeys(reading.probe for reading in good))
    marks = {channel: _MARKS[n % len(_MARKS)] for n, channel in enumerate(channels)}
    for reading, value in zip(good, values, strict=True):
        column, row = place(reading.taken_at, value)
        cells[row][column] = marks[reading.probe]
    lines = [f"  {wording.unit}"]
    for row in range(_ROWS, -1, -1):
        value = low + (high - low) * row / _ROWS
        label = f"{value:7.1f} ┤" if row % 4 == 0 else "        │"
        lines.append(f"{label}{''.join(cells[row])}".rstrip())
    ends = wording.clock(examined.ends, seconds=True)
    start = wording.clock(begins, seconds=True)
    lines += [f"        └{'─' * columns}", f"         {start}{ends:>{max(1, columns - len(start))}}"]
    lines += [f"  {mark} {channel}" for channel, mark in marks.items()]
    lines.append(f"  {_TARGET} target")
    return lines
