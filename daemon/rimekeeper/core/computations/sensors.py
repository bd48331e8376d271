"""Each kind of sensor both ways, and a thermistor's coefficients through its table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.sensing.sensors import SENSORS
from rimekeeper.core.sensing.sensors.contract import Fault, Input, Refusal, SensorKind
from rimekeeper.core.sensing.sensors.thermistor import steinhart_hart_through


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

OF_SENSORS: tuple[Computation, ...] = (
    *(made for kind in SENSORS.values() for made in _of_sensor(kind)),
    _FIT,
)
