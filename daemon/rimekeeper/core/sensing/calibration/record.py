"""What is written down of a probe: calibrations and plunge tests. Dated, numbered, never changed afterwards."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import NewType

from rimekeeper.core.model import Actor, ProbeId

Written = NewType("Written", int)
"""An instant (ms since 1970 UTC) as it was written down: a record keeps it although the clock is set later."""


class Method(enum.StrEnum):
    """What a probe was held against."""

    ICE = "ice point"
    BOILING = "boiling point"
    COMPARISON = "comparison"


@dataclass(frozen=True, slots=True)
class CalibrationPoint:
    """One temperature at which the probe was held against a reference.

    ``reference`` and ``shown`` in °C; ``shown`` is the mean of the probe's readings *before* any correction.
    ``reference_u`` is the standard uncertainty (k = 1) of the reference and ``spread`` the standard deviation of
    the readings, both in K. ``since`` to ``until`` is the stretch of stored readings that prove it.
    """

    method: Method
    reference: float
    reference_u: float
    shown: float
    spread: float
    readings: int
    since: Written
    until: Written
    remark: str = ""
    """The pressure, or the reference thermometer and its certificate."""


@dataclass(frozen=True, slots=True)
class Correction:
    """Reference against shown (°C), ascending; straight lines between, and beyond the ends with these gains.

    No knot: nothing is corrected. One knot: an offset.
    """

    knots: tuple[tuple[float, float], ...] = ()
    """(shown, reference)."""
    gain_below: float = 1.0
    gain_above: float = 1.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """A calibration of a probe. ``number`` counts through the kitchen and stands beside every reading made with it."""

    number: int
    probe: ProbeId
    at: Written
    due: Written
    by: Actor
    points: tuple[CalibrationPoint, ...]
    correction: Correction
    resolution: float
    """Smallest step of the probe's readings, K."""
    drift: float
    """How far it may wander until it is due, K (half width)."""
    as_found: tuple[float, ...]
    """Error (shown with the correction before, minus reference) at each point, K."""
    as_left: tuple[float, ...]
    """The same with this correction."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class PlungeTest:
    """How fast a probe follows: a step response, fitted. ``seconds`` is its time constant in this medium."""

    number: int
    probe: ProbeId
    at: Written
    by: Actor
    seconds: float
    uncertainty: float
    """Expanded (k = 2), s."""
    medium: str
    began_celsius: float
    ended_celsius: float
    residual: float
    """Root mean square of what the fit leaves, K."""
    readings: int
    since: Written
    until: Written
    note: str = ""
