"""Which readings belong to which batch and stage: spans derived from the stages' begins and ends alone.

Because they are derived and not kept up by hand, they can't overlap, and an undo or a corrected time gives the
right ones by itself.
"""

from __future__ import annotations

from rimekeeper.core.messages import Span
from rimekeeper.core.model import Instant, ProbeId, RoleId
from rimekeeper.core.plan import SheetPlan
from rimekeeper.core.state import BatchSlot, StageRun


def spans_of(batch: BatchSlot, sheet: SheetPlan) -> tuple[Span, ...]:
    """The spans of every bound role, in the order of the bindings and of time; the last may be open."""
    return tuple(span for role, probe in batch.bindings for span in _of_role(batch, sheet, role, probe))


def _of_role(batch: BatchSlot, sheet: SheetPlan, role: RoleId, probe: ProbeId) -> list[Span]:
    watching = {stage.id for stage in sheet.stages if stage.role == role}
    # A stage that was taken out of the sheet meanwhile keeps the readings that were its.
    watching |= {s.stage for s in batch.spans if s.role == role and s.stage and not sheet.stage(s.stage)}
    runs = sorted(
        (run for run in batch.stages if run.stage in watching and run.began is not None), key=_began
    )
    found: list[Span] = []
    place = batch.began
    for run in runs:
        begins = max(place, _began(run))
        ends = run.ended if run.ended is not None else batch.ended
        if ends is not None and ends <= begins:
            continue
        if begins > place:
            found.append(Span(batch.batch, None, role, probe, place, begins))
        found.append(Span(batch.batch, run.stage, role, probe, begins, ends))
        if ends is None:
            return found
        place = ends
    if batch.ended is None or batch.ended > place:
        found.append(Span(batch.batch, None, role, probe, place, batch.ended))
    return found


def _began(run: StageRun) -> Instant:
    return run.began if run.began is not None else Instant(0)
