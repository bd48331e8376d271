"""What a mix is while it freezes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields

from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process import freezing, freezing_doubt
from rimekeeper.core.sensing.sensors.contract import Input

_PARTS = {
    "water": "water",
    "fat": "milk fat",
    "msnf": "milk solids not fat",
    "whey_solids": "whey solids",
    "sucrose": "sucrose",
    "monosaccharides": "dextrose, fructose",
    "syrup_solids": "glucose syrup solids",
    "syrup_de": "dextrose equivalent of the syrup",
    "other_solids": "what else is solid; counts as inert",
    "lactose": "added lactose",
    "alcohol": "ethanol",
    "salt": "added salt",
    "polyols": "polyols",
    "polyol_molar_mass": "g/mol of the polyols",
    "acids": "fruit acids",
    "yolk_solids": "solids of egg yolk",
    "fruit_solids": "solids of fruit but its sugars and acids",
}
_NO_MASSES = frozenset({"syrup_de", "polyol_molar_mass"})
_DEFAULTS = {f.name: f.default for f in fields(MixPlan) if isinstance(f.default, float)}
_MIX = tuple(
    Input(name, "", meaning if name in _NO_MASSES else f"{meaning}, g per 100 g of mix", _DEFAULTS.get(name))
    for name, meaning in _PARTS.items()
)
MIX_INPUTS = _MIX
"""Inputs of a mix's composition, for every computation about one."""
_CURVE_SOURCE = (
    "sucrose equivalents after Leighton (1927); table of Goff and Hartel, Ice Cream; alcohol, salt, polyols and acids "
    "by molar mass"
)
_CURVE_VALIDITY = "up to 180 g of sucrose equivalent and 30 g of alcohol per 100 g of water, to -40 °C"
_AT = Input("temperature", "°C", "temperature of the mix")


def mix_of(given: Mapping[str, float]) -> MixPlan:
    """The mix that the inputs say.

    Raises:
        OutOfRangeError: a part that is no share of 100 g.
    """
    for name in _PARTS:
        if name != "polyol_molar_mass" and not 0.0 <= given[name] <= 100.0:
            raise OutOfRangeError(f"{name}: {given[name]:g} can't be: give 0 to 100 g per 100 g of mix.")
    return MixPlan(**{name: given[name] for name in _PARTS})


def _of_mix(
    name: str, title: str, answer: str, unit: str, extra: tuple[Input, ...],
    run: Callable[[MixPlan, Mapping[str, float]], float],
    doubt: Callable[[MixPlan, Mapping[str, float]], float] | None = None,
) -> Computation:  # fmt: skip
    def _answers(mix: MixPlan, given: Mapping[str, float]) -> tuple[Answer, ...]:
        found = Answer(answer, run(mix, given), unit)
        if doubt is None:
            return (found,)
        return (found, Answer("uncertainty either way", doubt(mix, given), "K" if unit == "°C" else unit))

    return Computation(
        name,
        title,
        (*_MIX, *extra),
        unit or "a share of 1",
        _CURVE_VALIDITY,
        _CURVE_SOURCE,
        lambda given: _answers(mix_of(given), given),
    )


def _at(given: Mapping[str, float]) -> Temperature:
    return Temperature(given["temperature"])


def _colligative(given: Mapping[str, float]) -> tuple[Answer, ...]:
    found = freezing_doubt.colligative_check(mix_of(given))
    return (
        Answer("temperature", found.by_molar_mass, "°C"),
        Answer("by the method", found.by_method, "°C"),
        Answer("difference", found.difference, "K"),
    )


OF_FREEZING: tuple[Computation, ...] = (
    Computation(
        "sucrose-depression",
        "how far sucrose lowers the freezing point of water",
        (Input("concentration", "", "sucrose, g per 100 g of water"),),
        "K",
        "0 to 180 g per 100 g of water",
        _CURVE_SOURCE,
        lambda given: (Answer("depression", freezing.sucrose_depression(given["concentration"]), "K"),),
    ),
    _of_mix(
        "sucrose-equivalent",
        "sucrose equivalent of a mix",
        "equivalent",
        "g per 100 g",
        (),
        lambda mix, _: freezing.sucrose_equivalent(mix),
    ),
    _of_mix(
        "freezing-point",
        "where the first ice can form in a mix",
        "temperature",
        "°C",
        (),
        lambda mix, _: freezing.initial_freezing_point(mix).celsius,
        lambda mix, _: freezing_doubt.freezing_point_uncertainty(mix),
    ),
    _of_mix(
        "water-frozen",
        "share of a mix's water that is ice at a temperature",
        "share",
        "",
        (_AT,),
        lambda mix, given: freezing.water_frozen(mix, _at(given)),
        lambda mix, given: freezing_doubt.fraction_uncertainty(mix, _at(given)),
    ),
    _of_mix(
        "temperature-for-ice",
        "temperature at which a share of a mix's water is ice",
        "temperature",
        "°C",
        (Input("share", "", "share of the water that is ice, from 0 to below 1"),),
        lambda mix, given: freezing.temperature_for(mix, given["share"]).celsius,
        lambda mix, given: freezing_doubt.temperature_uncertainty(mix, given["share"]),
    ),
    Computation(
        "colligative-freezing-point",
        "freezing point of a mix if every dissolved molecule counted alike, beside the method's",
        MIX_INPUTS,
        "°C",
        _CURVE_VALIDITY,
        "colligative law, 1.86 K kg/mol",
        _colligative,
        "an independent check of the method, not a better answer: sugar binds water",
    ),
    _of_mix(
        "mix-enthalpy",
        "heat content of a mix, from unfrozen mix at 0 °C",
        "enthalpy",
        "kJ/kg",
        (_AT,),
        lambda mix, given: freezing.specific_enthalpy(mix, _at(given)),
    ),
    _of_mix(
        "mix-heat-capacity",
        "heat to warm a mix by one kelvin, melting included",
        "heat capacity",
        "kJ/(kg K)",
        (_AT,),
        lambda mix, given: freezing.effective_heat_capacity(mix, _at(given)),
    ),
)
