"""How sure the freezing curve of a mix is, and the colligative law beside it as an independent check.

Uncertainties are stated either way, meant to hold for about nineteen mixes of twenty (k = 2). They are built
from what is known about the method: 0.1 K or 3 % of the table's depression, whichever is more; a quarter of
whatever lies beyond the printed table; and the doubt of each part outside the method (``core.process.solutes``).
The first two are our estimate from the table's agreement with the CRC Handbook's aqueous sucrose (0.13 K). How far
the real ingredients are from the stated composition is not in them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import COLDEST, curve, temperature_for, water_frozen
from rimekeeper.core.process.solutes import (
    CRYOSCOPIC,
    LACTOSE_OF_MSNF,
    LACTOSE_OF_WHEY,
    LAST_DEPRESSION,
    MONOSACCHARIDE_MOLAR_MASS,
    SUCROSE_MOLAR_MASS,
    depression,
    milk_salts,
    outsiders,
)

_LEAST_KELVIN, _OF_TABLE, _BEYOND_TABLE = 0.1, 0.03, 0.25
_LEAST_FRACTION = 0.02
AGREES_WITHIN = 0.2
"""Share by which the colligative law may differ from the method: it leaves out that sugar binds water (up to 15 %
low) and counts syrup by molecules (somewhat high)."""


def freezing_point_uncertainty(mix: MixPlan) -> float:
    """How far the freezing point may be off either way, K.

    Raises:
        OutOfRangeError: when the mix is outside the method.
    """
    return depression_uncertainty(mix, 1.0)


def temperature_uncertainty(mix: MixPlan, fraction: float) -> float:
    """How far the temperature for a frozen fraction may be off either way, K.

    Raises:
        OutOfRangeError: as ``temperature_for``.
    """
    temperature_for(mix, fraction)
    return depression_uncertainty(mix, 1.0 / (1.0 - fraction))


def fraction_uncertainty(mix: MixPlan, temperature: Temperature) -> float:
    """How far the frozen fraction at a temperature may be off either way; not below 0.02 where there may be ice.

    Raises:
        OutOfRangeError: as ``water_frozen``.
    """
    found = water_frozen(mix, temperature)
    off = depression_uncertainty(mix, 1.0 / (1.0 - found)) if found < 1.0 else _LEAST_KELVIN
    colder = Temperature(max(COLDEST.celsius, temperature.celsius - off))
    warmer = Temperature(temperature.celsius + off)
    more, less = water_frozen(mix, colder) - found, found - water_frozen(mix, warmer)
    if more <= 0.0 and found <= 0.0:
        return 0.0
    return max(_LEAST_FRACTION, more, less)


def depression_uncertainty(mix: MixPlan, strength: float) -> float:
    """How far the depression may be off either way, K, where the unfrozen syrup is ``strength`` times the mix's.

    Raises:
        OutOfRangeError: when the mix is outside the method.
    """
    freezing = curve(mix)
    by_table = depression(freezing.sugar * strength)
    parts = [max(_LEAST_KELVIN, _OF_TABLE * by_table), _BEYOND_TABLE * max(0.0, by_table - LAST_DEPRESSION)]
    parts += [one.doubt * grams * strength for one, grams in outsiders(mix)]
    return math.hypot(*parts)


@dataclass(frozen=True, slots=True)
class ColligativeCheck:
    """The freezing point by the method and by the colligative law, °C, and whether they are as near as expected."""

    by_method: float
    by_molar_mass: float
    agrees: bool

    @property
    def difference(self) -> float:
        """Colligative less method, K; above zero where the colligative law freezes it warmer."""
        return self.by_molar_mass - self.by_method


def colligative_depression(mix: MixPlan) -> float:
    """Depression (K) if every dissolved molecule counted alike: 1.86 K kg/mol, one particle for each sugar.

    A syrup's mean molar mass is taken as 180.16 * 100 / DE, so that it counts 1.9 times what the method gives it.
    Salts of milk and what lies outside the method are as in the method, which has them from measurements.

    Raises:
        OutOfRangeError: when the mix is outside the method.
    """
    curve(mix)
    disaccharides = LACTOSE_OF_MSNF * mix.msnf + LACTOSE_OF_WHEY * mix.whey_solids + mix.sucrose + mix.lactose
    moles = (
        disaccharides / SUCROSE_MOLAR_MASS
        + mix.monosaccharides / MONOSACCHARIDE_MOLAR_MASS
        + mix.syrup_solids * mix.syrup_de / (100.0 * MONOSACCHARIDE_MOLAR_MASS)
    )
    sugars = 1000.0 * CRYOSCOPIC * moles / mix.water
    return sugars + milk_salts(mix) + sum(one.kelvin * grams for one, grams in outsiders(mix))


def colligative_check(mix: MixPlan) -> ColligativeCheck:
    """Compare the method with the colligative law.

    Raises:
        OutOfRangeError: when the mix is outside the method.
    """
    by_method, by_molar_mass = curve(mix).depressions[0], colligative_depression(mix)
    apart = abs(by_molar_mass - by_method)
    agrees = apart <= max(_LEAST_KELVIN, AGREES_WITHIN * max(by_method, by_molar_mass))
    return ColligativeCheck(0.0 - by_method, 0.0 - by_molar_mass, agrees)
