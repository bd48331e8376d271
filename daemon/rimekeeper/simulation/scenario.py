"""The live scene: what happens in the workshop in kitchen time, and what its people do about it.

No clock and no thread here: ``advance`` lets time pass, ``follow`` shows it the state and returns what Ada and Bo
ask for. So a test plays three minutes in a moment.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rimekeeper.core.messages import StartBatch
from rimekeeper.core.model import MINUTE, SECOND, Instant, Millis, ProbeId, RoleId, SheetId
from rimekeeper.core.plan import KitchenPlan, StageKind
from rimekeeper.core.state import EngineState
from rimekeeper.simulation.crew import Crew, Given, Manners
from rimekeeper.simulation.history import Opening
from rimekeeper.simulation.kitchen_day import (
    day_of,
    hour_of,
    start_custard,
    start_sherbet,
    start_trays,
)
from rimekeeper.simulation.workshop import WALK_IN_AIR

FAILS_AFTER = 15.0
"""s from the start to the failure of the walk-in freezer's plant."""
REPAIR_TAKES = 15.0
"""s from the acknowledge to the repair."""
FAILS_AGAIN_AFTER = 40 * 60.0
"""s from a repair to the next failure."""
REST = Millis(90 * SECOND)
"""How long a place stands empty before the next batch is begun there."""
_STEP = 1.0

LIVE_MANNERS = Manners(
    after_done={
        StageKind.COOK: Millis(45 * SECOND),
        StageKind.CHILL: Millis(2 * MINUTE),
        StageKind.CHURN: Millis(90 * SECOND),
        StageKind.HARDEN: Millis(10 * MINUTE),
    },
    lasts={
        StageKind.AGE: Millis(2 * MINUTE),
        StageKind.COMBINE: Millis(4 * MINUTE),
        StageKind.STORE: Millis(20 * MINUTE),
    },
    ends_at={StageKind.AGE: "It ages in the mix fridge until tomorrow; stove and bowl are free again."},
    hours=None,
    acknowledges_after=None,
)


@dataclass(frozen=True, slots=True)
class _Turn:
    """A batch that is begun again whenever its places are free."""

    sheet: SheetId
    letter: str
    bindings: tuple[tuple[RoleId, ProbeId], ...]
    start: Callable[[str], StartBatch]


class Scenario:
    """The scene. Deterministic from the opening's random numbers and the states it is shown."""

    def __init__(self, plan: KitchenPlan, opening: Opening) -> None:
        self._plan = plan
        self.workshop = opening.workshop
        self._follower = opening.follower
        self._crew = Crew(plan, LIVE_MANNERS)
        self._crew.lots |= opening.crew.lots
        self._seconds = 0.0
        self._fails_at: float | None = FAILS_AFTER
        self._repaired_at: float | None = None
        self._free_since: dict[str, Instant] = {}
        self._begun = 0
        self._turns = tuple(
            _Turn(example.sheet, letter, example.bindings, start)
            for letter, start in (("B", start_custard), ("P", start_sherbet), ("T", start_trays))
            for example in (start(""),)
        )

    @property
    def failed(self) -> bool:
        """Whether the walk-in freezer's plant has failed."""
        return self.workshop.rooms["walkin"].broken

    def advance(self, seconds: float, now: Instant) -> None:
        """Let time pass; ``now`` is the wall clock, for the time of day."""
        hour = hour_of(now, self._plan.zone)
        left = seconds
        while left > 1e-9:
            step = min(_STEP, left)
            left -= step
            self._seconds += step
            self._plant()
            self.workshop.step(step, hour)

    def follow(self, state: EngineState, now: Instant) -> list[Given]:
        """Move what the batches moved, have repaired what was acknowledged, and say what the crew asks for."""
        self._follower.follow(state)
        if self.failed and self._repaired_at is None and _answered(state):
            self._repaired_at = self._seconds + REPAIR_TAKES
        return [*self._crew.taps(state, now, hour_of(now, self._plan.zone)), *self._begin(state, now)]

    def _plant(self) -> None:
        room = self.workshop.rooms["walkin"]
        if self._fails_at is not None and self._seconds >= self._fails_at:
            room.broken, self._fails_at = True, None
        if self._repaired_at is not None and self._seconds >= self._repaired_at:
            room.broken, self._repaired_at = False, None
            self._fails_at = self._seconds + FAILS_AGAIN_AFTER

    def _begin(self, state: EngineState, now: Instant) -> list[Given]:
        taken = {probe for batch in state.batches.values() if batch.running for _, probe in batch.bindings}
        found: list[Given] = []
        for turn in self._turns:
            if turn.sheet not in self._plan.sheets or any(probe in taken for _, probe in turn.bindings):
                self._free_since.pop(turn.sheet, None)
            elif now - self._free_since.setdefault(turn.sheet, now) >= REST:
                self._free_since[turn.sheet] = now
                self._begun += 1
                lot = f"{turn.letter}-{day_of(now, self._plan.zone):%m%d}-{self._begun}"
                found.append(self._crew.start(turn.start(lot)))
        return found


def _answered(state: EngineState) -> bool:
    """Whether somebody acknowledged the walk-in freezer's alarm."""
    return any(
        alarm.probe == WALK_IN_AIR and alarm.acknowledged_at is not None for alarm in state.alarms.values()
    )
