"""Stored curves made ready for drawing: times, temperatures in both scales, quality."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rimekeeper.core.messages import Span
from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.state import BatchSlot
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.rows import Curve
from rimekeeper.review.wording import Wording

MOST_POINTS = 20_000
LEAST_GAP = 120_000


def gap_for(plan: KitchenPlan, probe: ProbeId) -> int:
    """A silence longer than this (ms) breaks the drawn line: twice what the probe is allowed."""
    found = plan.probes.get(probe)
    return max(LEAST_GAP, 2 * found.silent_after) if found else LEAST_GAP


def curve_view(curve: Curve, wording: Wording) -> dict[str, Any]:
    """A curve as JSON. ``values`` are on the kitchen's scale; None breaks the line."""
    celsius = [None if c is None else round(c, 3) for c in curve.celsius]
    values = celsius if wording.value(1.0) == 1.0 else [wording.value(c) for c in celsius]
    return {
        "probe": curve.probe,
        "unit": wording.unit,
        "times": curve.times,
        "celsius": celsius,
        "values": values,
        "quality": curve.quality,
        "thinned": curve.thinned,
        "readings": curve.readings,
    }


def probe_curve(
    reader: Reader, plan: KitchenPlan, probe: ProbeId, since: Instant, until: Instant, points: int
) -> dict[str, Any]:
    """A span of one probe with the batch and stage spans that its readings belong to."""
    wording = Wording.of(plan)
    curve = reader.curve(probe, since, until, min(max(points, 2), MOST_POINTS), gap_for(plan, probe))
    return {
        **curve_view(curve, wording),
        "since": since,
        "until": until,
        "spans": [span_view(span, plan, {}) for span in reader.spans_between(since, until, probe)],
    }


def span_view(span: Span, plan: KitchenPlan, sheets: dict[str, str]) -> dict[str, Any]:
    """A span with the stage's name where the sheet is known (``sheets``: batch id to sheet id)."""
    sheet = next((s for i, s in plan.sheets.items() if i == sheets.get(span.batch)), None)
    stage = sheet.stage(span.stage) if sheet and span.stage else None
    return {
        "batch": span.batch,
        "stage": span.stage,
        "stage_name": stage.name if stage else span.stage,
        "portion": stage.portion if stage else "",
        "role": span.role,
        "probe": span.probe,
        "begins": span.begins,
        "ends": span.ends,
    }


def batch_curves(
    reader: Reader, plan: KitchenPlan, batch: BatchSlot, spans: Sequence[Span], now: Instant, points: int
) -> list[dict[str, Any]]:
    """The curve of each role of a batch, from its first span to its last (or to ``now``)."""
    wording = Wording.of(plan)
    sheet = plan.sheets.get(batch.sheet)
    names = {role.id: role.name for role in sheet.roles} if sheet else {}
    found = []
    for role, probe in batch.bindings:
        mine = [span for span in spans if span.role == role]
        if not mine:
            continue
        since = min(span.begins for span in mine)
        until = max(now if span.ends is None else span.ends for span in mine)
        curve = reader.curve(probe, since, Instant(until + 1), points, gap_for(plan, probe))
        known = plan.probes.get(probe)
        found.append(
            {
                **curve_view(curve, wording),
                "role": role,
                "role_name": names.get(role, role),
                "probe_name": known.name if known else probe,
            }
        )
    return found
