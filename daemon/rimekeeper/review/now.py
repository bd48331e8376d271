"""The kitchen at this moment, as a JSON-ready dictionary: what ``/api/now``, the Now page and the live feed give.

Pure: a :class:`Glance` and the present instant in, plain data out. Names of fields are kept stable; new ones may
be added. Temperatures come three times: ``celsius``, ``value`` (kitchen's scale) and ``shown`` (text with unit).
A value that is stale, bad or missing has ``fresh`` false, and ``note`` says why; nothing that depends on it is
then called fine.
"""

from __future__ import annotations

from typing import Any

from rimekeeper.core.alarms.slot import AlarmPhase, AlarmSlot
from rimekeeper.core.messages import PromptGiven
from rimekeeper.core.model import Instant
from rimekeeper.core.plan import LimitPlan, Side, StationPlan
from rimekeeper.core.state import BatchPhase, WatchPhase, WatchSlot
from rimekeeper.review.lanes import batch_view
from rimekeeper.review.probes import probe_view
from rimekeeper.review.wording import Wording, length
from rimekeeper.runtime.ports import Glance

SILENCE = 15_000
"""When the pipeline has not looked at the kitchen for this long (ms), what is shown is not live."""
PROMPTS_FOR = 10 * 60_000


def now_view(glance: Glance, now: Instant) -> dict[str, Any]:
    """Everything the Now page shows."""
    wording = Wording.of(glance.plan)
    # The newest first, as the cook looks for it; nothing but a new batch ever moves the others.
    running = sorted(
        (b for b in glance.state.batches.values() if b.running), key=lambda b: (-b.began, b.batch)
    )
    return {
        "version": glance.version,
        "at": glance.at,
        "now": now,
        "kitchen": {
            "name": glance.plan.name,
            "zone": glance.plan.zone,
            "scale": glance.plan.scale.value,
            "unit": wording.unit,
            "simulated": glance.plan.simulated,
        },
        "pulse": pulse_view(glance, now),
        "batches": [batch_view(glance, batch, now, wording) for batch in running],
        "stations": [_station(glance, station, now, wording) for station in glance.plan.stations.values()],
        "probes": [probe_view(glance, probe, now, wording) for probe in glance.plan.probes],
        "alarms": [alarm_view(glance, alarm, now, wording) for alarm in in_order(glance)],
        "prompts": [
            _prompt(glance, prompt, now, wording)
            for prompt in glance.prompts
            if now - prompt.at < PROMPTS_FOR and _running(glance, prompt)
        ],
        "calls": {
            "waiting": glance.calls.waiting,
            "failed": glance.calls.failed,
            "last_error": glance.calls.last_error,
        },
        "backfill": glance.backfill,
    }


def pulse_view(glance: Glance, now: Instant) -> dict[str, Any]:
    """Whether the kitchen is watched at all, in a word and in a sentence."""
    pulse = glance.pulse
    silent = now - glance.at
    if not pulse.alive:
        trouble = "The part that watches the kitchen has stopped. Nothing shown here is watched. Restart Rimekeeper."
    elif pulse.store_trouble:
        trouble = f"Readings can't be written down: {pulse.store_trouble}"
    elif silent > SILENCE:
        trouble = f"Not live: last word from the kitchen {length(silent)} ago."
    else:
        trouble = ""
    return {
        "alive": pulse.alive,
        "current": not trouble,
        "trouble": trouble,
        "silent_ms": max(0, silent),
        "last_commit": pulse.last_commit,
        "last_reading": pulse.last_reading,
        "backlog": pulse.backlog,
        "readings_stored": pulse.readings_stored,
        "started_at": pulse.started_at,
    }


def in_order(glance: Glance) -> list[AlarmSlot]:
    """Unacknowledged before acknowledged, what stands before what is over, then by priority, the newest first."""
    return sorted(
        glance.state.alarms.values(),
        key=lambda a: (
            a.phase is AlarmPhase.ACKNOWLEDGED,
            a.returned_at is not None,
            -a.priority,
            -a.raised_at,
            a.key,
        ),
    )


def alarm_view(glance: Glance, alarm: AlarmSlot, now: Instant, wording: Wording) -> dict[str, Any]:
    """One alarm."""
    present = None
    if alarm.probe is not None and alarm.probe in glance.plan.probes:
        present = probe_view(glance, alarm.probe, now, wording)
    return {
        "key": alarm.key,
        "alarm_id": alarm.alarm_id,
        "priority": alarm.priority.name.lower(),
        "rank": int(alarm.priority),
        "phase": alarm.phase.value,
        "acknowledged": alarm.phase is AlarmPhase.ACKNOWLEDGED,
        "returned": alarm.returned_at is not None,
        "where": alarm.where,
        "what": alarm.what,
        "action": alarm.action,
        "since": alarm.began,
        "since_shown": f"{wording.when(alarm.began, now)} ({length(now - alarm.began)})",
        "raised_at": alarm.raised_at,
        "raised_shown": wording.when(alarm.raised_at, now),
        "celsius": alarm.celsius,
        "shown": wording.shown(alarm.celsius),
        "worst_celsius": alarm.worst,
        "worst_shown": wording.shown(alarm.worst),
        "limit_celsius": alarm.limit_celsius,
        "limit_shown": wording.shown(alarm.limit_celsius),
        "present": present,
        "batch": alarm.batch,
        "stage": alarm.stage,
        "probe": alarm.probe,
        "acknowledged_at": alarm.acknowledged_at,
        "acknowledged_shown": wording.when(alarm.acknowledged_at, now),
        "acknowledged_by": alarm.acknowledged_by,
        "returned_shown": wording.when(alarm.returned_at, now),
        "calls_made": alarm.calls_made,
        "next_call": alarm.next_call,
        "next_call_shown": wording.when(alarm.next_call, now),
    }


def _station(glance: Glance, station: StationPlan, now: Instant, wording: Wording) -> dict[str, Any]:
    probe = probe_view(glance, station.probe, now, wording)
    limits = [
        _limit(
            limit, glance.state.watches.get(f"station/{station.id}/{limit.side.value}"), probe, now, wording
        )
        for limit in station.limits
    ]
    state, code = _judge(probe, limits)
    return {
        "id": station.id,
        "name": station.name,
        "kind": station.kind.value,
        **{name: probe[name] for name in SHARED},
        "probe_name": probe["name"],
        "limits": limits,
        "state": state,
        "state_code": code,
    }


SHARED = (
    "probe", "celsius", "value", "shown", "number", "fresh", "note", "quality", "reason", "health",
    "taken_at", "age_ms", "silent_after", "last_shown", "calibration_note",
)  # fmt: skip
"""What a station and a lane repeat of their probe."""


def _limit(
    limit: LimitPlan, watch: WatchSlot | None, probe: dict[str, Any], now: Instant, wording: Wording
) -> dict[str, Any]:
    celsius = probe["celsius"] if probe["fresh"] else None
    ceiling = limit.side is Side.CEILING
    beyond = celsius is not None and (
        celsius > limit.limit.celsius if ceiling else celsius < limit.limit.celsius
    )
    phase = watch.phase if watch else WatchPhase.NORMAL
    return {
        "side": limit.side.value,
        "celsius": limit.limit.celsius,
        "value": wording.value(limit.limit.celsius),
        "shown": wording.shown(limit.limit.celsius),
        "sentence": f"{'at most' if ceiling else 'at least'} {wording.shown(limit.limit.celsius)}",
        "priority": limit.priority.name.lower(),
        "phase": phase.value,
        "beyond": beyond,
        "since": watch.began if watch else None,
        "since_shown": wording.when(watch.began, now) if watch and watch.began else "",
        "due": watch.due if watch else None,
        "worst_shown": wording.shown(watch.worst) if watch else "",
        "action": limit.action,
    }


def _judge(probe: dict[str, Any], limits: list[dict[str, Any]]) -> tuple[str, str]:
    abnormal = [one for one in limits if one["phase"] in (WatchPhase.ABNORMAL, WatchPhase.LEAVING)]
    if abnormal:
        return f"{_crossed(abnormal[0])} since {abnormal[0]['since_shown']}", "abnormal"
    if not probe["fresh"]:
        return f"unknown: {probe['note']}", "unknown"
    crossed = [one for one in limits if one["beyond"] or one["phase"] == WatchPhase.ENTERING]
    if crossed:
        return f"{_crossed(crossed[0])}, for a short time so far", "entering"
    if not limits:
        return "no limits set", "none"
    if probe["quality"] != "good":
        return f"uncertain: {probe['reason'] or 'the reading is not sure'}", "unknown"
    return "within limits", "normal"


def _crossed(limit: dict[str, Any]) -> str:
    if limit["side"] == Side.CEILING:
        return f"above its ceiling of {limit['shown']}"
    return f"below its floor of {limit['shown']}"


def _running(glance: Glance, prompt: PromptGiven) -> bool:
    batch = glance.state.batches.get(prompt.batch)
    return batch is not None and batch.phase in (BatchPhase.RUNNING, BatchPhase.HELD)


def _prompt(glance: Glance, prompt: PromptGiven, now: Instant, wording: Wording) -> dict[str, Any]:
    batch = glance.state.batches.get(prompt.batch)
    sheet = glance.plan.sheets.get(batch.sheet) if batch else None
    return {
        "id": f"{prompt.at}/{prompt.batch}/{prompt.stage}/{prompt.kind.value}",
        "at": prompt.at,
        "at_shown": wording.when(prompt.at, now),
        "kind": prompt.kind.value,
        "batch": prompt.batch,
        "batch_name": sheet.name if sheet else prompt.batch,
        "stage": prompt.stage,
        "sentence": prompt.sentence,
        "celsius": prompt.celsius,
        "shown": wording.shown(prompt.celsius),
        "expected": prompt.expected,
    }
