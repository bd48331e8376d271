"""A probe that jumps to and fro: a loose plug, a wet connector, a radio beside its cable.

A jump is more than 1 K and more than five steps of the probe's resolution, within a minute; a jump back against the
one before counts. Five in the last eight readings are noise: a door that opens and shuts, or a spoon in the pan,
makes one or two. Chosen by us.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import MINUTE, Quality, Reason
from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.sensing.plausible.case import Case, Verdict

SMALLEST = 1.0
"""K."""
STEPS = 5.0
LONGEST = MINUTE
"""Readings further apart than this can swing by right, so they are not judged."""
LAST = 8
MOST = 4
_NOISE = (Quality.UNCERTAIN, Reason.NOISE)
_ALL = (1 << LAST) - 1


def noise(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """Doubt readings while most of the last eight jumped back against the jump before."""
    before = case.before.celsius
    step = 0.0 if before is None else case.celsius - before
    quiet = -SMALLEST <= step <= SMALLEST
    if quiet and not doubt.swings and not doubt.direction:
        return doubt, None
    direction = 0 if quiet else _direction(case, step)
    back = direction != 0 and direction == -doubt.direction
    swings = ((doubt.swings << 1) | back) & _ALL
    if swings != doubt.swings or direction != doubt.direction:
        doubt = replace(doubt, direction=direction, swings=swings)
    return doubt, _NOISE if swings.bit_count() > MOST else None


def _direction(case: Case, step: float) -> int:
    last_at = case.before.last_at
    if last_at is None or case.taken - last_at > LONGEST or abs(step) <= STEPS * case.probe.resolution.kelvin:
        return 0
    return 1 if step > 0.0 else -1
