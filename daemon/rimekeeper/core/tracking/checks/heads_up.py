"""Heads-up: a word before the target is there, once in a stage.

It comes when the forecast says that the target arrives within the lead, or, where no forecast could be made, as
the value enters the band after having been outside: the target counts as reached only once it has settled.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.process.forecast import Outlook
from rimekeeper.core.state import StageRun, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import Found, Moment, StageCheck, in_band


def _look(stage: StagePlan, run: StageRun, _watch: WatchSlot | None, moment: Moment) -> Found | None:
    if stage.target is None or stage.heads_up <= 0 or moment.celsius is None:
        return None
    if run.heads_up_at is not None or run.reached_at is not None:
        return None
    if _soon(stage, moment) or (
        run.in_band_since is not None and _was_outside(stage, run, moment.uncertainty)
    ):
        return Found(replace(run, heads_up_at=moment.at), prompts=(PromptKind.HEADS_UP,))
    return None


def _soon(stage: StagePlan, moment: Moment) -> bool:
    made = moment.forecast
    return (
        made is not None
        and made.outlook is Outlook.ARRIVES
        and made.expected is not None
        and made.expected - moment.at <= stage.heads_up
    )


def _was_outside(stage: StagePlan, run: StageRun, uncertainty: float) -> bool:
    return any(v is not None and not in_band(stage, v, uncertainty) for v in (run.lowest, run.highest))


CHECK = StageCheck("heads-up", _look)
