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
    before, direction = case.before, 0
    if before.celsius is not None and before.last_at is not None and case.taken - before.last_at <= LONGEST:
        step = case.celsius - before.celsius
        if abs(step) > max(SMALLEST, STEPS * case.probe.resolution.kelvin):
            direction = 1 if step > 0.0 else -1
    if not direction and not doubt.direction and not doubt.swings:
        return doubt, None
    back = direction != 0 and direction == -doubt.direction
    swings = ((doubt.swings << 1) | back) & _ALL
    after = replace(doubt, direction=direction, swings=swings)
    return after, _NOISE if swings.bit_count() > MOST else None
