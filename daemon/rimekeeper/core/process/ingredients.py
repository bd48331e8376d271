"""What goes into a mix: typical compositions of ingredients, and the mix of several by mass.

Real ingredients differ from these; a kitchen states its own from the label. Where a source names only water, fat
and the rest, the rest of a plain milk product is milk solids not fat.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.solutes import check_parts

_UNWEIGHED = frozenset({"syrup_de", "polyol_molar_mass"})
PARTS: tuple[str, ...] = tuple(one.name for one in fields(MixPlan) if one.name not in _UNWEIGHED)
"""The parts of a mix that are masses, in grams per 100 g."""


@dataclass(frozen=True, slots=True)
class Ingredient:
    """An ingredient, its composition per 100 g of it, and where that comes from."""

    name: str
    mix: MixPlan
    source: str


def total_of(mix: MixPlan) -> float:
    """What the parts add up to, grams per 100 g."""
    return math.fsum(getattr(mix, part) for part in PARTS)


def blended(parts: Sequence[tuple[float, MixPlan]]) -> MixPlan:
    """The composition of masses (any unit) of mixes stirred together.

    Raises:
        OutOfRangeError: no mass at all, or a mass or part that is negative or not a number.
    """
    for _, mix in parts:
        check_parts(mix)
    total = sum(mass for mass, _ in parts)
    if not all(math.isfinite(mass) and mass >= 0.0 for mass, _ in parts) or not 0.0 < total < math.inf:
        raise OutOfRangeError("Give at least one portion with a mass above zero, and none below.")
    mean = {part: sum(mass / total * getattr(mix, part) for mass, mix in parts) for part in PARTS}
    syrup = sum(mass / total * mix.syrup_solids * mix.syrup_de for mass, mix in parts)
    moles = sum(mass / total * mix.polyols / mix.polyol_molar_mass for mass, mix in parts)
    first = parts[0][1]
    return MixPlan(
        **mean,
        syrup_de=syrup / mean["syrup_solids"]
        if mean["syrup_solids"] > 0.0 and syrup > 0.0
        else first.syrup_de,
        polyol_molar_mass=mean["polyols"] / moles if moles > 0.0 else first.polyol_molar_mass,
    )


def ingredient(name: str) -> Ingredient | None:
    """The built-in ingredient of that name, however it is capitalised; None without one."""
    return INGREDIENTS.get(name.strip().casefold())


_USDA_1976 = "USDA Agriculture Handbook 8-1, Composition of Foods, dairy and egg products, revised 1976"
_USDA = "USDA FoodData Central (SR Legacy)"
_MEMORY = f"{_USDA}, from memory"
_PURE = "the pure substance"
_LABEL = "from memory, as on usual labels"
_SPIRITS = "Lange's Handbook of Chemistry, 15th ed., table 5.13: 40 % by volume is 33.4 % by mass"


def _milk(name: str, water: float, fat: float, source: str = _USDA_1976) -> Ingredient:
    return Ingredient(name, MixPlan(water=water, fat=fat, msnf=100.0 - water - fat), source)


def _polyol(name: str, molar_mass: float) -> Ingredient:
    return Ingredient(name, MixPlan(water=0.0, polyols=100.0, polyol_molar_mass=molar_mass), _PURE)


def _fruit(name: str, water: float, simple: float, sucrose: float, acids: float, fat: float) -> Ingredient:
    rest = 100.0 - water - simple - sucrose - acids - fat
    return Ingredient(
        name,
        MixPlan(
            water=water, monosaccharides=simple, sucrose=sucrose, acids=acids, fat=fat, fruit_solids=rest
        ),
        f"{_MEMORY}; acids from memory",
    )


_ALL = (
    Ingredient("water", MixPlan(water=100.0), _PURE),
    _milk("whole milk", 88.0, 3.3),
    _milk("lowfat milk", 89.2, 2.0),
    _milk("skim milk", 90.8, 0.2),
    _milk("buttermilk", 90.1, 0.9),
    _milk("plain yogurt", 88.0, 3.3),
    _milk("half and half", 80.6, 11.5),
    _milk("heavy cream", 57.7, 37.0),
    _milk("sour cream", 71.0, 21.0),
    _milk("evaporated milk", 74.0, 7.6),
    _milk("whole milk powder", 2.5, 26.7),
    _milk("skim milk powder", 3.2, 0.8, _MEMORY),
    _milk("unsalted butter", 17.9, 81.1, _MEMORY),
    Ingredient(
        "sweetened condensed milk",
        MixPlan(water=27.2, fat=8.7, msnf=20.6, sucrose=43.5),
        f"{_USDA_1976}; its added sugar from memory",
    ),
    Ingredient("sweet whey powder", MixPlan(water=3.2, fat=1.1, whey_solids=95.7), _MEMORY),
    Ingredient(
        "egg yolk",
        MixPlan(water=52.31, yolk_solids=47.69),
        f"{_USDA}: egg, yolk, raw, fresh; 52.31 g of water",
    ),
    Ingredient("sugar", MixPlan(water=0.0, sucrose=100.0), _PURE),
    Ingredient("dextrose", MixPlan(water=0.0, monosaccharides=100.0), _PURE),
    Ingredient(
        "dextrose monohydrate",
        MixPlan(water=9.1, monosaccharides=90.9),
        "molar masses: 18.02 g of water in 198.17 g",
    ),
    Ingredient("fructose", MixPlan(water=0.0, monosaccharides=100.0), _PURE),
    Ingredient("lactose", MixPlan(water=0.0, lactose=100.0), _PURE),
    Ingredient("invert sugar syrup", MixPlan(water=25.0, monosaccharides=75.0), _LABEL),
    Ingredient(
        "honey",
        MixPlan(water=17.1, monosaccharides=69.5, sucrose=12.6, other_solids=0.8),
        f"{_USDA}: honey, water and total sugars; simple sugars by a survey of United States honeys, 1980",
    ),
    Ingredient("glucose syrup 42 de", MixPlan(water=20.0, syrup_solids=80.0, syrup_de=42.0), _LABEL),
    Ingredient("glucose syrup 60 de", MixPlan(water=20.0, syrup_solids=80.0, syrup_de=60.0), _LABEL),
    Ingredient("dried glucose syrup 38 de", MixPlan(water=4.0, syrup_solids=96.0, syrup_de=38.0), _LABEL),
    Ingredient("maltodextrin 18 de", MixPlan(water=5.0, syrup_solids=95.0, syrup_de=18.0), _LABEL),
    Ingredient("salt", MixPlan(water=0.0, salt=100.0), _PURE),
    Ingredient("spirits 40 % vol", MixPlan(water=66.6, alcohol=33.4), _SPIRITS),
    Ingredient(
        "vanilla extract",
        MixPlan(water=52.6, alcohol=34.4, sucrose=12.7, other_solids=0.3),
        _MEMORY,
    ),
    _polyol("sorbitol", 182.17),
    _polyol("glycerol", 92.09),
    _polyol("erythritol", 122.12),
    _polyol("xylitol", 152.15),
    _polyol("maltitol", 344.31),
    _fruit("strawberries", 90.95, 4.42, 0.47, 0.9, 0.3),
    _fruit("raspberries", 85.75, 4.22, 0.2, 1.5, 0.65),
    _fruit("plums", 87.23, 8.35, 1.57, 1.2, 0.28),
    _fruit("mango", 83.46, 6.69, 6.97, 0.3, 0.38),
    _fruit("lemon juice", 92.31, 2.1, 0.42, 4.6, 0.24),
    Ingredient("cocoa powder", MixPlan(water=3.0, fat=13.7, sucrose=1.75, other_solids=81.55), _MEMORY),
    Ingredient("hazelnut paste", MixPlan(water=5.3, fat=60.75, sucrose=4.3, other_solids=29.65), _MEMORY),
    Ingredient("stabiliser", MixPlan(water=10.0, other_solids=90.0), _LABEL),
)
INGREDIENTS: Mapping[str, Ingredient] = {one.name: one for one in _ALL}
"""By name, in small letters."""
