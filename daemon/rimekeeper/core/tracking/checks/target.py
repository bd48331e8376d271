"""Target reached: in the band without a break for the settling time, shown by at least two readings.

``reached_at`` is the instant it entered the band. A gap longer than the probe may be silent, or a reading that
isn't good, breaks the run: what was between isn't known.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.state import StageRun, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import Found, Moment, StageCheck, in_band, spare, target_met


def _look(stage: StagePlan, run: StageRun, _watch: WatchSlot | None, moment: Moment) -> Found | None:
    if moment.celsius is None or stage.target is None:
        return None
    inside = in_band(stage, moment.celsius, moment.uncertainty)
    if stage.critical:
        run = counted(stage, run, moment, inside=inside)
    if not inside:
        return Found(broken(run)) if stage.critical or run.in_band_since is not None else None
    since, last = run.in_band_since, run.in_band_last
    if since is None or last is None or moment.at - last > moment.allowed_gap:
        return Found(replace(run, in_band_since=moment.at, in_band_last=moment.at))
    stayed = moment.at - since
    run = replace(run, in_band_last=moment.at, longest_in_band=Millis(max(run.longest_in_band, stayed)))
    if run.reached_at is None and stayed >= stage.settle:
        return Found(replace(run, reached_at=Instant(since)), prompts=(PromptKind.TARGET_REACHED,))
    return Found(run)


def counted(stage: StagePlan, run: StageRun, moment: Moment, *, inside: bool) -> StageRun:
    """The run with the uncertainty that was counted and the smallest margin; both stay once the limit is met."""
    if moment.celsius is None or target_met(stage, run):
        return run
    margin = spare(stage, moment.celsius, moment.uncertainty)
    if inside and run.in_band_since is not None and margin is not None and run.margin is not None:
        margin = min(margin, run.margin)
    return replace(run, uncertainty=moment.uncertainty, margin=margin)


def broken(run: StageRun) -> StageRun:
    """The run with its time in the band ended: it counts no further."""
    return run if run.in_band_since is None else replace(run, in_band_since=None, in_band_last=None)


CHECK = StageCheck("target", _look)
