"""The temperature after mixing portions of mix, and how large a portion to freeze for a wanted temperature.

Heat is kept: what the warm portions give up melts ice in the frozen ones. Each portion's heat content comes from
its freezing curve, so it must be in balance with its ice (a frozen portion warmed through, not one whose surface
alone has thawed; nothing supercooled). Heat from the room, the bowl and the stirring, and the heat of mixing two
different syrups, are left out: all but the last make the result warmer than computed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import (
    COLDEST,
    LATENT_HEAT,
    specific_enthalpy,
    temperature_at_enthalpy,
    water_frozen,
)
from rimekeeper.core.process.freezing_doubt import depression_uncertainty, fraction_uncertainty
from rimekeeper.core.process.ingredients import blended

WARMEST = 100.0
_HEAT_DOUBT = 0.05


@dataclass(frozen=True, slots=True)
class Portion:
    """Some mix at one temperature."""

    kilograms: float
    temperature: Temperature
    mix: MixPlan


@dataclass(frozen=True, slots=True)
class Combined:
    """What the portions become: ``uncertainty`` in K either way, ``frozen`` the fraction of the water that is ice."""

    kilograms: float
    temperature: Temperature
    uncertainty: float
    frozen: float
    mix: MixPlan


@dataclass(frozen=True, slots=True)
class ToFreeze:
    """The part of a batch to freeze: ``kilograms`` of it (``uncertainty`` either way), as a ``share`` of all."""

    kilograms: float
    uncertainty: float
    share: float


def combined(portions: Sequence[Portion], probe_uncertainty: float = 0.5) -> Combined:
    """What the portions become when stirred together.

    Args:
        portions: at least one, of -40 °C to 100 °C.
        probe_uncertainty: of each portion's temperature, K either way.

    Raises:
        OutOfRangeError: a mass, temperature or mix that can't be.
    """
    for portion in portions:
        _check_warmth(portion.temperature, "A portion")
    _check_probe(probe_uncertainty)
    mix = blended([(portion.kilograms, portion.mix) for portion in portions])
    total = sum(portion.kilograms for portion in portions)
    heat = sum(p.kilograms / total * specific_enthalpy(p.mix, p.temperature) for p in portions)
    temperature = temperature_at_enthalpy(mix, heat)
    off = math.hypot(*(p.kilograms / total * _doubt(p, probe_uncertainty) for p in portions))
    around = [_nearest_temperature(mix, heat + way * off) - temperature.celsius for way in (-1.0, 1.0)]
    frozen = water_frozen(mix, temperature)
    # Where there is ice, or nearly, the curve's own doubt moves the result with it.
    curves = depression_uncertainty(mix, 1.0 / (1.0 - frozen)) if frozen < 1.0 else 0.0
    near = frozen > 0.0 or fraction_uncertainty(mix, temperature) > 0.0
    uncertainty = math.hypot(max(map(abs, around)), curves if near else 0.0)
    return Combined(total, temperature, uncertainty, frozen, mix)


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a probe says after stirring, less what was expected (K), and the largest difference that is explained."""

    difference: float
    explained: float

    @property
    def agrees(self) -> bool:
        """Whether the uncertainties explain the difference."""
        return abs(self.difference) <= self.explained


def against_probe(expected: Combined, measured: Temperature, probe_uncertainty: float = 0.5) -> Comparison:
    """Compare an expected temperature with a probe: apart means wrong masses, a portion not in balance, or a probe.

    Raises:
        OutOfRangeError: a reading or uncertainty that can't be.
    """
    _check_warmth(measured, "A reading")
    _check_probe(probe_uncertainty)
    return Comparison(
        measured.celsius - expected.temperature.celsius, math.hypot(expected.uncertainty, probe_uncertainty)
    )


def portion_to_freeze(
    mix: MixPlan, kilograms: float, unfrozen_at: Temperature, frozen_at: Temperature, wanted: Temperature
) -> ToFreeze:
    """How much of a batch to freeze so that, stirred into the rest, all of it has the wanted temperature.

    Args:
        mix: of the whole batch; the portion is taken from it.
        kilograms: of the whole batch.
        unfrozen_at: temperature of the rest.
        frozen_at: temperature of the portion when it is stirred in.
        wanted: temperature of all of it, such as at the start of the churn.

    Raises:
        OutOfRangeError: a mass or temperature that can't be, or a wanted one that isn't between the two.
    """
    if not (math.isfinite(kilograms) and kilograms > 0.0):
        raise OutOfRangeError(f"The batch must weigh more than nothing, not {kilograms} kg.")
    for temperature in (unfrozen_at, frozen_at, wanted):
        _check_warmth(temperature, "A portion")
    if not frozen_at.celsius < wanted.celsius < unfrozen_at.celsius:
        raise OutOfRangeError(
            f"A portion of {frozen_at.celsius:.1f} °C stirred into {unfrozen_at.celsius:.1f} °C gives something "
            f"between the two, never {wanted.celsius:.1f} °C. Freeze the portion colder, or cool the rest."
        )
    warm, cold, goal = (specific_enthalpy(mix, t) for t in (unfrozen_at, frozen_at, wanted))
    share = min(1.0, max(0.0, (warm - goal) / (warm - cold)))
    # Heat that is doubted at each temperature, moved through the balance.
    doubts = (
        (1.0 - share) * _doubt(Portion(1.0, unfrozen_at, mix), 0.5),
        share * _doubt(Portion(1.0, frozen_at, mix), 0.5),
        _doubt(Portion(1.0, wanted, mix), 0.0),
    )
    off = math.hypot(*doubts) / (warm - cold)
    return ToFreeze(kilograms * share, kilograms * off, share)


def _doubt(portion: Portion, probe_uncertainty: float) -> float:
    """How far the heat content of the portion may be off either way, kJ/kg."""
    mix, celsius = portion.mix, portion.temperature.celsius
    heat = specific_enthalpy(mix, portion.temperature)
    warmer = Temperature(celsius + probe_uncertainty)
    colder = Temperature(max(COLDEST.celsius, celsius - probe_uncertainty))
    by_probe = max(specific_enthalpy(mix, warmer) - heat, heat - specific_enthalpy(mix, colder))
    by_ice = LATENT_HEAT * mix.water / 100.0 * fraction_uncertainty(mix, portion.temperature)
    sensible = heat + LATENT_HEAT * mix.water / 100.0 * water_frozen(mix, portion.temperature)
    return math.hypot(by_probe, by_ice, _HEAT_DOUBT * sensible)


def _nearest_temperature(mix: MixPlan, heat: float) -> float:
    """The temperature at a heat content, or the end of the curve that is nearest to it."""
    coldest = specific_enthalpy(mix, COLDEST)
    return COLDEST.celsius if heat <= coldest else temperature_at_enthalpy(mix, heat).celsius


def _check_warmth(temperature: Temperature, what: str) -> None:
    if not COLDEST.celsius <= temperature.celsius <= WARMEST:
        raise OutOfRangeError(
            f"{what} of {temperature.celsius} °C can't be computed: give {COLDEST.celsius:.0f} °C to {WARMEST:.0f} °C."
        )


def _check_probe(kelvin: float) -> None:
    most = 10.0
    if not 0.0 <= kelvin <= most:
        raise OutOfRangeError(f"A temperature can't be unsure by {kelvin} K: give 0 K to {most:.0f} K.")
