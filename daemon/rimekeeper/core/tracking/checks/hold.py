"""Hold: once the target is reached, in the band without a break for the length asked for.

It counts in the same run as the target (see there). For a target met from below, as in cooking, the band is
open upwards: the hold counts while the value is at or above ``target - band``, and overshoot is the ceiling's
business. It is met at the first good reading that shows it, never between readings.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.state import StageRun, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import Found, Moment, StageCheck


def _look(stage: StagePlan, run: StageRun, _watch: WatchSlot | None, moment: Moment) -> Found | None:
    if stage.hold <= 0 or moment.celsius is None or run.reached_at is None or run.hold_met_at is not None:
        return None
    if run.in_band_since is None or moment.at - run.in_band_since < stage.hold:
        return None
    return Found(replace(run, hold_met_at=moment.at), prompts=(PromptKind.HOLD_DONE,))


CHECK = StageCheck("hold", _look)
