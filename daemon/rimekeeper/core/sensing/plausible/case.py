"""What a plausibility check is given, and what it may answer. One signature for all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rimekeeper.core.model import Instant, ProbeId, Quality, Reason
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.state import ProbeSlot

Verdict = tuple[Quality, Reason]
"""Never GOOD: a check doubts a reading or says nothing."""


@dataclass(slots=True)
class Case:
    """One reading in its time, whose number is a temperature.

    ``celsius`` is corrected, ``uncorrected`` is not; ``before`` is the probe's slot before the reading. ``others`` are
    the probes of the kitchen as they are now, this one as it was before.
    """

    probe: ProbePlan
    before: ProbeSlot
    taken: Instant
    raw: float
    celsius: float
    uncorrected: float
    others: Mapping[ProbeId, ProbeSlot]


Check = Callable[[Case, Doubt], tuple[Doubt, Verdict | None]]
"""(the case, the memory) -> (the memory after it, a doubt or None). Pure, constant work, never raises."""
