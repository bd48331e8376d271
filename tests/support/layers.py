"""Freezing in thin layers: the heat equation in heat content, solved step by step. Shares no formula with ``hardening``.

Explicit finite volumes. Properties are given as functions, so that what is compared is the way of calculating.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import specific_enthalpy, water_frozen

Array = NDArray[np.float64]


class Substance:
    """Heat content (J/kg), ice and conductivity of a mix against temperature, as tables."""

    def __init__(self, mix: MixPlan, density: float, conductivity: Callable[[float], float]) -> None:
        self.celsius = np.concatenate([np.arange(-39.5, -10.0, 0.25), np.arange(-10.0, 25.0, 0.05)])
        points = [Temperature(float(one)) for one in self.celsius]
        self.heat = np.array([specific_enthalpy(mix, one) for one in points]) * 1e3
        self.frozen = np.array([water_frozen(mix, one) for one in points])
        self.conductivity = np.array([conductivity(one.celsius) for one in points])
        self.density = density
        self.least_heat = float(np.min(np.diff(self.heat) / np.diff(self.celsius)))


def middle_of(
    of: Substance, half: float, directions: int, start: float, air: Callable[[float], float], film: float,
    core: float, layers: int = 12,
) -> tuple[Array, Array]:  # fmt: skip
    """Times (s) and temperatures (°C) of the middle, until ``core``.

    Args:
        of: what freezes.
        half: half the thickness or diameter, m.
        directions: 1 slab, 2 long cylinder, 3 sphere.
        start: °C throughout.
        air: °C at a time in s.
        film: W/(m2 K).
        core: °C at which to stop.
        layers: from the middle to the surface.
    """
    edges = np.linspace(0.0, half, layers + 1)
    thick = half / layers
    areas, volumes = edges ** (directions - 1), np.diff(edges**directions) / directions
    step = 0.2 * of.density * of.least_heat * thick**2 / float(of.conductivity.max())
    heat = np.full(layers, np.interp(start, of.celsius, of.heat))
    flow, now = np.zeros(layers + 1), 0.0
    times, middle = [0.0], [start]
    while middle[-1] > core:
        celsius = np.interp(heat, of.heat, of.celsius)
        k = np.interp(celsius, of.celsius, of.conductivity)
        between = 2.0 * k[1:] * k[:-1] / (k[1:] + k[:-1])
        flow[1:-1] = between * np.diff(celsius) / thick * areas[1:-1]
        flow[-1] = (air(now) - celsius[-1]) / (1.0 / film + thick / 2.0 / k[-1]) * areas[-1]
        heat = heat + step * np.diff(flow) / (volumes * of.density)
        now += step
        times.append(now)
        middle.append(float(celsius[0]))
    return np.array(times), np.array(middle)


def middle_of_tub(
    of: Substance, diameter: float, height: float, start: float, air: float, film: float, core: float, cells: int = 10
) -> float:  # fmt: skip
    """Seconds until the middle of a round tub is at ``core`` °C, in two directions."""
    r, along = np.linspace(0.0, diameter / 2.0, cells + 1), height / 2.0 / cells
    out = r[1]
    rings = np.diff(r**2) / 2.0
    volumes = (rings * along)[:, None] * np.ones(cells)
    outwards, upwards = r[:, None] * along * np.ones(cells), rings[:, None] * np.ones(cells + 1)
    step = 0.4 * of.density * of.least_heat / float(of.conductivity.max()) / (2.0 / out**2 + 2.0 / along**2)
    heat = np.full((cells, cells), np.interp(start, of.celsius, of.heat))
    across, up, now = np.zeros((cells + 1, cells)), np.zeros((cells, cells + 1)), 0.0
    while True:
        celsius = np.interp(heat, of.heat, of.celsius)
        if celsius[0, 0] <= core:
            return now
        k = np.interp(celsius, of.celsius, of.conductivity)
        across[1:-1] = (
            2.0 * k[1:] * k[:-1] / (k[1:] + k[:-1]) * np.diff(celsius, axis=0) / out * outwards[1:-1]
        )
        across[-1] = (air - celsius[-1]) / (1.0 / film + out / 2.0 / k[-1]) * outwards[-1]
        up[:, 1:-1] = 2.0 * k[:, 1:] * k[:, :-1] / (k[:, 1:] + k[:, :-1])
        up[:, 1:-1] *= np.diff(celsius, axis=1) / along * upwards[:, 1:-1]
        up[:, -1] = (air - celsius[:, -1]) / (1.0 / film + along / 2.0 / k[:, -1]) * upwards[:, -1]
        heat = heat + step * (np.diff(across, axis=0) + np.diff(up, axis=1)) / (volumes * of.density)
        now += step
