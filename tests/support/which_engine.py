"""The engine that tests of the whole use: the real one as soon as it steps."""

from __future__ import annotations

from rimekeeper.core import engine as real_engine
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.state import EngineState
from support.small_engine import SmallEngine


def real_engine_steps() -> bool:
    """Whether the real engine is there."""
    try:
        real_engine.step(KitchenPlan("Slipway Ices", "UTC"), EngineState(), [])
    except NotImplementedError:
        return False
    return True


def engine_by_name(name: str) -> object:
    """``real`` or ``small``."""
    return real_engine if name == "real" else SmallEngine()
