"""``sensor`` of a probe: a kind by name, or a table of a kind and its parameters, held against the registry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.config.declared_inputs import EXAMPLES, quantity
from rimekeeper.config.quantities import shown
from rimekeeper.config.validation import suggestion
from rimekeeper.core.sensing.sensors import SENSORS
from rimekeeper.core.sensing.sensors.contract import Fault, Sensor, SensorKind


@dataclass(frozen=True)
class SensorFault:
    """What is wrong with a sensor's table: the keys below ``sensor``, what, and the remedy."""

    path: tuple[str, ...]
    what: str
    remedy: str = ""
    only_a_warning: bool = False


@dataclass(frozen=True)
class SensorRead:
    """The sensor, if it can be, and everything that is wrong."""

    sensor: Sensor | None
    faults: tuple[SensorFault, ...] = ()


def sensor_of(given: str | Mapping[str, object] | None, *, measured_junction: bool = False) -> Sensor | None:
    """The sensor of a probe whose file is in order."""
    return None if given is None else read_sensor(given, measured_junction=measured_junction).sensor


def sensor_kind(given: str | Mapping[str, object] | None) -> str | None:
    """The kind that is named, whether or not there is one."""
    kind = given.get("kind") if isinstance(given, Mapping) else given
    return kind if isinstance(kind, str) else None


def read_sensor(given: str | Mapping[str, object], *, measured_junction: bool = False) -> SensorRead:
    """Read what stands under ``sensor``.

    Args:
        given: a kind, or a table of a kind and its parameters.
        measured_junction: another probe measures the cold junction, so that the table has none.
    """
    table: Mapping[str, object] = {"kind": given} if isinstance(given, str) else given
    if measured_junction and "cold_junction" not in table:
        table = {**table, "cold_junction": "0 C"}
    if "kind" not in table:
        return SensorRead(
            None, (SensorFault((), "the sensor's kind is missing", 'Add kind = "pt100" or what it is.'),)
        )
    name = table["kind"]
    kind = SENSORS.get(name) if isinstance(name, str) else None
    if kind is None:
        place = () if isinstance(given, str) else ("kind",)
        remedy = suggestion(str(name), SENSORS, "Kinds")
        return SensorRead(None, (SensorFault(place, f"there is no sensor {shown(name)}", remedy),))
    parameters, faults = _parameters(kind, table)
    if faults:
        return SensorRead(None, tuple(faults))
    built = kind.build(parameters)
    if isinstance(built, Fault):
        return SensorRead(None, (SensorFault(_place(built.key, table), built.what, built.remedy),))
    if kind.caution:
        return SensorRead(built, (SensorFault((), kind.caution, only_a_warning=True),))
    return SensorRead(built)


def _parameters(kind: SensorKind, table: Mapping[str, object]) -> tuple[dict[str, float], list[SensorFault]]:
    found: dict[str, float] = {}
    faults: list[SensorFault] = []
    names = [p.name for p in kind.parameters]
    for key in table:
        if key != "kind" and key not in names:
            remedy = suggestion(key, names, f"Parameters of {kind.name}")
            faults.append(SensorFault((key,), f'{kind.name} has no parameter "{key}"', remedy))
    for declared in kind.parameters:
        if declared.name in table:
            try:
                found[declared.name] = quantity(declared, table[declared.name])
            except ValueError as fault:
                faults.append(SensorFault((declared.name,), str(fault)))
        elif declared.default is not None:
            found[declared.name] = declared.default
        else:
            example = EXAMPLES.get(declared.unit, "its number").split(" or ")[0]
            what = f"{kind.name} needs {declared.name}: {declared.meaning}"
            faults.append(SensorFault((), what, f"Add {declared.name} = {example} to the probe's sensor."))
    return found, faults


def _place(key: str, table: Mapping[str, object]) -> tuple[str, ...]:
    return (key,) if key in table else ()
