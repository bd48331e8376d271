"""Freezing curve of a mix by the sucrose-equivalent method (see MixPlan for the composition).

Every sweetener and the milk solids are counted as the sucrose that would lower the freezing point as much;
a table of sucrose solutions turns grams per 100 g of water into kelvin, and the salts of the milk are added:

    SE = 0.545 MSNF + 0.765 WS + sucrose + syrup * DE / 100 + 1.9 * monosaccharides
    freezing point = -( table(100 SE / water) + 2.37 (MSNF + WS) / water )

As ice forms, the same solids sit in less water, so the ice fraction x at a temperature T solves

    table(100 SE / (water (1 - x))) + 2.37 (MSNF + WS) / (water (1 - x)) = -T

Sources: the coefficients and the 2.37 for salts are taught in the ice-cream notes of H. D. Goff (University
of Guelph) after Leighton (1927), as is the table (Goff and Hartel, *Ice Cream*); the table's last digits are
from memory and agree with the CRC Handbook's aqueous sucrose within 0.13 K. Expect about 0.1 K in the
freezing point and 0.02 in the ice fraction. The method knows nothing of egg yolk, fruit, salt or alcohol
(``other_solids`` counts as inert); a mix with alcohol must not be judged by it.
"""

from __future__ import annotations

import math

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan

LATENT_HEAT = 333.5
"""Heat of fusion of ice at 0 °C, kJ per kg of ice."""
WATER_HEAT, ICE_HEAT, FAT_HEAT, SOLIDS_HEAT = 4.18, 2.06, 1.98, 1.55
"""Specific heats near 0 °C, kJ/(kg K): water, ice, milk fat, sugars and other solids (from memory, as in
Choi and Okos 1986; good to about 5 %)."""
LAST_CONCENTRATION = 180.0
"""Grams of sucrose equivalent per 100 g of water where the printed table ends."""
COLDEST = Temperature(-40.0)
"""Below this the curve isn't claimed: the unfrozen syrup turns to glass rather than freezing further."""

_STEP = 3.0
# Kelvin below 0 °C of a sucrose solution at 0, 3, 6 … 180 g per 100 g of water.
_DEPRESSION = (
    *(0.0, 0.18, 0.35, 0.53, 0.72, 0.90, 1.10, 1.29, 1.47, 1.67, 1.86, 2.03, 2.21, 2.40, 2.60, 2.78),
    *(2.99, 3.20, 3.42, 3.63, 3.85, 4.10, 4.33, 4.54, 4.77, 5.00, 5.26, 5.53, 5.77, 5.99, 6.23, 6.50),
    *(6.80, 7.04, 7.32, 7.56, 7.80, 8.04, 8.33, 8.62, 8.92, 9.19, 9.45, 9.71, 9.96, 10.22, 10.47),
    *(10.72, 10.97, 11.19, 11.41, 11.63, 11.88, 12.14, 12.40, 12.67, 12.88, 13.08, 13.28, 13.48, 13.68),
)
_SALTS = 2.37
_BISECTIONS = 60


def sucrose_depression(grams_per_100g_water: float) -> float:
    """Kelvin by which that much sucrose lowers the freezing point of water (linear between table rows).

    Raises:
        OutOfRangeError: below 0 or beyond the printed table's 180 g per 100 g of water.
    """
    if not 0.0 <= grams_per_100g_water <= LAST_CONCENTRATION:
        raise OutOfRangeError(
            f"The freezing-point table covers 0 to {LAST_CONCENTRATION:.0f} g of sucrose equivalent per 100 g of "
            f"water; this mix has {grams_per_100g_water:.1f}. Check the sheet's water and sugars."
        )
    return _depression(grams_per_100g_water)


def sucrose_equivalent(mix: MixPlan) -> float:
    """Sucrose equivalent of the mix, grams per 100 g of mix.

    Raises:
        OutOfRangeError: when a part is negative or not a number.
    """
    _check_parts(mix)
    return (
        0.545 * mix.msnf
        + 0.765 * mix.whey_solids
        + mix.sucrose
        + mix.syrup_solids * mix.syrup_de / 100.0
        + 1.9 * mix.monosaccharides
    )


def initial_freezing_point(mix: MixPlan) -> Temperature:
    """The temperature at which the first ice can form.

    Raises:
        OutOfRangeError: when the mix has no water or is sweeter than the table goes.
    """
    sugar, salts = _in_water(mix)
    return Temperature(0.0 - (sucrose_depression(sugar) + salts))


def water_frozen(mix: MixPlan, temperature: Temperature) -> float:
    """Fraction (0 to 1) of the mix's water that is ice at ``temperature``, at equilibrium.

    From about -16 °C down the unfrozen syrup is stronger than the printed table; its last slope is continued
    there, which is worth about 0.02 in the fraction.

    Raises:
        OutOfRangeError: when the mix is outside the method, or ``temperature`` below -40 °C or not a number.
    """
    sugar, salts = _in_water(mix)
    wanted = -temperature.celsius
    _check_temperature(temperature)
    if wanted <= sucrose_depression(sugar) + salts:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        unfrozen = 1.0 - middle
        if unfrozen > 0.0 and _depression(sugar / unfrozen) + salts / unfrozen < wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def temperature_for(mix: MixPlan, fraction: float) -> Temperature:
    """The temperature at which ``fraction`` (0 to 1) of the water is ice.

    Raises:
        OutOfRangeError: when the mix is outside the method, or that much ice would need less than -40 °C.
    """
    sugar, salts = _in_water(mix)
    sucrose_depression(sugar)
    if not 0.0 <= fraction < 1.0:
        raise OutOfRangeError(f"The frozen share of the water must be from 0 to below 1, not {fraction}.")
    unfrozen = 1.0 - fraction
    celsius = 0.0 - (_depression(sugar / unfrozen) + salts / unfrozen)
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


def _depression(grams: float) -> float:
    """The table, continued along its last slope beyond its end."""
    row = min(int(min(grams, LAST_CONCENTRATION) / _STEP), len(_DEPRESSION) - 2)
    below, above = _DEPRESSION[row], _DEPRESSION[row + 1]
    return below + (above - below) * (grams - row * _STEP) / _STEP


def _in_water(mix: MixPlan) -> tuple[float, float]:
    """Sucrose equivalent (g) per 100 g of water, and the salts' share of the depression (K), without ice."""
    equivalent = sucrose_equivalent(mix)
    if mix.water <= 0.0:
        raise OutOfRangeError(
            "This mix has no water, so it has no freezing point. Give the sheet's water per 100 g."
        )
    return 100.0 * equivalent / mix.water, _SALTS * (mix.msnf + mix.whey_solids) / mix.water


def _sensible(mix: MixPlan, ice: float) -> float:
    """Specific heat in kJ/(kg K) with that much ice (kg per kg of mix)."""
    solids = (
        mix.msnf + mix.whey_solids + mix.sucrose + mix.monosaccharides + mix.syrup_solids + mix.other_solids
    )
    dry = (mix.fat * FAT_HEAT + solids * SOLIDS_HEAT) / 100.0
    return dry + (mix.water / 100.0 - ice) * WATER_HEAT + ice * ICE_HEAT


def _check_temperature(temperature: Temperature) -> None:
    if not math.isfinite(temperature.celsius) or temperature.celsius < COLDEST.celsius:
        raise OutOfRangeError(
            f"The freezing curve is known down to {COLDEST.celsius:.0f} °C, not at {temperature.celsius} °C."
        )


def _check_parts(mix: MixPlan) -> None:
    parts = {
        "water": mix.water,
        "fat": mix.fat,
        "milk solids not fat": mix.msnf,
        "whey solids": mix.whey_solids,
        "sucrose": mix.sucrose,
        "monosaccharides": mix.monosaccharides,
        "syrup solids": mix.syrup_solids,
        "syrup DE": mix.syrup_de,
        "other solids": mix.other_solids,
    }
    for name, value in parts.items():
        if not math.isfinite(value) or value < 0.0:
            raise OutOfRangeError(f"The mix's {name} must be 0 or more, not {value}.")
