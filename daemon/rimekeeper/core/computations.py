"""Every computation that can be asked for by name, to check a number against a handbook.

Each declares its inputs with units, what it gives, its range of validity and its source. A new one is a
:class:`Computation` in a list here; sensors join by themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import ABSOLUTE_ZERO, Scale, Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process import freezing
from rimekeeper.core.sensing.sensors import SENSORS
from rimekeeper.core.sensing.sensors.contract import Fault, Input, Refusal, SensorKind
from rimekeeper.core.sensing.sensors.thermistor import steinhart_hart_through


@dataclass(frozen=True, slots=True)
class Answer:
    """One number of the answer and its unit."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Computation:
    """A computation: ``run`` takes every input in its declared unit.

    ``run`` raises OutOfRangeError with a sentence outside the validity, and gives finite numbers otherwise.
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    gives: str
    validity: str
    source: str
    run: Callable[[Mapping[str, float]], tuple[Answer, ...]]
    caution: str = ""


def _of_sensor(kind: SensorKind) -> Iterator[Computation]:
    def to_celsius(given: Mapping[str, float]) -> tuple[Answer, ...]:
        return (Answer("temperature", _converted(kind, given, back=False), "°C"),)

    def from_celsius(given: Mapping[str, float]) -> tuple[Answer, ...]:
        return (Answer(kind.signal.name, _converted(kind, given, back=True), kind.signal.unit),)

    temperature = Input("temperature", "°C", "temperature of the sensor")
    yield Computation(
        kind.name,
        f"{kind.title}: temperature from {kind.signal.name}",
        (kind.signal, *kind.parameters),
        "°C",
        kind.validity,
        kind.source,
        to_celsius,
        kind.caution,
    )
    yield Computation(
        f"{kind.name}-inverse",
        f"{kind.title}: {kind.signal.name} from temperature",
        (temperature, *kind.parameters),
        kind.signal.unit or "a number",
        kind.validity,
        kind.source,
        from_celsius,
        kind.caution,
    )


def _converted(kind: SensorKind, given: Mapping[str, float], *, back: bool) -> float:
    sensor = kind.build(given)
    if isinstance(sensor, Fault):
        raise OutOfRangeError(f"{sensor.key}: {sensor.what}. {sensor.remedy}")
    key = "temperature" if back else kind.signal.name
    found = sensor.from_celsius(given[key]) if back else sensor.to_celsius(given[key])
    if isinstance(found, Refusal):
        raise OutOfRangeError(f"{key}: {found.why}. {kind.name} holds for {kind.validity}.")
    return found


def _fit(given: Mapping[str, float]) -> tuple[Answer, ...]:
    points = tuple((given[f"t{n}"], given[f"r{n}"]) for n in (1, 2, 3))
    found = steinhart_hart_through(points)
    if found is None:
        raise OutOfRangeError(
            "t1, r1 to t3, r3: no thermistor goes through these points. Take three different temperatures with "
            "their three different resistances, from the table of the data sheet."
        )
    return tuple(Answer(name, value, "1/K") for name, value in zip("abc", found, strict=True))


_FIT = Computation(
    "steinhart-hart-fit",
    "coefficients of a thermistor through three points of its table",
    tuple(
        made
        for n in (1, 2, 3)
        for made in (Input(f"t{n}", "°C", f"temperature {n}"), Input(f"r{n}", "ohm", f"resistance at t{n}"))
    ),
    "1/K",
    "exact at the points; take the ends and the middle of the span that matters",
    "Steinhart and Hart, Deep-Sea Research 15 (1968) 497",
    _fit,
)


def _scales() -> Iterator[Computation]:
    words = {Scale.FAHRENHEIT: ("fahrenheit", "°F"), Scale.KELVIN: ("kelvin", "K")}
    for scale, (word, unit) in words.items():
        yield Computation(
            f"celsius-to-{word}",
            f"a temperature in {unit}",
            (Input("temperature", "°C", "temperature"),),
            unit,
            "absolute zero and above",
            "by definition: NIST SP 811, BIPM SI Brochure",
            lambda given, scale=scale, unit=unit: (  # type: ignore[misc]
                Answer("temperature", scale.from_celsius(_possible(given["temperature"])), unit),
            ),
        )
        yield Computation(
            f"{word}-to-celsius",
            f"°C from a number of {unit}",
            (Input("number", "", f"temperature in {unit}"),),
            "°C",
            "absolute zero and above",
            "by definition: NIST SP 811, BIPM SI Brochure",
            lambda given, scale=scale: (  # type: ignore[misc]
                Answer("temperature", _possible(scale.to_celsius(given["number"])), "°C"),
            ),
        )


def _possible(celsius: float) -> float:
    if not ABSOLUTE_ZERO <= celsius <= 1e6:
        raise OutOfRangeError(f"{celsius:g} °C is no temperature: give one from {ABSOLUTE_ZERO} °C up.")
    return celsius


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


_FREEZING = (
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

COMPUTATIONS: Mapping[str, Computation] = {
    one.name: one
    for one in (
        *(made for kind in SENSORS.values() for made in _of_sensor(kind)),
        _FIT,
        *_scales(),
        *_FREEZING,
    )
}
