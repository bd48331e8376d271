"""What is dissolved in the water of a mix, and how far it lowers the freezing point.

Sugars and milk solids go by the sucrose-equivalent method:

    SE = 0.545 MSNF + 0.765 WS + sucrose + lactose + syrup * DE / 100 + 1.9 * monosaccharides
    depression = table(100 SE / water) + 2.37 (MSNF + WS) / water

Sources: the coefficients and the 2.37 for salts are taught in the ice-cream notes of H. D. Goff (University
of Guelph) after Leighton (1927), as is the table (Goff and Hartel, *Ice Cream*); the table's last digits are
from memory and agree with the CRC Handbook's aqueous sucrose within 0.13 K.

What lies outside that method is added to it, in proportion to grams per gram of unfrozen water:

    alcohol, salt, polyols, acids: 1.86 K kg/mol * particles / molar mass
    yolk and fruit solids: a coefficient from a measured freezing point, or from their minerals

with the share of it that must be doubted. Beyond a stated strength the mix is refused instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.plan import MixPlan

LAST_CONCENTRATION = 180.0
"""Grams of sucrose equivalent per 100 g of water where the printed table ends."""
CRYOSCOPIC = 1.86
"""K kg/mol of water (any physical-chemistry text)."""
SUCROSE_MOLAR_MASS, MONOSACCHARIDE_MOLAR_MASS = 342.3, 180.16
"""g/mol; lactose weighs as much as sucrose."""
LACTOSE_OF_MSNF, LACTOSE_OF_WHEY = 0.545, 0.765

_STEP = 3.0
# Kelvin below 0 °C of a sucrose solution at 0, 3, 6 … 180 g per 100 g of water.
_DEPRESSION = (
    *(0.0, 0.18, 0.35, 0.53, 0.72, 0.90, 1.10, 1.29, 1.47, 1.67, 1.86, 2.03, 2.21, 2.40, 2.60, 2.78),
    *(2.99, 3.20, 3.42, 3.63, 3.85, 4.10, 4.33, 4.54, 4.77, 5.00, 5.26, 5.53, 5.77, 5.99, 6.23, 6.50),
    *(6.80, 7.04, 7.32, 7.56, 7.80, 8.04, 8.33, 8.62, 8.92, 9.19, 9.45, 9.71, 9.96, 10.22, 10.47),
    *(10.72, 10.97, 11.19, 11.41, 11.63, 11.88, 12.14, 12.40, 12.67, 12.88, 13.08, 13.28, 13.48, 13.68),
)
LAST_DEPRESSION = _DEPRESSION[-1]
_SALTS = 2.37


@dataclass(frozen=True, slots=True)
class Outsider:
    """A part of the mix outside the sucrose-equivalent method.

    ``kelvin`` is the depression per gram of it in a gram of water, ``doubt`` how much of that to doubt either
    way (K per g/g), ``most`` the grams per 100 g of water beyond which the mix is refused.
    """

    part: str
    words: str
    kelvin: float
    doubt: float
    most: float
    basis: str


def _molar(mass: float, particles: float = 1.0) -> float:
    return 1000.0 * CRYOSCOPIC * particles / mass


MOST_INERT = 1e6
"""g per 100 g of water: beyond it there is no water to speak of, whatever else there is."""

_ALCOHOL = _molar(46.07)
_SALT = _molar(58.44, 1.87)
_ACIDS = _molar(192.12, 1.1)
OUTSIDERS: tuple[Outsider, ...] = (
    Outsider("alcohol", "alcohol", _ALCOHOL, 0.15 * _ALCOHOL, 30.0, "ethanol, 46.07 g/mol, 1 particle, ±15 %"),
    Outsider("salt", "added salt", _SALT, 0.15 * _SALT, 10.0, "NaCl, 58.44 g/mol, 1.87 particles, ±15 %"),
    Outsider("polyols", "polyols", _molar(182.17), 0.15 * _molar(182.17), 60.0,
             "molar mass as stated, 1 particle, ±15 %"),
    Outsider("acids", "fruit acids", _ACIDS, 0.4 * _ACIDS, 15.0,
             "as citric acid, 192.12 g/mol, 1.1 particles, ±40 % (malic and tartaric are lighter)"),
    Outsider("yolk_solids", "yolk solids", 0.54, 0.27, 120.0,
             "yolk of 47.65 % water begins to freeze at -0.59 °C (differential thermal analysis of egg samples with "
             "carrageenan and salt, 2001), ±50 %"),
    Outsider("fruit_solids", "fruit solids", 3.4, 3.4, 30.0,
             "potassium of a plum by food tables (157 mg in 87 g of water; from memory), ±100 %"),
    Outsider("other_solids", "other solids", 0.0, 2.0, MOST_INERT,
             "counted as inert; ±2 K per g/g because nobody knows what they are"),
)  # fmt: skip
"""Checked against Lange's Handbook (15th ed., table 5.13): ethanol to 39 % by weight within 13 %, salt to 20 %
within 10 %, glycerol of 20 % to 50 % within 14 % (its row of 10 % says 1.6 K, which dilute theory puts at 2.2 K).
Limits are our choice."""

_OF_POLYOLS = next(one for one in OUTSIDERS if one.part == "polyols")
_PARTS = {
    "water": "water",
    "fat": "fat",
    "msnf": "milk solids not fat",
    "whey_solids": "whey solids",
    "sucrose": "sucrose",
    "lactose": "lactose",
    "monosaccharides": "monosaccharides",
    "syrup_solids": "syrup solids",
    "syrup_de": "syrup DE",
    "other_solids": "other solids",
    "alcohol": "alcohol",
    "salt": "salt",
    "polyols": "polyols",
    "acids": "acids",
    "yolk_solids": "yolk solids",
    "fruit_solids": "fruit solids",
}
LIGHTEST_POLYOL, HEAVIEST_POLYOL = 60.0, 2000.0


def sucrose_depression(grams_per_100g_water: float) -> float:
    """Kelvin by which that much sucrose lowers the freezing point of water (linear between table rows).

    Raises:
        OutOfRangeError: below 0 or beyond the printed table's 180 g per 100 g of water.
    """
    if not 0.0 <= grams_per_100g_water <= LAST_CONCENTRATION:
        raise OutOfRangeError(
            f"The freezing-point table covers 0 to {LAST_CONCENTRATION:.0f} g of sucrose equivalent per 100 g of "
            f"water; this mix has {grams_per_100g_water:.1f}. Check the sheet's water and sugars."
        )
    return depression(grams_per_100g_water)


def depression(grams: float) -> float:
    """The table, continued along its last slope beyond its end. ``grams`` from 0 up."""
    row = table_row(grams)
    below, above = _DEPRESSION[row], _DEPRESSION[row + 1]
    return below + (above - below) * (grams - row * _STEP) / _STEP


def table_row(grams: float) -> int:
    """The row of the table (from 0) that begins the interval of ``grams``."""
    return min(int(min(grams, LAST_CONCENTRATION) / _STEP), len(_DEPRESSION) - 2)


def table_slope(row: int) -> float:
    """Kelvin per gram in the interval that a row begins."""
    return (_DEPRESSION[row + 1] - _DEPRESSION[row]) / _STEP


def table_grams() -> Iterator[float]:
    """The concentrations at which the table's slope changes."""
    return (_STEP * row for row in range(1, len(_DEPRESSION)))


def sucrose_equivalent(mix: MixPlan) -> float:
    """Sucrose equivalent of the mix, grams per 100 g of mix.

    Raises:
        OutOfRangeError: when a part is negative or not a number.
    """
    check_parts(mix)
    return (
        LACTOSE_OF_MSNF * mix.msnf
        + LACTOSE_OF_WHEY * mix.whey_solids
        + mix.sucrose
        + mix.lactose
        + mix.syrup_solids * mix.syrup_de / 100.0
        + 1.9 * mix.monosaccharides
    )


def sugar_in_water(mix: MixPlan) -> float:
    """Sucrose equivalent in grams per 100 g of water, nothing frozen yet.

    Raises:
        OutOfRangeError: as :func:`sucrose_equivalent`, and when there is no water.
    """
    equivalent = sucrose_equivalent(mix)
    if mix.water <= 0.0:
        raise OutOfRangeError(
            "This mix has no water, so it has no freezing point. Give the sheet's water per 100 g."
        )
    return 100.0 * equivalent / mix.water


def milk_salts(mix: MixPlan) -> float:
    """The depression (K) by the salts of milk and whey, nothing frozen yet; there must be water."""
    return _SALTS * (mix.msnf + mix.whey_solids) / mix.water


def outsiders(mix: MixPlan) -> tuple[tuple[Outsider, float], ...]:
    """What the mix has outside the method, with its grams per gram of water.

    Raises:
        OutOfRangeError: when there is more of one than is claimed, or no water.
    """
    if mix.water <= 0.0:
        sugar_in_water(mix)
    found: list[tuple[Outsider, float]] = []
    for one in OUTSIDERS:
        strength = getattr(mix, one.part) / mix.water
        if strength <= 0.0:
            continue
        if not 100.0 * strength <= one.most:
            raise OutOfRangeError(
                f"With {100.0 * strength:.0f} g of {one.words} per 100 g of water nobody can compute when this mix "
                f"freezes; the freezing curve is claimed up to {one.most:.0f} g. Take less of it, or leave [mix] out."
            )
        found.append((_weighed(one, mix), strength))
    return tuple(found)


def _weighed(one: Outsider, mix: MixPlan) -> Outsider:
    """An outsider with the mix's own molar mass where it has one."""
    if one is not _OF_POLYOLS:
        return one
    kelvin = _molar(mix.polyol_molar_mass)
    return Outsider(one.part, one.words, kelvin, 0.15 * kelvin, one.most, one.basis)


def check_parts(mix: MixPlan) -> None:
    """See that every part is a number of 0 or more.

    Raises:
        OutOfRangeError: one of them isn't.
    """
    for part, name in _PARTS.items():
        value = getattr(mix, part)
        if not math.isfinite(value) or value < 0.0:
            raise OutOfRangeError(f"The mix's {name} must be 0 or more, not {value}.")
    if not LIGHTEST_POLYOL <= mix.polyol_molar_mass <= HEAVIEST_POLYOL:
        raise OutOfRangeError(
            f"The molar mass of polyols must be {LIGHTEST_POLYOL:.0f} to {HEAVIEST_POLYOL:.0f} g/mol, not "
            f"{mix.polyol_molar_mass}: sorbitol has 182.17, glycerol 92.09, erythritol 122.12."
        )
