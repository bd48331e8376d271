"""Two probes whose plugs or places were exchanged: each jumps to where the other stood.

A jump is 8 K or more from where the probe stood one to two minutes ago. If two probes that something depends on
jump within two minutes of each other, and each is within 1.5 K of where the other stood, both are doubted: until a
probe is back within 3 K of where it stood, what depends on it changes (the next stage), or a person tested it.
Numbers are ours.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import MINUTE, ProbeId, Quality, Reason
from rimekeeper.core.sensing.doubt import Doubt, SwapDoubt
from rimekeeper.core.sensing.plausible.case import Case, Verdict

JUMP = 8.0
"""K."""
LIKE = 1.5
BACK = 3.0
TOGETHER = 2 * MINUTE
STOOD = MINUTE
"""Where it stood is noted this often."""
_SWAPPED = (Quality.UNCERTAIN, Reason.SWAPPED)


def swapped(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """Doubt a probe that jumped to where another stood, while that one jumped to where this one did."""
    if not doubt.duty:
        return doubt, None
    memory = doubt.swap
    if memory.other is not None:
        if abs(case.celsius - memory.left) > BACK:
            return doubt, _SWAPPED
        return replace(doubt, swap=SwapDoubt(newer=case.celsius, newer_at=case.taken)), None
    after = _stood(case, memory)
    if after.moved_at is not None:
        if case.taken - after.moved_at > 2 * TOGETHER:
            after = replace(after, moved_at=None)
        elif (other := _counterpart(case, after)) is not None:
            after = replace(after, other=other)
    if after is not memory:
        doubt = replace(doubt, swap=after)
    return doubt, None if after.other is None else _SWAPPED


def _stood(case: Case, memory: SwapDoubt) -> SwapDoubt:
    """Note where it stood, and whether it jumped away from there."""
    if memory.newer_at is None or memory.newer is None:
        return SwapDoubt(newer=case.celsius, newer_at=case.taken)
    if memory.moved_at is None:
        stood = memory.newer if memory.older is None else memory.older
        if abs(case.celsius - stood) >= JUMP:
            return SwapDoubt(None, case.celsius, case.taken, case.taken, stood)
    if case.taken - memory.newer_at < STOOD:
        return memory
    return SwapDoubt(memory.newer, case.celsius, case.taken, memory.moved_at, memory.left)


def _counterpart(case: Case, memory: SwapDoubt) -> ProbeId | None:
    moved_at = memory.moved_at
    if moved_at is None:
        return None
    for name, slot in case.others.items():
        theirs = slot.doubt.swap
        if theirs.moved_at is None or name == case.probe.id or slot.celsius is None or not slot.doubt.duty:
            continue
        if theirs.other is not None and theirs.other != case.probe.id:
            continue
        together = abs(moved_at - theirs.moved_at) <= TOGETHER
        here = abs(case.celsius - theirs.left) <= LIKE
        there = abs(slot.celsius - memory.left) <= LIKE or theirs.other == case.probe.id
        if together and here and there:
            return name
    return None
