"""Textbook times to freeze: Plank's equation and Pham's correction of it, for a slab, a long cylinder and a sphere.

Plank (1913) knows only the latent heat, all of it at the freezing point:

    t = rho L / (Tf - Ta) * (P a / h + R a^2 / k)      a = thickness or diameter

so it comes out short. Pham (1986, J Food Technol 21:209; form from memory) adds the sensible heat before and after, with
a mean freezing temperature Tfm = 1.8 + 0.263 Tc + 0.105 Ta that stands for the span over which food freezes:

    t = d / (E h) * (H1 / dT1 + H2 / dT2) * (1 + Bi / 2)     d = half of that, Bi = h d / k
    H1 = rho_u c_u (Ti - Tfm),  dT1 = (Ti + Tfm) / 2 - Ta
    H2 = rho_f (L + c_f (Tfm - Tc)),  dT2 = Tfm - Ta

It was fitted to foods that begin to freeze near -1 °C and go in unfrozen. A drawn mix does neither: ``hardening``.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from rimekeeper.core.errors import OutOfRangeError


class Shape(enum.IntEnum):
    """The shapes that have one size; the number is in how many directions heat leaves (Pham's E)."""

    SLAB = 1
    CYLINDER = 2
    SPHERE = 3


PLANK_FACTORS = {Shape.SLAB: (1 / 2, 1 / 8), Shape.CYLINDER: (1 / 4, 1 / 16), Shape.SPHERE: (1 / 6, 1 / 24)}
"""P and R of Plank's equation."""
_COLDEST, _WARMEST = -200.0, 100.0
_LIMITS: dict[str, tuple[float, float, str]] = {
    "size": (1e-4, 10.0, "m"),
    "density": (10.0, 20_000.0, "kg/m3"),
    "density_frozen": (10.0, 20_000.0, "kg/m3"),
    "latent": (1.0, 1_000.0, "kJ/kg"),
    "film": (0.1, 100_000.0, "W/m2K"),
    "conductivity": (1e-3, 1_000.0, "W/mK"),
    "wrapping": (0.0, 100.0, "m2K/W"),
    "heat_unfrozen": (0.1, 20.0, "kJ/kgK"),
    "heat_frozen": (0.1, 20.0, "kJ/kgK"),
}


@dataclass(frozen=True, slots=True)
class Food:
    """What freezes. Pham's equation needs all of it, Plank's the first three."""

    density: float
    """kg/m3 (unfrozen, where it matters)."""
    latent: float
    """kJ/kg of food, not of water."""
    conductivity: float
    """W/(m K), frozen."""
    density_frozen: float = 950.0
    heat_unfrozen: float = 3.6
    heat_frozen: float = 1.8
    """kJ/(kg K)."""


@dataclass(frozen=True, slots=True)
class Around:
    """What takes the heat: ``air`` °C (or plates, or brine), ``film`` W/(m2 K), ``wrapping`` m2 K/W between."""

    air: float
    film: float
    wrapping: float = 0.0

    @property
    def through(self) -> float:
        """W/(m2 K) through wrapping and film in a row."""
        return 1.0 / (1.0 / self.film + self.wrapping)


def plank_seconds(shape: Shape, size: float, food: Food, freezing_point: float, around: Around) -> float:
    """Plank's time for the latent heat alone, s.

    Args:
        shape: slab (both faces), long cylinder or sphere.
        size: thickness or diameter, m.
        food: density, latent heat, conductivity.
        freezing_point: °C, where the latent heat is thought to be.
        around: what takes the heat.

    Raises:
        OutOfRangeError: when a number can't be, or the surroundings aren't colder than the freezing point.
    """
    _check(food, around, size)
    _check_celsius(freezing_point, around.air)
    driving = _colder(freezing_point, around.air, "the freezing point")
    p, r = PLANK_FACTORS[shape]
    return (
        food.density
        * food.latent
        * 1e3
        / driving
        * (p * size / around.through + r * size**2 / food.conductivity)
    )


def pham_seconds(
    shape: Shape, size: float, food: Food, start: float, core: float, around: Around
) -> tuple[float, float]:
    """Pham's time from ``start`` to ``core`` °C in the middle, s, and his mean freezing temperature, °C.

    Args:
        shape: slab (both faces), long cylinder or sphere.
        size: thickness or diameter, m.
        food: all of it.
        start: °C throughout, above the mean freezing temperature.
        core: °C to reach in the middle.
        around: what takes the heat.

    Raises:
        OutOfRangeError: when a number can't be, or the temperatures aren't start > mean freezing > core > air.
    """
    _check(food, around, size)
    _check_celsius(start, core, around.air)
    _colder(core, around.air, "the core temperature")
    mean = 1.8 + 0.263 * core + 0.105 * around.air
    if not start >= mean > core:
        raise OutOfRangeError(
            f"Pham's equation is for food that goes in warmer than its mean freezing temperature, here {mean:.1f} °C, "
            f"and comes out colder. It goes in at {start:g} °C and comes out at {core:g} °C."
        )
    half = size / 2.0
    before = food.density * food.heat_unfrozen * 1e3 * (start - mean) / ((start + mean) / 2.0 - around.air)
    after = (
        food.density_frozen
        * 1e3
        * (food.latent + food.heat_frozen * (mean - core))
        / _colder(mean, around.air, "the mean freezing temperature")
    )
    biot = around.through * half / food.conductivity
    return half / (shape * around.through) * (before + after) * (1.0 + biot / 2.0), mean


def _check(food: Food, around: Around, size: float) -> None:
    given = {
        "size": size,
        "density": food.density,
        "density_frozen": food.density_frozen,
        "latent": food.latent,
        "film": around.film,
        "conductivity": food.conductivity,
        "wrapping": around.wrapping,
        "heat_unfrozen": food.heat_unfrozen,
        "heat_frozen": food.heat_frozen,
    }
    for name, value in given.items():
        least, most, unit = _LIMITS[name]
        if not least <= value <= most:
            raise OutOfRangeError(
                f"{name}: {value:g} {unit} can't be: give {least:g} {unit} to {most:g} {unit}."
            )


def _check_celsius(*celsius: float) -> None:
    for one in celsius:
        if not _COLDEST <= one <= _WARMEST:
            raise OutOfRangeError(f"{one:g} °C can't be: give {_COLDEST:g} °C to {_WARMEST:g} °C.")


def _colder(celsius: float, air: float, what: str) -> float:
    """By how much ``air`` is colder than ``celsius``, at least 0.01 K."""
    if celsius - air < 0.01:
        raise OutOfRangeError(
            f"The surroundings at {air:g} °C must be colder than {what}, {celsius:.4g} °C; else it never freezes."
        )
    return celsius - air
