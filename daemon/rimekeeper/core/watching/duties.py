"""Which duty each probe has: the stage that watches it, its station, and how fast its role lets it move."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rimekeeper.core.model import ProbeId, RoleId, StageId
from rimekeeper.core.plan import KitchenPlan, SheetPlan
from rimekeeper.core.plan_index import PlanIndex
from rimekeeper.core.sensing.duty import Duty
from rimekeeper.core.state import BatchSlot

STATION = "station"


def duties(plan: KitchenPlan, index: PlanIndex, batches: Iterable[BatchSlot]) -> Mapping[ProbeId, Duty]:
    """The duty of every probe that has one. A batch on hold still holds its probes but has no stage under way."""
    found = {probe: Duty(STATION) for probe in index.station_probes}
    for batch in batches:
        sheet = plan.sheets.get(batch.sheet)
        if not batch.running or sheet is None:
            continue
        under_way = {} if batch.held_since is not None else _stages_by_role(batch, sheet)
        fastest = {role.id: role.fastest for role in sheet.roles}
        for role, probe in batch.bindings:
            before = found.get(probe, Duty())
            word = under_way.get(role)
            found[probe] = Duty(
                before.word if word is None else f"{batch.batch}/{word}", fastest.get(role, before.fastest)
            )
    return found


def _stages_by_role(batch: BatchSlot, sheet: SheetPlan) -> dict[RoleId, StageId]:
    roles = {stage.id: stage.role for stage in sheet.stages}
    return {roles[run.stage]: run.stage for run in batch.active if run.stage in roles}
