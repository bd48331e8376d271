"""Moves the mix when a batch moves on: a stage that begins puts its probe where such a stage happens."""

from __future__ import annotations

from rimekeeper.core.model import BatchId, ProbeId, RoleId
from rimekeeper.core.plan import KitchenPlan, MixPlan, SheetPlan, StageKind, StagePlan
from rimekeeper.core.state import BatchSlot, EngineState
from rimekeeper.simulation.cooling import Churn, IceBath, InAir, InTheOpen
from rimekeeper.simulation.mix import Lump, MixCurve, curve_of
from rimekeeper.simulation.stove import Pan
from rimekeeper.simulation.workshop import KITCHEN_AIR, MOVABLE, OnStove, Place, Workshop

BATCH, PORTION, TRAY = 3.0, 0.5, 10.0
"""kg of a batch, of the frozen portion taken from it, and of a stack of trays."""
UNCOOKED = 17.0
DRAW = -5.6
_LYING = {
    StageKind.AGE: ("fridge", 1.6, 5.0, BATCH),
    StageKind.COMBINE: ("kitchen", 2.0, 5.0, BATCH),
    StageKind.STORE: ("walkin", 4.0, -18.0, TRAY),
}
"""Stages at which the mix only lies somewhere: room, W/K, temperature (°C) and kg if it is new."""
_ANY_MIX = MixPlan(water=62.0, fat=8.0, msnf=9.0, sucrose=15.0, other_solids=6.0)


class Follower:
    """Keeps the workshop as the batches say it is."""

    def __init__(self, plan: KitchenPlan, workshop: Workshop) -> None:
        self._plan = plan
        self._workshop = workshop
        self.kinds: dict[ProbeId, StageKind] = {}
        """What is done with a probe at present; without an entry it is not in use."""
        self._at: dict[ProbeId, tuple[BatchId, str]] = {}
        self._mixes: dict[tuple[BatchId, RoleId], Lump] = {}

    def follow(self, state: EngineState) -> None:
        """Move what has to be moved."""
        wanted: dict[ProbeId, tuple[BatchSlot, StagePlan]] = {}
        for batch in state.batches.values():
            if batch.running:
                wanted.update(self._wanted(batch))
        for probe in MOVABLE:
            if probe in wanted:
                batch, stage = wanted[probe]
                if self._at.get(probe) != (batch.batch, stage.id):
                    self._at[probe] = (batch.batch, stage.id)
                    self._workshop.put(probe, self._place(batch, stage))
            elif self._at.pop(probe, None) is not None:
                self._workshop.put(probe, InTheOpen("kitchen", self._workshop.truth(probe)))
        self.kinds = {probe: stage.kind for probe, (_, stage) in wanted.items()}
        running = {batch.batch for batch in state.batches.values() if batch.running}
        self._mixes = {key: lump for key, lump in self._mixes.items() if key[0] in running}

    def _wanted(self, batch: BatchSlot) -> dict[ProbeId, tuple[BatchSlot, StagePlan]]:
        sheet = self._plan.sheets.get(batch.sheet)
        bound = dict(batch.bindings)
        found = {}
        for run in batch.active if sheet is not None else ():
            stage = sheet.stage(run.stage) if sheet is not None else None
            if stage is not None and stage.role in bound:
                found[bound[stage.role]] = (batch, stage)
        return found

    def _place(self, batch: BatchSlot, stage: StagePlan) -> Place:
        noise = self._workshop.noise
        match stage.kind:
            case StageKind.COOK:
                # Also after an undo: what was poured out is in the pan again.
                self._pour_back(batch, stage)
                return OnStove(
                    Pan(self._mix(batch, stage, KITCHEN_AIR - 1.0), noise, hold_at=_hold_at(stage))
                )
            case StageKind.CHILL:
                return IceBath(self._mix(batch, stage, UNCOOKED), noise)
            case StageKind.CHURN:
                return Churn(self._mix(batch, stage, 4.0))
            case StageKind.HARDEN:
                return self._hardening(batch, stage)
        room, conductance, new_at, kilograms = _LYING.get(stage.kind, ("kitchen", 3.0, KITCHEN_AIR, BATCH))
        lump = self._mix(batch, stage, new_at, kilograms)
        if stage.kind is StageKind.COMBINE:
            self._stir_in_portions(batch, stage, lump)
        return InAir(lump, room, conductance)

    def _hardening(self, batch: BatchSlot, stage: StagePlan) -> Place:
        if stage.portion:
            return InAir(self._mix(batch, stage, UNCOOKED, PORTION), "cabinet", 1.6)
        drawn = [lump.celsius for lump in self._of(batch) if lump.frozen]
        lump = self._keep(batch, stage, Lump(self._curve(batch), TRAY, drawn[0] if drawn else DRAW))
        # Trays are never stacked twice alike.
        return InAir(lump, "cabinet", 2.0 * (1.0 + 0.04 * self._workshop.noise.standard_normal()))

    def _mix(self, batch: BatchSlot, stage: StagePlan, new_at: float, kilograms: float = BATCH) -> Lump:
        """The mix of a stage's role: what it was, or a part of what was cooked, or new."""
        found = self._mixes.get((batch.batch, stage.role))
        if found is not None:
            return found
        hot = [lump for lump in self._of(batch) if not lump.frozen and lump.celsius > new_at]
        lump = Lump(self._curve(batch), kilograms, hot[0].celsius - 1.5 if hot else new_at)
        return self._keep(batch, stage, lump)

    def _stir_in_portions(self, batch: BatchSlot, stage: StagePlan, lump: Lump) -> None:
        for other in self._sheet(batch).stages:
            if other.portion and other.role != stage.role:
                portion = self._mixes.pop((batch.batch, other.role), None)
                if portion is not None:
                    lump.stir_in(portion)

    def _pour_back(self, batch: BatchSlot, stage: StagePlan) -> None:
        for key in [k for k in self._mixes if k[0] == batch.batch and k[1] != stage.role]:
            del self._mixes[key]

    def _keep(self, batch: BatchSlot, stage: StagePlan, lump: Lump) -> Lump:
        self._mixes[batch.batch, stage.role] = lump
        return lump

    def _of(self, batch: BatchSlot) -> list[Lump]:
        return [lump for (owner, _), lump in self._mixes.items() if owner == batch.batch]

    def _sheet(self, batch: BatchSlot) -> SheetPlan:
        return self._plan.sheets[batch.sheet]

    def _curve(self, batch: BatchSlot) -> MixCurve:
        return curve_of(self._sheet(batch).mix or _ANY_MIX)


def _hold_at(stage: StagePlan) -> float:
    """Where the hand at the burner keeps a cook: a little above the target."""
    return 83.5 if stage.target is None else stage.target.celsius + 0.5
