"""Whether a reading that could be true is likely to be: one file for each check, all of one signature.

A new check is a file and a line in ``CHECKS``. The first doubt names the reason; every check sees every reading in
its time, so that its memory goes on.
"""

from __future__ import annotations

from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.sensing.plausible.beside import beside
from rimekeeper.core.sensing.plausible.case import Case, Check, Verdict
from rimekeeper.core.sensing.plausible.codes import codes
from rimekeeper.core.sensing.plausible.noise import noise
from rimekeeper.core.sensing.plausible.room import room
from rimekeeper.core.sensing.plausible.stuck import stuck
from rimekeeper.core.sensing.plausible.swapped import swapped

CHECKS: tuple[Check, ...] = (codes, stuck, noise, swapped, room, beside)


def judged(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """What the checks remember after the reading, and the first doubt."""
    first: Verdict | None = None
    for check in CHECKS:
        doubt, verdict = check(case, doubt)
        if first is None and verdict is not None:
            first = verdict
    return doubt, first
