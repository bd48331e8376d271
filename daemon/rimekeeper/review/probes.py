"""A probe as it is seen now: its value, whether that may be believed, and how old it is."""

from __future__ import annotations

from typing import Any

from rimekeeper.core.model import Health, Instant, ProbeId, Quality
from rimekeeper.core.state import ProbeSlot
from rimekeeper.review.metrology import calibration_note, heading
from rimekeeper.review.wording import Wording, length
from rimekeeper.runtime.ports import Glance

DEFAULT_SILENCE = 60_000


def probe_view(glance: Glance, probe: ProbeId, now: Instant, wording: Wording) -> dict[str, Any]:
    """What is known of a probe. ``fresh`` only when a believable reading came within ``silent_after``.

    ``celsius``, ``value`` and ``shown`` are the last believable reading only while it is fresh; otherwise
    unknown. ``last_shown`` and ``age_ms`` then say what was believed last and how long ago.
    """
    plan = glance.plan.probes.get(probe)
    slot = glance.state.probes.get(probe, ProbeSlot(probe))
    silent_after = plan.silent_after if plan else DEFAULT_SILENCE
    note = _note(slot, now, silent_after)
    fresh = not note
    celsius = slot.celsius if fresh else None
    source = glance.plan.sources.get(plan.source) if plan else None
    batch, role = _bound(glance, probe)
    return {
        "id": probe,
        "probe": probe,
        "name": plan.name if plan else probe,
        "source": plan.source if plan else None,
        "source_name": source.name if source else (plan.source if plan else ""),
        "channel": plan.channel if plan else None,
        "celsius": celsius,
        "value": wording.value(celsius),
        "shown": wording.shown(celsius),
        "number": wording.number(celsius),
        "fresh": fresh,
        "note": note,
        "quality": slot.quality.name.lower() if slot.last_at is not None else "none",
        "reason": slot.reason.value,
        "raw": slot.raw if slot.raw is not None and abs(slot.raw) < float("inf") else None,
        "scale": plan.scale.value if plan and plan.sensor is None else None,
        "taken_at": slot.last_at,
        "taken_shown": wording.when(slot.last_at, now),
        "age_ms": None if slot.last_at is None else max(0, now - slot.last_at),
        "age_shown": "never heard" if slot.last_at is None else f"{length(now - slot.last_at)} ago",
        "silent_after": silent_after,
        "last_celsius": slot.good_celsius,
        "last_shown": _last(slot, now, wording),
        "health": slot.health.value,
        "health_why": slot.health_why,
        "readings": slot.readings,
        "late": slot.late,
        "bad_run": slot.bad_run,
        "batch": batch,
        "role": role,
        "calibration_note": calibration_note(glance.state.metrology.get(probe), now) if plan else "",
        "ahead_shown": _heading_shown(slot, wording, fresh=fresh),
        "tested_until": slot.tested_until
        if slot.tested_until is not None and slot.tested_until > now
        else None,
    }


def _heading_shown(slot: ProbeSlot, wording: Wording, *, fresh: bool) -> str:
    ahead = heading(slot, fresh=fresh)
    return "" if ahead is None else wording.shown(ahead)


def _note(slot: ProbeSlot, now: Instant, silent_after: int) -> str:
    if slot.last_at is None:
        return "no reading yet"
    if now - slot.last_at > silent_after:
        return f"no fresh reading for {length(now - slot.last_at)}"
    if slot.quality is Quality.BAD or slot.celsius is None:
        return f"bad reading: {slot.reason.value}" if slot.reason.value else "bad reading"
    if slot.health is Health.FAILURE:
        return f"probe failure: {slot.health_why}" if slot.health_why else "probe failure"
    return ""


def _last(slot: ProbeSlot, now: Instant, wording: Wording) -> str:
    if slot.good_at is None or slot.good_celsius is None:
        return ""
    return f"last {wording.shown(slot.good_celsius)}, {length(now - slot.good_at)} ago"


def _bound(glance: Glance, probe: ProbeId) -> tuple[str | None, str | None]:
    for batch in glance.state.batches.values():
        if batch.running:
            for role, bound in batch.bindings:
                if bound == probe:
                    return batch.batch, role
    return None, None
