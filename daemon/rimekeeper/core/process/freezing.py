"""Freezing curve of a mix by the sucrose-equivalent method (see MixPlan for the composition)."""

from __future__ import annotations

from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan


def initial_freezing_point(mix: MixPlan) -> Temperature:
    """The temperature at which the first ice can form."""
    raise NotImplementedError


def water_frozen(mix: MixPlan, temperature: Temperature) -> float:
    """Fraction (0 to 1) of the mix's water that is ice at ``temperature``."""
    raise NotImplementedError


def temperature_for(mix: MixPlan, fraction: float) -> Temperature:
    """The temperature at which ``fraction`` of the water is ice."""
    raise NotImplementedError
