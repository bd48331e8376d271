"""One step of the kitchen: (plan, state, events) -> (state, outcomes, changed slots)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rimekeeper.core.messages import Event, Outcome
from rimekeeper.core.model import Instant, Reading
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.state import EngineState, Slot


@dataclass(frozen=True, slots=True)
class Step:
    """What a step gives back. ``changed`` maps slot keys to their new slot, or None where it is gone."""

    state: EngineState
    outcomes: tuple[Outcome, ...]
    changed: dict[str, Slot | None]


def step(plan: KitchenPlan, state: EngineState, events: Sequence[Event]) -> Step:
    """Apply the events in order."""
    raise NotImplementedError


def next_deadline(plan: KitchenPlan, state: EngineState) -> Instant | None:
    """The next instant (engine time) at which something happens by itself; None if nothing is pending."""
    raise NotImplementedError


def restore(slots: Iterable[tuple[str, Slot]]) -> EngineState:
    """The state from stored slots (see EngineState for the keys)."""
    raise NotImplementedError


def rewarm(plan: KitchenPlan, state: EngineState, readings: Iterable[Reading]) -> EngineState:
    """Rebuild forecast courses after a start from stored readings of active stages, oldest first."""
    raise NotImplementedError
