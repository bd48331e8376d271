"""Every kind of sensor, by name. A new one is a file with its ``KINDS`` and a line here."""

from __future__ import annotations

from collections.abc import Mapping

from rimekeeper.core.sensing.sensors import integers, loop, platinum, thermistor, thermocouple
from rimekeeper.core.sensing.sensors.contract import SensorKind

SENSORS: Mapping[str, SensorKind] = {
    kind.name: kind
    for kind in (
        *platinum.KINDS,
        *thermocouple.KINDS,
        *thermistor.KINDS,
        *loop.KINDS,
        *integers.KINDS,
    )
}
