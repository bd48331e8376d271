"""A thermocouple whose cold junction another probe measures.

The junction is the terminal block where the thermocouple ends in copper; E(t) = E measured + E(t of the junction),
so that an error of the junction is an error of the reading, kelvin for kelvin, and an unknown junction makes it none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rimekeeper.core.model import Instant, ProbeId, Reason
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.sensors.contract import Refusal
from rimekeeper.core.sensing.sensors.thermocouple import (
    COLDEST_JUNCTION,
    HOTTEST_JUNCTION,
    ThermocoupleSensor,
)
from rimekeeper.core.state import ProbeSlot


@dataclass(frozen=True, slots=True)
class NoJunction:
    """Stands in for the sensor while nobody knows how warm its cold junction is: nothing is a temperature."""

    why: str

    def to_celsius(self, value: float) -> float | Refusal:  # noqa: ARG002 - whatever was measured
        """No temperature."""
        return Refusal(Reason.JUNCTION, self.why)

    def from_celsius(self, celsius: float) -> float | Refusal:  # noqa: ARG002 - whatever is asked
        """No voltage."""
        return Refusal(Reason.JUNCTION, self.why)


def with_junction(probe: ProbePlan, slots: Mapping[ProbeId, ProbeSlot], at: Instant) -> ProbePlan:
    """The probe with its cold junction as it was measured last.

    Args:
        probe: its plan; one without a junction probe is given back as it is.
        slots: what is known of every probe.
        at: arrival of the sample that is to be converted.

    A junction that was not heard for as long as the probe itself may be silent, or whose last reading was not
    good, is not known.
    """
    if probe.junction is None or not isinstance(probe.sensor, ThermocoupleSensor):
        return probe
    slot = slots.get(probe.junction)
    if slot is None or slot.good_at is None or slot.good_celsius is None or slot.last_at != slot.good_at:
        return replace(probe, sensor=NoJunction(f"probe {probe.junction} gives no good reading"))
    if at - slot.good_at > probe.silent_after:
        return replace(probe, sensor=NoJunction(f"probe {probe.junction} has not been heard lately"))
    celsius = slot.good_celsius
    if not COLDEST_JUNCTION <= celsius <= HOTTEST_JUNCTION:
        return replace(
            probe,
            sensor=NoJunction(f"probe {probe.junction} shows {celsius:.1f} °C, which no terminal block has"),
        )
    curve = probe.sensor.curve
    return replace(probe, sensor=ThermocoupleSensor(curve, curve.microvolts(celsius)))
