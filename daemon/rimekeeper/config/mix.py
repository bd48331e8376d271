"""``[mix]`` of a sheet: composition in percent or as ingredients by mass, and targets given as percent frozen."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from rimekeeper.config.edges import Strict
from rimekeeper.config.quantities import shown
from rimekeeper.config.validation import suggestion
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import initial_freezing_point, temperature_for
from rimekeeper.core.process.ingredients import INGREDIENTS, PARTS, blended, ingredient, total_of
from rimekeeper.core.process.solutes import HEAVIEST_POLYOL, LIGHTEST_POLYOL

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
_MASS = re.compile(rf"\s*({_NUMBER})\s*(mg|g|kg|oz|lb)\s*")
_SHARE = re.compile(rf"\s*({_NUMBER})\s*%\s*")
_GRAMS = {"mg": 1e-3, "g": 1.0, "kg": 1e3, "oz": 28.349523125, "lb": 453.59237}
_MOST_GRAMS = 1e7
_OFF = 0.5


def mass(text: object) -> float:
    """Read "520 g", "1.2 kg" or "8 oz": grams."""
    if isinstance(text, float):
        text = f"{text}"
    match = _MASS.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(
            f'{shown(text)} is not a mass; write a number and its unit, such as "520 g" or "1.2 kg"'
        )
    grams = float(match[1]) * _GRAMS[match[2]]
    if grams < 0.0:
        raise ValueError(f"{shown(text)} is negative; nothing weighs less than nothing")
    if grams > _MOST_GRAMS:
        raise ValueError(f"{shown(text)} is more than a kitchen can hold")
    return grams


def share(text: object) -> float:
    """Read "50 %": a share of 1, above 0 and below 1."""
    match = _SHARE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f'{shown(text)} is not a share; write a number of percent, such as "50 %"')
    found = float(match[1]) / 100.0
    if not 0.0 < found < 1.0:
        raise ValueError(f'{shown(text)} can\'t be; write more than "0 %" and less than "100 %"')
    return found


MassText = Annotated[float, BeforeValidator(mass)]
ShareText = Annotated[float, BeforeValidator(share)]


class CompositionSettings(Strict):
    """Composition in grams per 100 g (percent)."""

    water: float = Field(default=0.0, ge=0, le=100, strict=False)
    fat: float = Field(default=0.0, ge=0, le=100, strict=False)
    msnf: float = Field(default=0.0, ge=0, le=100, strict=False)
    whey_solids: float = Field(default=0.0, ge=0, le=100, strict=False)
    sucrose: float = Field(default=0.0, ge=0, le=100, strict=False)
    monosaccharides: float = Field(default=0.0, ge=0, le=100, strict=False)
    syrup_solids: float = Field(default=0.0, ge=0, le=100, strict=False)
    syrup_de: float = Field(default=42.0, ge=0, le=100, strict=False)
    other_solids: float = Field(default=0.0, ge=0, le=100, strict=False)
    lactose: float = Field(default=0.0, ge=0, le=100, strict=False)
    alcohol: float = Field(default=0.0, ge=0, le=100, strict=False)
    salt: float = Field(default=0.0, ge=0, le=100, strict=False)
    polyols: float = Field(default=0.0, ge=0, le=100, strict=False)
    polyol_molar_mass: float = Field(default=182.17, ge=LIGHTEST_POLYOL, le=HEAVIEST_POLYOL, strict=False)
    acids: float = Field(default=0.0, ge=0, le=100, strict=False)
    yolk_solids: float = Field(default=0.0, ge=0, le=100, strict=False)
    fruit_solids: float = Field(default=0.0, ge=0, le=100, strict=False)

    def plan(self) -> MixPlan:
        """The parts as they are written."""
        return MixPlan(**self.model_dump(include={*PARTS, "syrup_de", "polyol_molar_mass"}))


class OwnCompositionSettings(CompositionSettings):
    """``composition``: the kitchen's own ingredient; it may have no water."""

    @model_validator(mode="after")
    def _adds_up(self) -> OwnCompositionSettings:
        _check_total(self.plan())
        return self


class IngredientSettings(Strict):
    """``[[mix.ingredient]]``: one ingredient by mass, built in by its name or with a composition of its own."""

    name: str = Field(min_length=1, max_length=80)
    mass: MassText
    composition: OwnCompositionSettings | None = None


class MixSettings(CompositionSettings):
    """``[mix]``: composition in grams per 100 g of mix (percent), or the ingredients by mass."""

    ingredient: tuple[IngredientSettings, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _adds_up(self) -> MixSettings:
        if self.ingredient:
            both = sorted(self.model_fields_set - {"ingredient"})
            if both:
                raise ValueError(
                    f"{both[0]} and ingredients are both given; write the composition in percent or list ingredients, "
                    "not both"
                )
            if not sum(one.mass for one in self.ingredient) > 0.0:
                raise ValueError("its ingredients weigh nothing; give their masses")
            return self
        if self.water <= 0:
            raise ValueError("there is no water in it; nothing would freeze. Give water in percent")
        _check_total(self.plan())
        return self


def _check_total(mix: MixPlan) -> None:
    total = total_of(mix)
    if not abs(total - 100.0) <= _OFF:
        raise ValueError(
            f"the parts add up to {total:.1f} %, not to 100 %; put what is missing into other_solids or correct a part"
        )


def mix_plan(mix: MixSettings) -> MixPlan | None:
    """The composition; None when an ingredient isn't known."""
    if not mix.ingredient:
        return mix.plan()
    parts = []
    for one in mix.ingredient:
        composition = _composition(one)
        if composition is None:
            return None
        parts.append((one.mass, composition))
    return blended(parts)


def _composition(one: IngredientSettings) -> MixPlan | None:
    if one.composition is not None:
        return one.composition.plan()
    known = ingredient(one.name)
    return known.mix if known is not None else None


def frozen_target(mix: MixSettings | None, wanted: float | None) -> Temperature | None:
    """The temperature at which that share of the mix's water is ice; None where nobody can say."""
    plan = mix_plan(mix) if mix is not None else None
    if plan is None or wanted is None:
        return None
    try:
        return temperature_for(plan, wanted)
    except OutOfRangeError:
        return None


@dataclass(frozen=True, slots=True)
class MixFault:
    """Something about a mix: where in ``[mix]``, what, and what to do."""

    path: tuple[str | int, ...]
    message: str
    remedy: str
    warning: bool = False


def mix_faults(mix: MixSettings) -> Iterator[MixFault]:
    """Ingredients that nobody knows, a mix without water, and one whose freezing can't be computed (a warning)."""
    unknown = [n for n, one in enumerate(mix.ingredient) if _composition(one) is None]
    for number in unknown:
        name = mix.ingredient[number].name
        yield MixFault(
            ("ingredient", number, "name"),
            f'there is no built-in ingredient "{name}"',
            f"{suggestion(name, INGREDIENTS, 'Built in')} Or give its own composition = {{ water = ..., ... }}.",
        )
    plan = mix_plan(mix)
    if plan is None:
        return
    if plan.water <= 0.0:
        yield MixFault(
            ("ingredient",), "there is no water in these ingredients; nothing would freeze", "Add some."
        )
        return
    try:
        initial_freezing_point(plan)
    except OutOfRangeError as refused:
        yield MixFault((), f"its freezing can't be computed. {refused}", "", warning=True)


FREEZING_KINDS = ("temper", "combine", "churn", "harden", "store")
"""Kinds of stages whose target may be given as percent frozen."""


def target_faults(
    kind: str, target: Temperature | None, wanted: float | None, mix: MixSettings | None
) -> Iterator[tuple[str, str]]:
    """(what is wrong, what to do) of a stage's ``target_frozen``."""
    if wanted is None:
        return
    if target is not None:
        yield "target and target_frozen are both given", "Leave one of them out."
    elif kind not in FREEZING_KINDS:
        yield (
            f'nothing freezes in a stage of kind "{kind}"',
            f"Give a target in degrees. It is for {', '.join(FREEZING_KINDS)}.",
        )
    elif mix is None:
        yield "a target as percent frozen needs the mix", "Add [mix], or give a target in degrees."
    elif (plan := mix_plan(mix)) is not None:
        try:
            temperature_for(plan, wanted)
        except OutOfRangeError as refused:
            yield f"{refused}".removesuffix("."), "Give a target in degrees."
