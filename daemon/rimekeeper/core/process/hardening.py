"""How long a drawn mix takes to harden: from the draw to a temperature in the middle, in a tray, a tub or a box.

Pham's correction of Plank's equation (see ``freezing_time``), with one change for frozen desserts. A mix comes from the
churn half frozen and goes on freezing all the way down, so heat leaves neither at one freezing point nor at Pham's two
mean temperatures. Its heat content H (``freezing``, from the composition) is taken off in small steps instead, each
against its own difference to the air; sensible heat is in it:

    t = d / (E h) * (1 + Bi / 2) * sum of rho dH / (T - Ta)        d = half the smallest side, Bi = h d / k

E, in how many directions heat leaves, is 1 for a tray and between 1 and 3 for tubs and boxes (``vessels``). A tray that
gives off heat by one face only is to be given with twice its thickness. Conductivity: Maxwell and Eucken's law twice,
ice in syrup and air in both.

How good it is. Against a heat-content simulation in thin layers with the same properties: slabs -3 % to +11 %, long
cylinders and spheres up to +21 % (Biot numbers to 3), round tubs within 4 %, late rather than early
(tests/core/process/test_hardening.py); Pham's own two temperatures come out 4 % to 46 % short for a drawn mix. Heat,
density and above all conductivity of something frozen and full of air aren't known better than about a fifth (Carson and
others 2016, J Food Eng 175:65). So 25 % either way is stated, our choice; what the air does is unsure by more, and comes
with its own span.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import initial_freezing_point, specific_enthalpy, water_frozen
from rimekeeper.core.process.vessels import Vessel

MODEL_SHARE = 0.25
"""How far off the time may be either way when the air is known (our choice, see above)."""
THINNEST, THICKEST = 0.005, 0.4
"""m, the smallest side."""
_LONGEST_SIDE = 2.0
_COLDEST_AIR, _COLDEST_CORE, _WARMEST_START = -60.0, -35.0, 30.0
_COLDER_BY = 0.5
_MOST_OVERRUN = 1.5
_MOST_WRAPPING = 2.0
_BELOW, _ABOVE = 1.0 - 1e-9, 1.0 + 1e-9
_STEPS = 64
_BISECTIONS = 60
_ICE, _WATER, _SOLIDS, _FAT = 917.0, 1000.0, 1550.0, 930.0
"""kg/m3 (Choi and Okos 1986, rounded; from memory)."""
_K_ICE, _K_WATER, _K_DRY, _K_AIR = 2.3, 0.56, 0.2, 0.024
"""W/(m K), the same source; ``_K_DRY`` for fat and solids."""


@dataclass(frozen=True, slots=True)
class Film:
    """Heat transfer from a surface to the air, radiation included, W/(m2 K): what is likely, and its span."""

    least: float
    likely: float
    most: float


class AirSpeed(enum.StrEnum):
    """How the air moves past the packs."""

    STILL = "still"
    NATURAL = "natural"
    FAN = "fan"
    BLAST = "blast"


FILMS: Mapping[AirSpeed, Film] = {
    AirSpeed.STILL: Film(3.5, 5.0, 7.0),
    AirSpeed.NATURAL: Film(5.0, 7.0, 10.0),
    AirSpeed.FAN: Film(10.0, 15.0, 22.0),
    AirSpeed.BLAST: Film(20.0, 28.0, 40.0),
}
"""Packs close together in a chest; with room around them; in a fan's air of 1 to 2 m/s; of 3 to 6 m/s.

From memory and common practice: textbooks of food engineering give about 5 to 10 for free convection, about 20 to 30 for
an air blast. Frost, crowding and a filled shelf make it less."""


class Wrapping(enum.StrEnum):
    """What lies between the mix and the air."""

    BARE = "bare or metal"
    CARD = "card"
    PLASTIC = "plastic"
    FOAM = "foam"


WRAPPINGS: Mapping[Wrapping, float] = {
    Wrapping.BARE: 0.0,
    Wrapping.CARD: 0.5e-3 / 0.06,
    Wrapping.PLASTIC: 1.5e-3 / 0.2,
    Wrapping.FOAM: 10e-3 / 0.035,
}
"""m2 K/W: 0.5 mm of card, 1.5 mm of plastic, 10 mm of foam (conductivities from memory). Air under a lid isn't in it."""


@dataclass(frozen=True, slots=True)
class Hardening:
    """What is put where: temperatures in °C, ``wrapping`` in m2 K/W, ``overrun`` as a share (0.3 is 30 %)."""

    mix: MixPlan
    vessel: Vessel
    start: float
    air: float
    film: Film
    core: float = -18.0
    overrun: float = 0.3
    wrapping: float = 0.0


@dataclass(frozen=True, slots=True)
class HardeningTime:
    """Seconds from the draw to the core temperature: likely, and the span it is stated with."""

    least: float
    likely: float
    most: float
    heat: float
    """kJ/kg given off on the way."""


@dataclass(frozen=True, slots=True)
class Advice:
    """The largest vessel that is hard in time: surely (by the late end of the span) and likely; None when none is."""

    surely: Vessel | None
    likely: Vessel | None


def hardening_time(case: Hardening) -> HardeningTime:
    """Predicted time from the draw until the middle is at the core temperature.

    Raises:
        OutOfRangeError: when the mix is outside the freezing curve's method, a number can't be, the air isn't colder than
            the core temperature, or the mix is already as cold.
    """
    _check(case)
    path = _Path(case)
    least, likely, most = _span(case, path, case.vessel)
    return HardeningTime(least, likely, most, path.heat)


def largest_for(case: Hardening, within: float) -> Advice:
    """The largest vessel of the case's shape that is hard ``within`` so many seconds (a tray: its thickness).

    Raises:
        OutOfRangeError: as :func:`hardening_time`, or when ``within`` isn't above 0.
    """
    if not 0.0 < within <= 1e8:
        raise OutOfRangeError(f"A deadline must be above 0 s and up to three years away, not {within:g} s.")
    _check(case)
    path = _Path(case)
    found: list[Vessel | None] = []
    for which in (2, 1):
        low, high = (
            THINNEST / case.vessel.smallest,
            min(THICKEST / case.vessel.smallest, _LONGEST_SIDE / max(case.vessel.sides)),
        )
        if _span(case, path, case.vessel.scaled(low))[which] > within:
            found.append(None)
            continue
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            in_time = _span(case, path, case.vessel.scaled(middle))[which] <= within
            low, high = (middle, high) if in_time else (low, middle)
        found.append(case.vessel.scaled(low))
    return Advice(*found)


def what_if(
    case: Hardening, airs: Sequence[float], films: Sequence[Film]
) -> tuple[tuple[float, Film, HardeningTime | None], ...]:
    """The time with each of these airs and films; None where it never gets hard.

    Raises:
        OutOfRangeError: as :func:`hardening_time`, but for air that isn't cold enough.
    """
    rows: list[tuple[float, Film, HardeningTime | None]] = []
    for air in airs:
        for film in films:
            warm = math.isfinite(air) and air > case.core - _COLDER_BY
            rows.append((air, film, None if warm else hardening_time(replace(case, air=air, film=film))))
    return tuple(rows)


def conductivity(mix: MixPlan, celsius: float, overrun: float) -> float:
    """Conductivity of a mix at ``celsius``, W/(m K): ice in syrup, then air in both (Maxwell and Eucken).

    Raises:
        OutOfRangeError: when the mix or the temperature is outside the freezing curve's method.
    """
    ice, water, solids, fat = _volumes(mix, water_frozen(mix, Temperature(celsius)))
    rest = water + solids + fat
    # Pure water leaves nothing between the ice once it is frozen.
    syrup = (water * _K_WATER + (solids + fat) * _K_DRY) / rest if rest > 0.0 else _K_ICE
    solid = _dispersed(syrup, _K_ICE, ice / (ice + water + solids + fat))
    return _dispersed(solid, _K_AIR, overrun / (1.0 + overrun))


def density(mix: MixPlan, overrun: float) -> float:
    """Density of the mix with its air, unfrozen, kg/m3."""
    _, water, solids, fat = _volumes(mix, 0.0)
    return 1.0 / (water + solids + fat) / (1.0 + overrun)


class _Path:
    """The way down from the draw to the core temperature: the sum of rho dH / (T - Ta), the heat, the conductivity."""

    def __init__(self, case: Hardening) -> None:
        freezing = initial_freezing_point(case.mix).celsius
        grid = np.linspace(case.start, case.core, _STEPS + 1)
        if case.core < freezing < case.start:
            grid = np.sort(np.append(grid, freezing))[::-1]
        heat = np.array([specific_enthalpy(case.mix, Temperature(float(one))) for one in grid]) * 1e3
        middle = (grid[1:] + grid[:-1]) / 2.0
        steps = density(case.mix, case.overrun) * -np.diff(heat) / (middle - case.air)
        self.driven = float(steps.sum())
        self.heat = float(heat[0] - heat[-1]) / 1e3
        at = (min(case.start, freezing) + case.core) / 2.0
        self.conductivity = conductivity(case.mix, at, case.overrun)


def _span(case: Hardening, path: _Path, vessel: Vessel) -> tuple[float, float, float]:
    """Seconds: least, likely, most. What is unsure of the air and of the model is put together as squares of shares."""
    quick, likely, slow = (
        _seconds(case, path, vessel, film) for film in (case.film.most, case.film.likely, case.film.least)
    )
    model = math.log1p(MODEL_SHARE)
    early, late = math.hypot(math.log(likely / quick), model), math.hypot(math.log(slow / likely), model)
    return likely * math.exp(-early), likely, likely * math.exp(late)


def _seconds(case: Hardening, path: _Path, vessel: Vessel, film: float) -> float:
    through = 1.0 / (1.0 / film + case.wrapping)
    half = vessel.smallest / 2.0
    biot = through * half / path.conductivity
    return half / (vessel.directions(biot) * through) * (1.0 + biot / 2.0) * path.driven


def _volumes(mix: MixPlan, frozen: float) -> tuple[float, float, float, float]:
    """m3 of ice, water, solids and fat in a kilogram."""
    whole = 100.0
    rest = max(0.0, whole - mix.water - mix.fat)
    total = mix.water + mix.fat + rest
    return (
        mix.water * frozen / total / _ICE,
        mix.water * (1.0 - frozen) / total / _WATER,
        rest / total / _SOLIDS,
        mix.fat / total / _FAT,
    )


def _dispersed(around: float, inside: float, share: float) -> float:
    """Conductivity of one thing with another dispersed in it (Maxwell and Eucken)."""
    apart = share * (around - inside)
    return around * (2.0 * around + inside - 2.0 * apart) / (2.0 * around + inside + apart)


def _check(case: Hardening) -> None:
    _within("start", case.start, case.core, _WARMEST_START, "°C")
    _within("core", case.core, _COLDEST_CORE, 0.0, "°C")
    _within("air", case.air, _COLDEST_AIR, _WARMEST_START, "°C")
    if case.start - case.core < 0.1:
        raise OutOfRangeError(f"At {case.start:g} °C it is as cold as wanted ({case.core:g} °C) already.")
    if case.air > case.core - _COLDER_BY:
        raise OutOfRangeError(
            f"In air of {case.air:g} °C the middle doesn't get to {case.core:g} °C in any time that can be told: the air "
            f"must be {_COLDER_BY:g} K colder."
        )
    _within("overrun", case.overrun, 0.0, _MOST_OVERRUN, "")
    _within("wrapping", case.wrapping, 0.0, _MOST_WRAPPING, "m2K/W")
    # A vessel scaled to the very edge may lie beyond it by a rounding.
    _within("smallest side", case.vessel.smallest, THINNEST * _BELOW, THICKEST * _ABOVE, "m")
    for side in case.vessel.sides:
        _within("side", side, THINNEST * _BELOW, _LONGEST_SIDE * _ABOVE, "m")
    film = case.film
    if not 1.0 <= film.least <= film.likely <= film.most <= 1000.0:
        raise OutOfRangeError("A film must rise: 1 W/m2K <= least <= likely <= most <= 1000 W/m2K.")


def _within(name: str, value: float, least: float, most: float, unit: str) -> None:
    if not least <= value <= most:
        with_unit = f" {unit}" if unit else ""
        raise OutOfRangeError(
            f"{name}: {value:g}{with_unit} can't be: give {least:g}{with_unit} to {most:g}{with_unit}."
        )
