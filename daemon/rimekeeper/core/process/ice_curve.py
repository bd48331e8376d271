"""Heat content against temperature of a typical mix of which only the freezing point is known.

Heat is stated in kelvin of unfrozen mix: one step of it is the heat that warms unfrozen mix by one kelvin.
Above the freezing point it is the temperature itself; below, it falls much faster, because ice forms.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import (
    effective_heat_capacity,
    initial_freezing_point,
    specific_enthalpy,
)

Array = npt.NDArray[np.float64]
_COLDEST, _POINTS = -39.9, 160


@dataclass(frozen=True, slots=True)
class IceCurve:
    """Rising tables of temperature (°C) and heat (K of unfrozen mix) up to the freezing point."""

    freezing_point: float
    celsius: Array
    heat: Array
    slope: Array
    """Heat per kelvin between neighbouring rows (1 = unfrozen mix)."""

    def heat_at(self, celsius: Array) -> Array:
        """Heat at these temperatures."""
        cold = np.interp(celsius, self.celsius, self.heat)
        below = self.heat[0] + (celsius - self.celsius[0]) * self.slope[0]
        return np.where(
            celsius >= self.freezing_point, celsius, np.where(celsius < self.celsius[0], below, cold)
        )

    def slope_at(self, celsius: Array) -> Array:
        """Heat per kelvin at these temperatures, never below what unfrozen mix would take half of."""
        row = np.clip(np.searchsorted(self.celsius, celsius, side="right") - 1, 0, len(self.slope) - 1)
        return np.where(celsius >= self.freezing_point, 1.0, self.slope[row])

    def celsius_at(self, heat: Array) -> Array:
        """Temperatures at these heats."""
        frozen = np.interp(heat, self.heat, self.celsius)
        below = self.celsius[0] + (heat - self.heat[0]) / self.slope[0]
        return np.where(heat >= self.freezing_point, heat, np.where(heat < self.heat[0], below, frozen))


@lru_cache(maxsize=32)
def ice_curve(freezing_point: float) -> IceCurve | None:
    """The curve for a freezing point in °C, or None where the method doesn't reach (-0.3 to -9 °C).

    A mix of 60 g of water per 100 g with the milk salts of an ordinary base stands for all: mixes differ by
    about a tenth in water, hence in heat, which the caller must allow for.
    """
    if not -9.0 <= freezing_point <= -0.3:
        return None
    low, high = 0.0, 40.0
    for _ in range(50):
        sucrose = 0.5 * (low + high)
        mix = _typical(sucrose)
        if initial_freezing_point(mix).celsius > freezing_point:
            low = sucrose
        else:
            high = sucrose
    mix = _typical(low)
    rise = np.linspace(0.0, 1.0, _POINTS) ** 2
    celsius = freezing_point - (freezing_point - _COLDEST) * rise[::-1]
    try:
        kilojoules = np.array([specific_enthalpy(mix, Temperature(float(c))) for c in celsius])
        unfrozen = effective_heat_capacity(mix, Temperature(freezing_point + 1.0))
    except OutOfRangeError:
        return None
    heat = freezing_point + (kilojoules - kilojoules[-1]) / unfrozen
    slope = np.diff(heat) / np.diff(celsius)
    return IceCurve(freezing_point, celsius, heat, slope)


def _typical(sucrose: float) -> MixPlan:
    """60 g of water; the salts grow with the sweetness so that a weak mix can have a high freezing point."""
    return MixPlan(water=60.0, msnf=min(10.0, sucrose * 0.7), sucrose=sucrose, fat=max(0.0, 30.0 - sucrose))
