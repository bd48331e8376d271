"""Freezing curve of a mix: how much of its water is ice at a temperature (see MixPlan for the composition).

The depression of the freezing point comes from what is dissolved (``core.process.solutes``): a table of
sucrose solutions for the sugars, proportional terms for the salts of milk and for what lies outside the
sucrose-equivalent method. As ice forms, the same solids sit in less water, so the ice fraction x at a
temperature T solves

    table(100 SE / (water (1 - x))) + proportional / (water (1 - x)) = -T

The table is a polyline, so this is solved exactly, not by trial. Expect about 0.1 K in the freezing point and
0.02 in the ice fraction of an ordinary mix; ``core.process.freezing_doubt`` says how much for any.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.solutes import (
    LAST_CONCENTRATION,
    depression,
    milk_salts,
    outsiders,
    sucrose_depression,
    sucrose_equivalent,
    sugar_in_water,
    table_grams,
    table_row,
    table_slope,
)

__all__ = [
    "COLDEST",
    "LAST_CONCENTRATION",
    "LATENT_HEAT",
    "FreezingCurve",
    "curve",
    "effective_heat_capacity",
    "frozen_percent",
    "initial_freezing_point",
    "specific_enthalpy",
    "sucrose_depression",
    "sucrose_equivalent",
    "temperature_at_enthalpy",
    "temperature_for",
    "water_frozen",
    "water_frozen_along",
]

Array = npt.NDArray[np.float64]

LATENT_HEAT = 333.5
"""Heat of fusion of ice at 0 °C, kJ per kg of ice."""
WATER_HEAT, ICE_HEAT, FAT_HEAT, SOLIDS_HEAT, ALCOHOL_HEAT = 4.18, 2.06, 1.98, 1.55, 2.4
"""Specific heats near 0 °C, kJ/(kg K): water, ice, milk fat, sugars and other solids, alcohol (from memory, the
first four as in Choi and Okos 1986; good to about 5 %)."""
COLDEST = Temperature(-40.0)
"""Below this the curve isn't claimed: the unfrozen syrup turns to glass rather than freezing further."""

_BISECTIONS = 60
_STRONGEST = 1e6


@dataclass(frozen=True, slots=True)
class FreezingCurve:
    """Depression (K) against strength: how many times stronger the unfrozen syrup is than the mix, from 1 up.

    ``sugar`` is in g per 100 g of water, ``proportional`` the kelvin that grow in proportion to strength.
    Rows are where the table of sucrose changes its slope; beyond the last one ``last_slope`` goes on.
    """

    sugar: float
    proportional: float
    strengths: tuple[float, ...]
    depressions: tuple[float, ...]
    last_slope: float

    def depression_at(self, strength: float) -> float:
        """Kelvin below 0 °C at which syrup of that strength is in balance with ice."""
        return depression(self.sugar * strength) + self.proportional * strength

    def strength_for(self, kelvin: float) -> float:
        """Strength of the unfrozen syrup ``kelvin`` below 0 °C; 1 while nothing is frozen."""
        depressions, strengths = self.depressions, self.strengths
        if kelvin <= depressions[0]:
            return 1.0
        row = bisect_right(depressions, kelvin) - 1
        if row == len(depressions) - 1:
            beyond = kelvin - depressions[row]
            return strengths[row] + beyond / self.last_slope if self.last_slope > 0.0 else math.inf
        share = (kelvin - depressions[row]) / (depressions[row + 1] - depressions[row])
        return strengths[row] + share * (strengths[row + 1] - strengths[row])

    def strengths_for(self, kelvin: Array) -> Array:
        """The same for many at once, to the last bit."""
        depressions, strengths = np.array(self.depressions), np.array(self.strengths)
        row = np.searchsorted(depressions, kelvin, side="right") - 1
        last = len(depressions) - 1
        inside = np.clip(row, 0, max(0, last - 1))
        above = np.minimum(inside + 1, last)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            share = (kelvin - depressions[inside]) / (depressions[above] - depressions[inside])
            found = strengths[inside] + share * (strengths[above] - strengths[inside])
            beyond = strengths[last] + (kelvin - depressions[last]) / self.last_slope
        found = np.where(row >= last, beyond, found)
        return np.where(kelvin <= depressions[0], 1.0, found)


@lru_cache(maxsize=64)
def curve(mix: MixPlan) -> FreezingCurve:
    """The freezing curve of a composition; made once.

    Raises:
        OutOfRangeError: when the mix has no water, or more of something than the method covers.
    """
    sugar = sugar_in_water(mix)
    sucrose_depression(sugar)
    proportional = milk_salts(mix) + sum(one.kelvin * strength for one, strength in outsiders(mix))
    strengths = [1.0]
    if sugar > 0.0:
        beyond = (grams / sugar for grams in table_grams() if grams > sugar)
        strengths += [strength for strength in beyond if 1.0 < strength < _STRONGEST]
    depressions = [depression(sugar * strength) + proportional * strength for strength in strengths]
    last_slope = table_slope(_row_after(sugar * strengths[-1])) * sugar + proportional
    rising = [n for n in range(len(strengths)) if n == 0 or depressions[n] > depressions[n - 1]]
    return FreezingCurve(
        sugar,
        proportional,
        tuple(strengths[n] for n in rising),
        tuple(depressions[n] for n in rising),
        last_slope,
    )


def _row_after(grams: float) -> int:
    # A node's strength times the sugar may fall short of the node by a rounding.
    return table_row(grams * (1.0 + 1e-12) + 1e-12)


def initial_freezing_point(mix: MixPlan) -> Temperature:
    """The temperature at which the first ice can form.

    Raises:
        OutOfRangeError: when the mix has no water or is sweeter than the table goes.
    """
    return Temperature(0.0 - curve(mix).depressions[0])


def water_frozen(mix: MixPlan, temperature: Temperature) -> float:
    """Fraction (0 to 1) of the mix's water that is ice at ``temperature``, at equilibrium.

    From about -16 °C down the unfrozen syrup is stronger than the printed table; its last slope is continued
    there, which is worth about 0.02 in the fraction.

    Raises:
        OutOfRangeError: when the mix is outside the method, or ``temperature`` below -40 °C or not a number.
    """
    freezing = curve(mix)
    _check_temperature(temperature)
    return 1.0 - 1.0 / freezing.strength_for(-temperature.celsius)


def water_frozen_along(mix: MixPlan, celsius: Array) -> Array:
    """:func:`water_frozen` for an array of temperatures (°C); NaN where the curve isn't claimed.

    Raises:
        OutOfRangeError: when the mix is outside the method.
    """
    freezing = curve(mix)
    claimed = np.isfinite(celsius) & (celsius >= COLDEST.celsius)
    strengths = freezing.strengths_for(-np.where(claimed, celsius, 0.0))
    return np.where(claimed, 1.0 - 1.0 / strengths, np.nan)


def frozen_percent(mix: MixPlan, celsius: float) -> float | None:
    """Percent of the water frozen at ``celsius``, for a screen: None where the curve isn't claimed. Never raises."""
    freezing = _curve_or_none(mix)
    if freezing is None or not COLDEST.celsius <= celsius < math.inf:
        return None
    return 100.0 * (1.0 - 1.0 / freezing.strength_for(-celsius))


@lru_cache(maxsize=64)
def _curve_or_none(mix: MixPlan) -> FreezingCurve | None:
    try:
        return curve(mix)
    except OutOfRangeError:
        return None


def temperature_for(mix: MixPlan, fraction: float) -> Temperature:
    """The temperature at which ``fraction`` (0 to 1) of the water is ice.

    Raises:
        OutOfRangeError: when the mix is outside the method, or that much ice would need less than -40 °C.
    """
    freezing = curve(mix)
    if not 0.0 <= fraction < 1.0:
        raise OutOfRangeError(f"The frozen share of the water must be from 0 to below 1, not {fraction}.")
    celsius = 0.0 - freezing.depression_at(1.0 / (1.0 - fraction))
    if celsius < COLDEST.celsius:
        raise OutOfRangeError(
            f"To freeze {fraction:.0%} of the water this mix would have to be colder than {COLDEST.celsius:.0f} °C, "
            "where the freezing curve is not known."
        )
    return Temperature(celsius)


def specific_enthalpy(mix: MixPlan, temperature: Temperature) -> float:
    """Heat content of the mix in kJ/kg, counted from unfrozen mix at 0 °C (negative when frozen).

    Sensible heat of each part at ``temperature`` less the heat of fusion of the ice. The composition is taken
    as grams per 100 g whatever it adds up to.

    Raises:
        OutOfRangeError: as :func:`water_frozen`.
    """
    ice = mix.water / 100.0 * water_frozen(mix, temperature)
    return _sensible(mix, ice) * temperature.celsius - LATENT_HEAT * ice


def effective_heat_capacity(mix: MixPlan, temperature: Temperature, span: float = 0.02) -> float:
    """Heat to warm the mix by one kelvin at ``temperature`` in kJ/(kg K), melting included.

    A difference quotient over ``span`` kelvin, taken towards the warm side at the cold end.

    Raises:
        OutOfRangeError: as :func:`water_frozen`.
    """
    low = max(COLDEST.celsius, temperature.celsius - span / 2.0)
    below, above = Temperature(low), Temperature(low + span)
    return (specific_enthalpy(mix, above) - specific_enthalpy(mix, below)) / span


def temperature_at_enthalpy(mix: MixPlan, enthalpy: float) -> Temperature:
    """The temperature at which the mix holds ``enthalpy`` kJ/kg (inverse of :func:`specific_enthalpy`).

    Raises:
        OutOfRangeError: when the mix is outside the method, or the answer is outside -40 to 150 °C.
    """
    warmest = 150.0
    low, high = COLDEST.celsius, warmest
    inside = specific_enthalpy(mix, COLDEST) <= enthalpy <= specific_enthalpy(mix, Temperature(warmest))
    if not inside:
        raise OutOfRangeError(
            f"A heat content of {enthalpy} kJ/kg is outside what this mix holds between {low:.0f} and {high:.0f} °C."
        )
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        if specific_enthalpy(mix, Temperature(middle)) < enthalpy:
            low = middle
        else:
            high = middle
    return Temperature(0.5 * (low + high))


def _sensible(mix: MixPlan, ice: float) -> float:
    """Specific heat in kJ/(kg K) with that much ice (kg per kg of mix)."""
    solids = (
        mix.msnf
        + mix.whey_solids
        + mix.sucrose
        + mix.monosaccharides
        + mix.syrup_solids
        + mix.other_solids
        + mix.lactose
        + mix.salt
        + mix.polyols
        + mix.acids
        + mix.yolk_solids
        + mix.fruit_solids
    )
    dry = (mix.fat * FAT_HEAT + solids * SOLIDS_HEAT + mix.alcohol * ALCOHOL_HEAT) / 100.0
    return dry + (mix.water / 100.0 - ice) * WATER_HEAT + ice * ICE_HEAT


def _check_temperature(temperature: Temperature) -> None:
    if not math.isfinite(temperature.celsius) or temperature.celsius < COLDEST.celsius:
        raise OutOfRangeError(
            f"The freezing curve is known down to {COLDEST.celsius:.0f} °C, not at {temperature.celsius} °C."
        )
