"""What a mix is while it freezes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields

from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process import freezing
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
}
_DEFAULTS = {f.name: f.default for f in fields(MixPlan) if isinstance(f.default, float)}
_MIX = tuple(
    Input(name, "", meaning if name == "syrup_de" else f"{meaning}, g per 100 g of mix", _DEFAULTS.get(name))
    for name, meaning in _PARTS.items()
)
_CURVE_SOURCE = "sucrose equivalents after Leighton (1927); table of Goff and Hartel, Ice Cream"
_CURVE_VALIDITY = "up to 180 g of sucrose equivalent per 100 g of water, to -40 °C; not for alcohol or salt"
_AT = Input("temperature", "°C", "temperature of the mix")


def _mix(given: Mapping[str, float]) -> MixPlan:
    for name in _PARTS:
        if not 0.0 <= given[name] <= 100.0:
            raise OutOfRangeError(f"{name}: {given[name]:g} can't be: give 0 to 100 g per 100 g of mix.")
    return MixPlan(**{name: given[name] for name in _PARTS})


def _of_mix(
    name: str, title: str, answer: str, unit: str, extra: tuple[Input, ...],
    run: Callable[[MixPlan, Mapping[str, float]], float],
) -> Computation:  # fmt: skip
    return Computation(
        name,
        title,
        (*_MIX, *extra),
        unit or "a share of 1",
        _CURVE_VALIDITY,
        _CURVE_SOURCE,
        lambda given: (Answer(answer, run(_mix(given), given), unit),),
    )


def _at(given: Mapping[str, float]) -> Temperature:
    return Temperature(given["temperature"])


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
    ),
    _of_mix(
        "water-frozen",
        "share of a mix's water that is ice at a temperature",
        "share",
        "",
        (_AT,),
        lambda mix, given: freezing.water_frozen(mix, _at(given)),
    ),
    _of_mix(
        "temperature-for-ice",
        "temperature at which a share of a mix's water is ice",
        "temperature",
        "°C",
        (Input("share", "", "share of the water that is ice, from 0 to below 1"),),
        lambda mix, given: freezing.temperature_for(mix, given["share"]).celsius,
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
