"""Mix as heat sees it: enthalpy in, temperature out, by the freezing curve of its composition."""

from __future__ import annotations

import bisect
from functools import lru_cache

from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import (
    COLDEST,
    effective_heat_capacity,
    initial_freezing_point,
    specific_enthalpy,
)

HOTTEST = 120.0
_WARM = Temperature(40.0)


class MixCurve:
    """Temperature (°C) against heat content (kJ/kg, 0 = unfrozen at 0 °C), tabulated from ``core.process.freezing``."""

    def __init__(self, mix: MixPlan) -> None:
        self.freezing_point = initial_freezing_point(mix).celsius
        self.liquid_heat = effective_heat_capacity(mix, _WARM)
        """kJ/(kg K) while nothing is frozen."""
        coldest = COLDEST.celsius
        fine = [self.freezing_point - 0.05 * n for n in range(200)]
        coarse = [fine[-1] - 0.25 * n for n in range(1, 200) if fine[-1] - 0.25 * n > coldest]
        self._celsius = [*reversed([*fine, *coarse]), HOTTEST]
        self._heat = [specific_enthalpy(mix, Temperature(celsius)) for celsius in self._celsius]

    def celsius(self, heat: float) -> float:
        """The temperature at which the mix holds ``heat`` kJ/kg, in equilibrium (linear between table rows)."""
        row = min(max(bisect.bisect_right(self._heat, heat), 1), len(self._heat) - 1)
        low, high = self._heat[row - 1], self._heat[row]
        share = (heat - low) / (high - low)
        return self._celsius[row - 1] + share * (self._celsius[row] - self._celsius[row - 1])

    def heat(self, celsius: float) -> float:
        """Heat content (kJ/kg) at ``celsius``, in equilibrium: the inverse of :meth:`celsius`."""
        row = min(max(bisect.bisect_right(self._celsius, celsius), 1), len(self._celsius) - 1)
        low, high = self._celsius[row - 1], self._celsius[row]
        share = (celsius - low) / (high - low)
        return self._heat[row - 1] + share * (self._heat[row] - self._heat[row - 1])


@lru_cache(maxsize=8)
def curve_of(mix: MixPlan) -> MixCurve:
    """The curve of a composition; made once."""
    return MixCurve(mix)


class Lump:
    """Some mix at one temperature.

    Unfrozen mix may be colder than its freezing point (supercooled) by ``dip`` kelvin before the first ice; then
    it jumps up to its curve. That small dip and rise is what a probe in a churn shows.
    """

    def __init__(self, curve: MixCurve, kilograms: float, celsius: float, dip: float = 0.8) -> None:
        self.curve = curve
        self.kilograms = kilograms
        self.dip = dip
        self.frozen = celsius < curve.freezing_point
        self.heat = curve.heat(celsius)
        """kJ/kg."""

    @property
    def celsius(self) -> float:
        """Its temperature."""
        if self.frozen:
            return self.curve.celsius(self.heat)
        return self.heat / self.curve.liquid_heat

    def add(self, joules: float) -> None:
        """Give it heat (negative: take some)."""
        self.heat += joules / (1_000.0 * self.kilograms)
        liquid = self.heat / self.curve.liquid_heat
        if not self.frozen and liquid < self.curve.freezing_point - self.dip:
            self.frozen = True
        elif self.frozen and liquid >= self.curve.freezing_point:
            self.frozen = False

    def stir_in(self, other: Lump) -> None:
        """Take up another lump of the same mix; heat and mass are kept, and any ice ends the supercooling."""
        total = self.kilograms + other.kilograms
        self.heat = (self.heat * self.kilograms + other.heat * other.kilograms) / total
        self.kilograms = total
        self.frozen = self.heat / self.curve.liquid_heat < self.curve.freezing_point

    def split(self, kilograms: float) -> Lump:
        """Take a portion away."""
        portion = Lump(self.curve, kilograms, self.celsius, self.dip)
        portion.heat, portion.frozen = self.heat, self.frozen
        self.kilograms -= kilograms
        return portion
