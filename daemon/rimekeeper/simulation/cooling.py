"""Cooling in air, over ice and in a churn: Newton's law, with a conductance that changes as people stir."""

from __future__ import annotations

import math

import numpy as np

from rimekeeper.core.process.freezing import LATENT_HEAT
from rimekeeper.simulation.mix import Lump

WATER_HEAT = 4_180.0
"""J/(kg K)."""


def drift(celsius: float, towards: float, tau: float, seconds: float) -> float:
    """Newton's law of cooling in closed form: T = T_inf + (T0 - T_inf) exp(-t / tau)."""
    return towards + (celsius - towards) * math.exp(-seconds / tau)


class InAir:
    """A lump in the air of a room; ``conductance`` in W/K (surface times film coefficient)."""

    def __init__(self, lump: Lump, room: str, conductance: float) -> None:
        self.lump = lump
        self.room = room
        self.conductance = conductance

    @property
    def celsius(self) -> float:
        """The lump's temperature."""
        return self.lump.celsius

    def step(self, seconds: float, air: float) -> float:
        """Let time pass; the heat in W that the room received."""
        watts = self.conductance * (self.lump.celsius - air)
        self.lump.add(-watts * seconds)
        return watts


class IceBath:
    """A bowl in ice and water. While ice is left the water stays near 0.5 °C; afterwards it warms."""

    room = "kitchen"

    def __init__(
        self,
        lump: Lump,
        noise: np.random.Generator,
        *,
        ice: float = 6.0,
        water: float = 4.0,
        conductance: float = 13.0,
        leak: float = 2.5,
        stirring: float = 0.12,
    ) -> None:
        """Set the bowl in.

        Args:
            lump: the mix.
            noise: how people stir.
            ice: kg of ice.
            water: kg of water.
            conductance: mean W/K between mix and bath.
            leak: W/K between bath and room.
            stirring: how much the conductance swings as people stir and forget to (0: not at all).
        """
        self.lump = lump
        self.ice, self.water, self.bath = ice, water, 0.5
        self.conductance, self.leak, self.stirring = conductance, leak, stirring
        self._noise = noise
        self._zeal = 0.0

    @property
    def celsius(self) -> float:
        """The mix's temperature."""
        return self.lump.celsius

    def step(self, seconds: float, air: float) -> float:
        """Let time pass; the heat in W that the room received (negative: the bath cools the room)."""
        fade = math.exp(-seconds / 90.0)
        self._zeal = self._zeal * fade + math.sqrt(1.0 - fade * fade) * self._noise.standard_normal()
        eager = self.conductance * math.exp(self.stirring * self._zeal)
        from_mix = eager * (self.lump.celsius - self.bath)
        from_room = self.leak * (air - self.bath)
        self.lump.add(-from_mix * seconds)
        self._take_up((from_mix + from_room) * seconds)
        return -from_room

    def _take_up(self, joules: float) -> None:
        melted = min(self.ice, max(0.0, joules / (LATENT_HEAT * 1_000.0)))
        self.ice -= melted
        self.water += melted
        rest = joules - melted * LATENT_HEAT * 1_000.0
        self.bath += rest / (WATER_HEAT * self.water)


class Churn:
    """A batch churn: a scraped wall colder than the mix, and a dasher that warms it."""

    room = "kitchen"

    def __init__(
        self, lump: Lump, *, wall: float = -22.0, conductance: float = 28.0, dasher: float = 60.0
    ) -> None:
        """Fill it.

        Args:
            lump: the mix.
            wall: °C of the refrigerant behind the wall.
            conductance: W/K between mix and wall.
            dasher: W that scraping puts into the mix.
        """
        self.lump = lump
        self.wall, self.conductance, self.dasher = wall, conductance, dasher

    @property
    def celsius(self) -> float:
        """The mix's temperature."""
        return self.lump.celsius

    def step(self, seconds: float, _air: float) -> float:
        """Let time pass; the heat in W that the room received (none: the condenser stands outside)."""
        # Stiff mix is scraped badly: the conductance falls as it freezes (common practice, no published source).
        stiff = max(0.35, 1.0 + 0.07 * min(0.0, self.lump.celsius))
        watts = self.conductance * stiff * (self.lump.celsius - self.wall) - self.dasher
        self.lump.add(-watts * seconds)
        return 0.0


class InTheOpen:
    """A probe that hangs free: it takes on the room's temperature by Newton's law."""

    def __init__(self, room: str, celsius: float, tau: float = 90.0) -> None:
        self.room, self.celsius, self.tau = room, celsius, tau

    def step(self, seconds: float, air: float) -> float:
        """Let time pass."""
        self.celsius = drift(self.celsius, air, self.tau, seconds)
        return 0.0
