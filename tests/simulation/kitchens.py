"""The demo's plan as its own files say it, and a scene without the engine."""

import functools
import tempfile
from pathlib import Path

import numpy as np

from rimekeeper.config.loading import load
from rimekeeper.core.commit import Commit
from rimekeeper.core.model import BatchId, Instant, RoleId, StageId
from rimekeeper.core.state import BatchPhase, BatchSlot, EngineState, StagePhase, StageRun
from rimekeeper.simulation.crew import Crew
from rimekeeper.simulation.demo import prepare
from rimekeeper.simulation.following import Follower
from rimekeeper.simulation.history import Opening
from rimekeeper.simulation.scenario import Scenario
from rimekeeper.simulation.workshop import BOWL, PAN, PORTION, Workshop

NOW = Instant(1_795_612_800_000)
"""2026-11-25 14:20 in Copenhagen."""


@functools.cache
def demo_plan():
    with tempfile.TemporaryDirectory() as folder:
        kitchen = prepare(Path(folder) / "demo", 8321)
        try:
            return load(kitchen.kitchen_file, leave_out_bad_sheets=False).plan
        finally:
            kitchen.stop()


def scene(entropy=1):
    """A scene in which nothing has begun yet."""
    plan = demo_plan()
    workshop = Workshop(np.random.default_rng(entropy))
    workshop.settle(3_600.0)
    crew = Crew(plan)
    crew.lots.add("B-1")
    opening = Opening(Commit(), EngineState(), workshop, Follower(plan, workshop), crew, NOW)
    return Scenario(plan, opening)


def custard(began, *runs, phase=BatchPhase.RUNNING, lot="B-1"):
    """A state with one custard; ``runs`` are (stage, more fields of its active run)."""
    batch = BatchId("custard-1")
    stages = tuple(
        StageRun(StageId(name), StagePhase.ACTIVE, began=Instant(began), **more) for name, more in runs
    )
    bindings = ((RoleId("pan"), PAN), (RoleId("base"), BOWL), (RoleId("portion"), PORTION))
    sheet = demo_plan().sheets["toasted-barley-custard"].id
    slot = BatchSlot(batch, sheet, lot, phase, Instant(began), bindings, stages)
    return EngineState(batches={batch: slot})
