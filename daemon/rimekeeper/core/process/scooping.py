"""How a mix scoops at the temperature it is served at, judged by how much of its water is frozen.

65 % to 70 % frozen at serving is the aim (dairy-science article on freezing curves); the bands
beside it are our choice, without a published source. Air, fat and stabilisers make a product softer or firmer
than its ice alone, so that the words compare mixes rather than promise a scoop.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import temperature_for, water_frozen
from rimekeeper.core.process.freezing_doubt import fraction_uncertainty

SERVED_AT = Temperature(-12.0)
"""Where nothing else is said (common practice, no published source)."""
SCOOPS_FROM, SCOOPS_TO = 0.65, 0.70
_SOFT_FROM, _FIRM_TO = 0.55, 0.80


class Scooping(enum.Enum):
    """How it scoops, from soft to hard."""

    RUNS = "runs"
    SOFT = "soft"
    SCOOPS = "scoops"
    FIRM = "firm"
    HARD = "hard"


WORDS = {
    Scooping.RUNS: "too soft to hold a scoop",
    Scooping.SOFT: "soft",
    Scooping.SCOOPS: "scoops well",
    Scooping.FIRM: "firm, wants a strong arm or a few minutes of tempering",
    Scooping.HARD: "too hard to scoop; temper it first",
}
_BANDS = (
    (_SOFT_FROM, Scooping.RUNS),
    (SCOOPS_FROM, Scooping.SOFT),
    (SCOOPS_TO, Scooping.SCOOPS),
    (_FIRM_TO, Scooping.FIRM),
)


@dataclass(frozen=True, slots=True)
class Scoop:
    """The frozen fraction at serving, how far it may be off, and the words within that: softest to hardest."""

    celsius: float
    fraction: float
    uncertainty: float
    verdict: Scooping
    softest: Scooping
    hardest: Scooping

    @property
    def words(self) -> str:
        """The verdict in plain words, with what it may be instead."""
        if self.softest is self.hardest:
            return WORDS[self.verdict]
        others = [one for one in (self.softest, self.hardest) if one is not self.verdict]
        return f"{WORDS[self.verdict]} (it may be {' or '.join(WORDS[one] for one in others)})"


def scooping_of(fraction: float) -> Scooping:
    """The band of a frozen fraction."""
    for below, verdict in _BANDS:
        if fraction < below or (verdict is Scooping.SCOOPS and fraction == below):
            return verdict
    return Scooping.HARD


def scoop(mix: MixPlan, served_at: Temperature = SERVED_AT) -> Scoop:
    """How the mix scoops at a temperature.

    Raises:
        OutOfRangeError: when the mix is outside the method, or the temperature below -40 °C.
    """
    fraction, off = water_frozen(mix, served_at), fraction_uncertainty(mix, served_at)
    return Scoop(
        served_at.celsius,
        fraction,
        off,
        scooping_of(fraction),
        scooping_of(fraction - off),
        scooping_of(fraction + off),
    )


def scooping_range(mix: MixPlan) -> tuple[Temperature, Temperature] | None:
    """Coldest and warmest temperature at which 65 % to 70 % is frozen; None where the curve doesn't reach.

    Raises:
        OutOfRangeError: when the mix is outside the method.
    """
    water_frozen(mix, Temperature(0.0))
    try:
        return temperature_for(mix, SCOOPS_TO), temperature_for(mix, SCOOPS_FROM)
    except OutOfRangeError:
        return None
