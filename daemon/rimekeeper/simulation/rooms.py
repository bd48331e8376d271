"""Cold rooms: air and product as two masses, a thermostat, doors, defrosts, and a plant that fails.

    C_air dTa/dt = UA_wall (T_out - Ta) + UA_p (Tp - Ta) + UA_door (T_out - Ta) - Q_plant + Q_heater + Q_load
    C_p   dTp/dt = UA_p (Ta - Tp)

So the air swings with every door and defrost while the product hardly notices; a failed plant moves both
(science of the trade: alarm on the product, record the air too). Sizes are invented; two to four defrosts a day
are trade practice, their length and height are from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

_SUBSTEP = 10.0
COIL = 8.0
"""°C at which the heater's own limiter holds a bare coil."""


@dataclass(frozen=True, slots=True)
class RoomBuild:
    """How a room is built. Conductances in W/K, heat capacities in J/K, powers in W, times in s."""

    cut_in: float
    """°C of the air at which the thermostat starts the plant."""
    cut_out: float
    plant: float
    air_heat: float
    product_heat: float
    wall: float
    product: float
    door: float
    outside: float = 21.0
    defrost_every: float = 0.0
    """0: it needs none."""
    defrost_lasts: float = 0.0
    defrost_heat: float = 0.0
    """W into the air during a defrost; the rest of the heater's power melts ice on the coil."""
    bare_coil: float = 0.0
    """W/K into the air from a coil without ice whose heater stays on: its own limiter holds it at ``COIL``."""
    openings: float = 4.0
    """Door openings an hour while people work."""
    open_for: float = 20.0


WALK_IN = RoomBuild(
    cut_in=-19.8, cut_out=-21.2, plant=2_200.0, air_heat=70e3, product_heat=600e3, wall=12.0, product=60.0,
    door=45.0, defrost_every=8 * 3_600.0, defrost_lasts=24 * 60.0, defrost_heat=510.0, bare_coil=180.0,
    openings=3.0, open_for=14.0,
)  # fmt: skip
CABINET = RoomBuild(
    cut_in=-29.5, cut_out=-32.0, plant=900.0, air_heat=30e3, product_heat=70e3, wall=3.0, product=12.0,
    door=14.0, defrost_every=12 * 3_600.0, defrost_lasts=18 * 60.0, defrost_heat=190.0, bare_coil=30.0,
    openings=1.0,
)  # fmt: skip
CANISTERS = RoomBuild(
    cut_in=-21.5, cut_out=-24.0, plant=420.0, air_heat=22e3, product_heat=120e3, wall=2.2, product=9.0,
    door=10.0, openings=2.0,
)  # fmt: skip
FRIDGE = RoomBuild(
    cut_in=3.8, cut_out=1.8, plant=420.0, air_heat=26e3, product_heat=150e3, wall=4.0, product=14.0,
    door=16.0, openings=8.0, open_for=25.0,
)  # fmt: skip


class ColdRoom:
    """One room. ``air`` and ``product`` are °C."""

    def __init__(self, build: RoomBuild, noise: np.random.Generator) -> None:
        self.build = build
        self.air = 0.5 * (build.cut_in + build.cut_out)
        self.product = self.air
        self.running = False
        self.powered = True
        """False: no electricity, neither plant nor heater."""
        self.broken = False
        """The plant doesn't start, and the heater stays on over a bare coil: a defrost that doesn't end."""
        self.ajar = 0.0
        """Share (0 to 1) by which the door was left open."""
        self.until_defrost = build.defrost_every * (0.2 + 0.7 * noise.random())
        self.defrosting = 0.0
        """Seconds that a defrost still lasts."""
        self._open = 0.0
        self._noise = noise

    def step(self, seconds: float, load: float = 0.0, busy: float = 0.0) -> None:
        """Let time pass.

        Args:
            seconds: how much.
            load: W that goods put into the air.
            busy: 0 when nobody works, 1 on a usual working hour.
        """
        self._people(seconds, busy)
        left = seconds
        while left > 1e-9:
            step = min(_SUBSTEP, left)
            left -= step
            self._plant(step)
            self._heat(step, load)

    def flows(self, load: float = 0.0) -> tuple[float, float]:
        """W into the air from outside and machines, and W from product to air."""
        build = self.build
        door = build.door * (1.0 if self._open > 0.0 else self.ajar)
        gain = (build.wall + door) * (build.outside - self.air) + load
        if self.powered:
            gain -= build.plant if self.running else 0.0
            gain += self._heater()
        return gain, build.product * (self.product - self.air)

    def _heat(self, seconds: float, load: float) -> None:
        gain, from_product = self.flows(load)
        self.air += (gain + from_product) * seconds / self.build.air_heat
        self.product -= from_product * seconds / self.build.product_heat

    def _heater(self) -> float:
        if self.broken:
            return max(0.0, self.build.bare_coil * (COIL - self.air))
        return self.build.defrost_heat if self.defrosting > 0.0 else 0.0

    def _plant(self, seconds: float) -> None:
        if self.broken or self.defrosting > 0.0 or not self.powered:
            self.running = False
        elif self.air >= self.build.cut_in:
            self.running = True
        elif self.air <= self.build.cut_out:
            self.running = False
        if self.build.defrost_every <= 0.0 or not self.powered:
            return
        self.defrosting = max(0.0, self.defrosting - seconds)
        self.until_defrost -= seconds
        if self.until_defrost <= 0.0:
            self.until_defrost = self.build.defrost_every
            self.defrosting = self.build.defrost_lasts

    def _people(self, seconds: float, busy: float) -> None:
        self._open = max(0.0, self._open - seconds)
        chance = 1.0 - math.exp(-self.build.openings * busy * seconds / 3_600.0)
        if busy > 0.0 and self._noise.random() < chance:
            self._open = self.build.open_for * (0.5 + self._noise.random())
