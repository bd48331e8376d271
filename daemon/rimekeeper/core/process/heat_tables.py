"""Time-temperature tables for heat treatment, as data with their source and edition.

A row is met by being at or above its temperature without a break for its time, every particle of it. Printed Celsius
columns are rounded up from Fahrenheit (155 °F is 68.33 °C and printed as 69 °C); the printed figure is kept, because it
is the safer one, and the Fahrenheit figure stands beside it. Which table binds a kitchen, its local food code decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from rimekeeper.core.model import SECOND, Millis


@dataclass(frozen=True, slots=True)
class HeatRow:
    """At or above ``celsius`` for ``hold`` without a break; ``printed`` is the row as its source prints it."""

    celsius: float
    hold: Millis
    printed: str = ""


@dataclass(frozen=True, slots=True)
class HeatTable:
    """Rows by rising temperature, any one of which is enough."""

    id: str
    title: str
    rows: tuple[HeatRow, ...]
    source: str
    note: str = ""


def _row(celsius: float, hold: float, printed: str) -> HeatRow:
    return HeatRow(celsius, Millis(round(hold * SECOND)), printed)


_TABLES = (
    HeatTable(
        "frozen-dessert-mix-us",
        "Frozen-dessert mix and eggnog (United States)",
        (
            _row(69.0, 1_800.0, "155 °F (69 °C), 30 min"),
            _row(80.0, 25.0, "175 °F (80 °C), 25 s"),
            _row(83.0, 15.0, "180 °F (83 °C), 15 s"),
        ),
        "21 CFR 1240.61(c) for eggnog; the same rows for frozen-dessert mix in Michigan MCL 288.697",
        "Printed Celsius column; the Fahrenheit column is up to 0.8 °C lower.",
    ),
    HeatTable(
        "ice-cream-uk",
        "Ice cream (United Kingdom)",
        (
            _row(65.6, 1_800.0, "65.6 °C, 30 min"),
            _row(71.1, 600.0, "71.1 °C, 10 min"),
            _row(79.4, 15.0, "79.4 °C, 15 s"),
        ),
        "SI 1995/1372, schedule 6 (Scotland)",
        "Then to 7.2 °C or below within 1.5 h until it is frozen.",
    ),
    HeatTable(
        "eggs-served-at-once-us",
        "Raw eggs broken for immediate service (United States)",
        (_row(63.0, 15.0, "145 °F (63 °C), 15 s"),),
        "FDA Food Code 3-401.11(A)(1)",
        "Not for a base that is kept: a custard base is not served at once.",
    ),
    HeatTable(
        "sugared-yolk-us",
        "Liquid egg yolk with 2 % sugar or more (United States)",
        (_row(62.3, 372.0, "144 °F, 6.2 min"), _row(63.4, 210.0, "146 °F, 3.5 min")),
        "9 CFR 590.570; Celsius rounded up by us to 0.1 °C",
    ),
)
TABLES: Mapping[str, HeatTable] = {table.id: table for table in _TABLES}
"""The tables by id; a kitchen may add its own."""


def rows_in_order(rows: tuple[HeatRow, ...]) -> bool:
    """Whether a table makes sense: hotter rows need less time."""
    return (
        bool(rows)
        and rows[-1].hold > 0
        and all(a.celsius < b.celsius and a.hold > b.hold for a, b in pairwise(rows))
    )
