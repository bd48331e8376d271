"""The workshop as a whole: rooms, what lies in them, and the probes that are stuck into it."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from rimekeeper.core.model import ProbeId
from rimekeeper.simulation.cooling import InTheOpen
from rimekeeper.simulation.instruments import IN_AIR, IN_MIX, IN_TRAY, Probe, ProbeBuild
from rimekeeper.simulation.rooms import CABINET, CANISTERS, FRIDGE, WALK_IN, ColdRoom
from rimekeeper.simulation.stove import Pan

KITCHEN_AIR = 21.0

PAN, BOWL, PORTION = ProbeId("pan"), ProbeId("bowl"), ProbeId("portion")
SHERBET, SHERBET_TUB = ProbeId("sherbet"), ProbeId("sherbet-tub")
TRAY_A, TRAY_B = ProbeId("tray-a"), ProbeId("tray-b")
WALK_IN_AIR, WALK_IN_TUB = ProbeId("walkin-air"), ProbeId("walkin-tub")
FRIDGE_AIR, CABINET_AIR, CANISTER_AIR = ProbeId("fridge-air"), ProbeId("cabinet-air"), ProbeId("canister-air")

IN_ROOMS: dict[ProbeId, tuple[str, str]] = {
    WALK_IN_AIR: ("walkin", "air"),
    WALK_IN_TUB: ("walkin", "product"),
    FRIDGE_AIR: ("fridge", "air"),
    CABINET_AIR: ("cabinet", "air"),
    CANISTER_AIR: ("canisters", "air"),
}
"""Probes that stay where they are: room, and which of its two masses."""
MOVABLE = (PAN, BOWL, PORTION, SHERBET, SHERBET_TUB, TRAY_A, TRAY_B)
PROBES = (*MOVABLE, *IN_ROOMS)
ERRORS: dict[ProbeId, tuple[float, float]] = {
    PAN: (0.12, 0.002),
    BOWL: (-0.15, 0.001),
    SHERBET: (0.08, 0.0),
    PORTION: (0.2, 0.003),
    SHERBET_TUB: (-0.06, 0.0),
    TRAY_A: (0.11, -0.002),
    WALK_IN_AIR: (0.25, 0.004),
    WALK_IN_TUB: (-0.1, 0.0),
    FRIDGE_AIR: (0.3, 0.0),
    CANISTER_AIR: (-0.2, 0.0),
}
"""How far a probe is off: K at 0 °C, and K for each K from there."""


class Place(Protocol):
    """Where a movable probe is: something with a temperature that gives heat to a room."""

    room: str

    @property
    def celsius(self) -> float:
        """Temperature at the probe's tip."""

    def step(self, seconds: float, air: float) -> float:
        """Let time pass in air of ``air`` °C; W that the room received."""


class OnStove:
    """A pan as a place."""

    room = "kitchen"

    def __init__(self, pan: Pan) -> None:
        self.pan = pan

    @property
    def celsius(self) -> float:
        """At the tip."""
        return self.pan.celsius

    def step(self, seconds: float, air: float) -> float:
        """Let time pass; the hood takes the heat."""
        self.pan.step(seconds, air)
        return 0.0


class Workshop:
    """Everything physical. ``step`` it; what its probes say is ``read``. All randomness is from ``noise``."""

    def __init__(self, noise: np.random.Generator) -> None:
        self.noise = noise
        self.rooms = {
            "walkin": ColdRoom(WALK_IN, noise),
            "cabinet": ColdRoom(CABINET, noise),
            "canisters": ColdRoom(CANISTERS, noise),
            "fridge": ColdRoom(FRIDGE, noise),
        }
        self.places: dict[ProbeId, Place] = {probe: InTheOpen("kitchen", KITCHEN_AIR) for probe in MOVABLE}
        self.probes = {
            probe: Probe(_build(probe), self.truth(probe), noise) for probe in PROBES
        }  # each begins at what it is in

    def truth(self, probe: ProbeId) -> float:
        """The true temperature at a probe's tip, °C."""
        if probe in self.places:
            return self.places[probe].celsius
        room, mass = IN_ROOMS[probe]
        return self.rooms[room].air if mass == "air" else self.rooms[room].product

    def air(self, room: str) -> float:
        """Air of a room, °C."""
        return self.rooms[room].air if room in self.rooms else KITCHEN_AIR

    def put(self, probe: ProbeId, place: Place) -> None:
        """Move a probe."""
        self.places[probe] = place

    def step(self, seconds: float, hour: float) -> None:
        """Let time pass.

        Args:
            seconds: how much; up to 10 s at a time keep every balance accurate.
            hour: local time of day in hours, for when people open doors.
        """
        loads = dict.fromkeys(self.rooms, 0.0)
        for place in self.places.values():
            watts = place.step(seconds, self.air(place.room))
            if place.room in loads:
                loads[place.room] += watts
        busy = busy_at(hour)
        for name, room in self.rooms.items():
            room.step(seconds, loads[name], busy)
        for name, probe in self.probes.items():
            probe.step(seconds, self.truth(name))

    def read(self, probe: ProbeId) -> float:
        """What a probe says now, °C."""
        return self.probes[probe].read(*ERRORS.get(probe, (0.0, 0.0)))

    def settle(self, seconds: float, hour: float = 3.0) -> None:
        """Let the rooms find their cycle before anybody looks."""
        for _ in range(round(seconds / 10.0)):
            self.step(10.0, hour)


def busy_at(hour: float) -> float:
    """How busy a usual day is: nobody at night, most before noon and in the afternoon."""
    if hour < 7.0 or hour >= 21.5:
        return 0.0
    return 1.0 if 9.0 <= hour < 18.0 else 0.5


def _build(probe: ProbeId) -> ProbeBuild:
    if probe in (PAN, BOWL, SHERBET):
        return IN_MIX
    return IN_AIR if probe in IN_ROOMS and probe != WALK_IN_TUB else IN_TRAY
