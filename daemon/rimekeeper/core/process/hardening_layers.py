"""How the middle of something comes down while it hardens: the shape of its curve, not how long it takes.

The middle hardly feels the cold at first and then falls the faster the thicker a piece is, which no formula for the whole
time knows. So the heat equation is solved once in a few layers, in heat content, with the conductivity of the ice that
is there; tubs and boxes as one body of so many directions (``vessels``). The time is then stretched to the predicted one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.model import Temperature
from rimekeeper.core.process.freezing import COLDEST, specific_enthalpy
from rimekeeper.core.process.hardening import Hardening, conductivity, density, hardening_time

Array = NDArray[np.float64]

_LAYERS = 6
_ROWS = 64
_BEYOND = 1.5
_AIR_NEAR = 0.3
_SMOOTH = 0.25
"""Biot number below which the shape doesn't change any more; a smaller one would only take more steps."""
_STABLE = 0.45
_MOST_STEPS = 100_000


@dataclass(frozen=True, slots=True)
class WayDown:
    """After how many seconds (likely) the middle passes each temperature, falling from the draw to beyond the core.

    ``least``, ``likely`` and ``most`` are the seconds to the core temperature, as :class:`HardeningTime`.
    """

    celsius: tuple[float, ...]
    seconds: tuple[float, ...]
    least: float
    likely: float
    most: float


def way_down(case: Hardening) -> WayDown:
    """The way down of the middle, stretched to the predicted time.

    Takes some hundredths of a second, so it is made once for a run.

    Raises:
        OutOfRangeError: as :func:`hardening_time`.
    """
    found = hardening_time(case)
    last = max(case.core - _BEYOND, case.air + _AIR_NEAR, COLDEST.celsius + 1.0)
    times, middle = _middle(case, last)
    falling = np.linspace(case.start, last, _ROWS + 1)
    lowest = np.minimum.accumulate(middle)
    passed = np.maximum.accumulate(np.interp(-falling[1:], -lowest, times))
    stretch = found.likely / float(np.interp(-case.core, -falling[1:], passed))
    return WayDown(
        tuple(falling.tolist()),
        (0.0, *(passed * stretch).tolist()),
        found.least,
        found.likely,
        found.most,
    )


def _middle(case: Hardening, last: float) -> tuple[Array, Array]:
    """Times (s) and temperatures of the middle until ``last`` °C."""
    celsius = np.linspace(max(COLDEST.celsius, case.air - 1.0), case.start + 1.0, 161)
    heat = np.array([specific_enthalpy(case.mix, Temperature(float(one))) for one in celsius]) * 1e3
    per_kelvin = np.diff(heat) / np.diff(celsius)
    conducting = np.array([conductivity(case.mix, float(one), case.overrun) for one in celsius])
    film = 1.0 / (1.0 / case.film.likely + case.wrapping)
    half = case.vessel.smallest / 2.0
    biot = film * half / conductivity(case.mix, (case.start + case.core) / 2.0, case.overrun)
    if biot < _SMOOTH:
        conducting = conducting * biot / _SMOOTH
        biot = _SMOOTH
    directions = case.vessel.directions(biot)
    edges = np.linspace(0.0, half, _LAYERS + 1)
    thick = half / _LAYERS
    areas = edges ** (directions - 1.0)
    areas[0] = 0.0
    masses = np.diff(edges**directions) / directions * density(case.mix, case.overrun)

    inside = np.full(_LAYERS, np.interp(case.start, celsius, heat))
    through, flow = np.zeros(_LAYERS + 1), np.zeros(_LAYERS + 1)
    times, middle = [0.0], [case.start]
    while middle[-1] > last and len(times) < _MOST_STEPS:
        now = np.interp(inside, heat, celsius)
        k = np.interp(now, celsius, conducting)
        through[1:-1] = 2.0 * k[1:] * k[:-1] / (k[1:] + k[:-1]) / thick * areas[1:-1]
        through[-1] = areas[-1] / (1.0 / film + thick / 2.0 / k[-1])
        flow[1:-1] = through[1:-1] * (now[1:] - now[:-1])
        flow[-1] = through[-1] * (case.air - now[-1])
        row = np.clip(np.searchsorted(celsius, now) - 1, 0, len(per_kelvin) - 1)
        slack = masses * per_kelvin[row] / (through[1:] + through[:-1])
        step = _STABLE * float(slack.min())
        inside = inside + step * (flow[1:] - flow[:-1]) / masses
        times.append(times[-1] + step)
        middle.append(float(np.interp(inside[0], heat, celsius)))
    return np.array(times), np.array(middle)
