"""Probes as instruments: slow by a first-order lag, noisy, and rounded to what they can say."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class ProbeBuild:
    """``tau`` in s, ``noise`` (standard deviation) and ``resolution`` in K.

    Time constants: 2 to 6 s in stirred mix, 30 to 90 s in moving air (a sensor maker's table, science.md 5).
    """

    tau: float
    noise: float
    resolution: float


IN_MIX = ProbeBuild(tau=2.5, noise=0.03, resolution=0.1)
IN_AIR = ProbeBuild(tau=12.0, noise=0.02, resolution=1 / 16)
IN_TRAY = ProbeBuild(tau=8.0, noise=0.02, resolution=1 / 16)


class Probe:
    """One probe; ``step`` it through the truth, ``read`` it when it is due."""

    def __init__(self, build: ProbeBuild, celsius: float, noise: np.random.Generator) -> None:
        self.build = build
        self.celsius = celsius
        """The sensor's own temperature."""
        self._noise = noise

    def step(self, seconds: float, truth: float) -> None:
        """Let time pass in surroundings of ``truth`` °C: dT/dt = (truth - T) / tau."""
        self.celsius = truth + (self.celsius - truth) * math.exp(-seconds / self.build.tau)

    def read(self, off: float = 0.0, gain: float = 0.0) -> float:
        """What it says now, °C; ``off`` K wrong at 0 °C and ``gain`` K more for each K from there."""
        value = self.celsius * (1.0 + gain) + off + self.build.noise * self._noise.standard_normal()
        return round(value / self.build.resolution) * self.build.resolution
