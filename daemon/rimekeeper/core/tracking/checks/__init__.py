"""The stage checks, in the order in which they look. A new one is one file here and one line in ``CHECKS``."""

from __future__ import annotations

from rimekeeper.core.tracking.checks import (
    cooling,
    going_on,
    heads_up,
    heat,
    hold,
    limits,
    long,
    slow,
    target,
)
from rimekeeper.core.tracking.checks.stage_check import StageCheck

CHECKS: tuple[StageCheck, ...] = (
    target.CHECK,
    hold.CHECK,
    heat.CHECK,
    cooling.CHECK,
    cooling.AHEAD,
    heads_up.CHECK,
    limits.CEILING,
    limits.FLOOR,
    slow.CHECK,
    long.CHECK,
    going_on.CHECK,
)
