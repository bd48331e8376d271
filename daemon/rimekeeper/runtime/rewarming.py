"""The stored readings from which forecasts are rebuilt after a start."""

from __future__ import annotations

import heapq
from collections.abc import Iterator

from rimekeeper.core.model import HOUR, Instant, Millis, ProbeId, Reading
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.state import EngineState
from rimekeeper.runtime.ports import Past

FURTHEST = Millis(12 * HOUR)
"""A forecast looks no further back."""


def active_readings(plan: KitchenPlan, state: EngineState, past: Past, now: Instant) -> Iterator[Reading]:
    """Stored readings of the probes whose stages are under way, oldest first."""
    begins: dict[ProbeId, Instant] = {}
    for batch in state.batches.values():
        sheet = plan.sheets.get(batch.sheet)
        if sheet is None or not batch.running:
            continue
        bound = dict(batch.bindings)
        for run in batch.active:
            stage = sheet.stage(run.stage)
            probe = bound.get(stage.role) if stage else None
            if probe is not None and run.began is not None:
                begins[probe] = min(run.began, begins.get(probe, run.began))
    return heapq.merge(
        *(
            past.past_readings(probe, max(began, Instant(now - FURTHEST)), now)
            for probe, began in begins.items()
        ),
        key=lambda reading: reading.taken_at,
    )
