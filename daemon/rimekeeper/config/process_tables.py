"""``heat`` and ``cooling`` of a stage: a built-in table or rule by its id, or the kitchen's own, written out."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from rimekeeper.config.edges import Strict
from rimekeeper.config.quantities import DurationText, TemperatureText, shown
from rimekeeper.config.validation import suggestion
from rimekeeper.core.model import Millis
from rimekeeper.core.process.cooling import RULES, Checkpoint, CoolingRule, checkpoints_in_order
from rimekeeper.core.process.heat_tables import TABLES, HeatRow, HeatTable, rows_in_order

OWN = "own"


class HeatRowSettings(Strict):
    """One row: at or above ``at`` for ``hold``."""

    at: TemperatureText
    hold: DurationText


class HeatSettings(Strict):
    """``heat`` written out: the kitchen's own table."""

    title: str = Field(min_length=1, max_length=120)
    source: str = Field(min_length=1, max_length=400)
    rows: tuple[HeatRowSettings, ...] = Field(strict=False, min_length=1)


class CheckpointSettings(Strict):
    """One checkpoint: at or below ``at`` within ``within`` of the start."""

    at: TemperatureText
    within: DurationText


class CoolingSettings(Strict):
    """``cooling`` written out: the kitchen's own rule."""

    title: str = Field(min_length=1, max_length=120)
    source: str = Field(min_length=1, max_length=400)
    start: TemperatureText
    checkpoints: tuple[CheckpointSettings, ...] = Field(strict=False, min_length=1)


def _text_or_table(given: Any) -> Any:
    if not isinstance(given, str | dict | HeatSettings | CoolingSettings):
        raise ValueError(f"{shown(given)} is neither the name of a table nor a table")  # noqa: TRY004
    return given


Heat = Annotated[str | HeatSettings, BeforeValidator(_text_or_table)]
Cooling = Annotated[str | CoolingSettings, BeforeValidator(_text_or_table)]


def heat_table(given: str | HeatSettings | None) -> HeatTable | None:
    """The table that a stage means; None for none, or one that isn't there."""
    if given is None or isinstance(given, str):
        return TABLES.get(given) if given is not None else None
    rows = tuple(HeatRow(row.at.celsius, Millis(row.hold)) for row in given.rows)
    return HeatTable(OWN, given.title, rows, given.source)


def cooling_rule(given: str | CoolingSettings | None) -> CoolingRule | None:
    """The rule that a stage means; None for none, or one that isn't there."""
    if given is None or isinstance(given, str):
        return RULES.get(given) if given is not None else None
    points = tuple(Checkpoint(point.at.celsius, Millis(point.within)) for point in given.checkpoints)
    return CoolingRule(OWN, given.title, given.start.celsius, points, given.source)


def faults(
    heat: str | HeatSettings | None, cooling: str | CoolingSettings | None
) -> Iterator[tuple[str, str, str]]:
    """(key, what is wrong, what to do) of a stage's heat table and cooling rule."""
    table, rule = heat_table(heat), cooling_rule(cooling)
    if isinstance(heat, str) and table is None:
        yield "heat", f'there is no heat table "{heat}"', suggestion(heat, TABLES, "Tables")
    elif table is not None and not rows_in_order(table.rows):
        yield (
            "heat",
            "its rows are out of order: each must be hotter than the one before and take less time",
            "Sort them by temperature and look at the times.",
        )
    if isinstance(cooling, str) and rule is None:
        yield "cooling", f'there is no cooling rule "{cooling}"', suggestion(cooling, RULES, "Rules")
    elif rule is not None and not checkpoints_in_order(rule):
        yield (
            "cooling",
            "its checkpoints are out of order: each must be colder and later than the one before, all below start",
            "Sort them by time and look at the temperatures.",
        )
