"""A pan of custard on a stove: what the burner gives less what air and steam carry away.

    m c dT/dt = eta P s - UA (T - T_air) - L k A (p(T) - p_room)

``s`` is the burner's setting from 0 to 1. The last term is evaporation, which begins to count towards 85 °C. The
saturation pressure p is the Magnus formula. Sizes are invented but usual for a kitchen (common practice, no
published source); the mass transfer coefficient follows from a natural-convection film by the Lewis relation
(from memory, good to a factor of two).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rimekeeper.simulation.mix import Lump

LATENT_STEAM = 2.30e6
"""J to evaporate one kg of water near 80 °C (steam tables: 2.308e6 at 80 °C)."""
_SUBSTEP = 1.0


def saturation_pressure(celsius: float) -> float:
    """Pressure of saturated steam in Pa (Magnus form, within 2 % from 0 to 100 °C)."""
    return 610.94 * math.exp(17.625 * celsius / (celsius + 243.04))


@dataclass(frozen=True, slots=True)
class Stove:
    """A burner and the pan that stands on it."""

    watts: float = 3_200.0
    share: float = 0.5
    """Of the burner's heat that reaches the mix (eta)."""
    loss: float = 4.0
    """UA to the air, W/K."""
    surface: float = 0.06
    """Free surface of the mix, m2."""
    film: float = 3.3e-8
    """Evaporation in kg/(m2 s Pa)."""


class Pan:
    """The custard in the pan, and the hand at the burner's knob.

    The hand brings it up at full flame, turns down just before ``hold_at`` and then keeps it there.
    """

    def __init__(
        self,
        lump: Lump,
        noise: np.random.Generator,
        *,
        hold_at: float = 83.5,
        stove: Stove | None = None,
        burner: float | None = None,
    ) -> None:
        """Put it on.

        Args:
            lump: the custard.
            noise: where stirring comes from.
            hold_at: temperature (°C) at which the hand keeps it.
            stove: the equipment.
            burner: a fixed setting (0 to 1) instead of the hand, for checks.
        """
        self.lump = lump
        self.stove = stove or Stove()
        self.hold_at = hold_at
        self.burner = 1.0 if burner is None else burner
        self._hand = burner is None
        self._noise = noise
        self._swirl = 0.0

    @property
    def celsius(self) -> float:
        """What is at the probe's tip: the mix, a little warmer or colder as the whisk goes round."""
        return self.lump.celsius + self._swirl

    def losses(self, air: float) -> float:
        """W that leave the mix at present."""
        stove, celsius = self.stove, self.lump.celsius
        steam = max(0.0, saturation_pressure(celsius) - 0.5 * saturation_pressure(air))
        return stove.loss * (celsius - air) + LATENT_STEAM * stove.film * stove.surface * steam

    def step(self, seconds: float, air: float) -> None:
        """Let time pass. ``air``: °C of the room."""
        left = seconds
        while left > 1e-9:
            step = min(_SUBSTEP, left)
            left -= step
            losses = self.losses(air)
            if self._hand:
                self._turn_the_knob(losses)
            gain = self.burner * self.stove.share * self.stove.watts
            self.lump.add((gain - losses) * step)
        fade = math.exp(-seconds / 4.0)
        self._swirl = self._swirl * fade + 0.06 * math.sqrt(1.0 - fade * fade) * self._noise.standard_normal()

    def _turn_the_knob(self, losses: float) -> None:
        below = self.hold_at - self.lump.celsius
        keep = losses / (self.stove.share * self.stove.watts)
        self.burner = 1.0 if below > 1.0 else min(1.0, max(0.0, keep + 0.7 * below))
