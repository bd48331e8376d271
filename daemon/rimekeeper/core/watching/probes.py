"""Probes and what carries them: health, silence, faults, a source that is down; each with its alarm.

A probe's alarms are raised only while a station or a running batch depends on it. While its source is down one
alarm of the source stands for the silence of all its probes; when it is back, silence counts from then.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.agenda import Matter
from rimekeeper.core.alarms.standing import Condition, end_alarm, raise_alarm
from rimekeeper.core.draft import Draft
from rimekeeper.core.model import Health, Instant, Millis, ProbeId, SourceId, SourceState
from rimekeeper.core.plan import Priority
from rimekeeper.core.sensing.health import SILENT, faulty, health_after, tested
from rimekeeper.core.state import ProbeSlot, SourceSlot, WatchPhase, WatchSlot
from rimekeeper.core.watching import measuring
from rimekeeper.core.watching.limits import elapsed, on_delay_end

_ASK = "Look at the probe, its plug and its battery. Measure by hand until it is heard again."
_FIX = "Look at the probe and its plug. Measure by hand until its readings are good again."
_CABLE = "Look at its power, cable and network. Measure by hand until it is back."


def silent_key(probe: ProbeId) -> str:
    """The key of the alarm of a silent probe."""
    return f"probe/{probe}/silent"


def fault_key(probe: ProbeId) -> str:
    """The key of the alarm of a probe with bad readings."""
    return f"probe/{probe}/fault"


def down_key(source: SourceId) -> str:
    """The key of the watch and alarm of a source that is down."""
    return f"source/{source}/down"


# --- probes -------------------------------------------------------------------------------------------------


def heard(draft: Draft, before: ProbeSlot, slot: ProbeSlot, at: Instant) -> ProbeSlot:
    """The probe was heard at ``at``: its health, and its alarms if those are over or begin."""
    if slot.fresh_at != before.fresh_at and silent_key(slot.probe) in draft.alarms:
        end_alarm(draft, silent_key(slot.probe), at)
    if before.silent or before.fresh_at is None:
        _expect(draft, slot)
    health, why = health_after(slot, draft.metrology.get(slot.probe))
    if health is not slot.health:
        slot = _in_health(draft, slot, health, why, at)
    elif why != slot.health_why:
        slot = replace(slot, health_why=why)
    if faulty(slot):
        _raise_fault(draft, slot, at)
    elif fault_key(slot.probe) in draft.alarms:
        end_alarm(draft, fault_key(slot.probe), at, "it is being tested" if tested(slot) else "")
    return slot


def silence_of(draft: Draft, probe: ProbeId) -> Instant | None:
    """When the probe will be silent for too long, or None while that isn't judged."""
    plan, slot = draft.plan.probes.get(probe), draft.probes.get(probe)
    if plan is None or slot is None or slot.silent or draft.source_down(plan.source):
        return None
    since = _heard_last(slot)
    return None if since is None else Instant(since + plan.silent_after)


def settle_silence(draft: Draft, slot: ProbeSlot, at: Instant) -> ProbeSlot:
    """A message of the probe arrives: the silence before it takes effect first. The probe as it is then."""
    due = silence_of(draft, slot.probe)
    if due is None or due >= at:
        return slot
    fall_silent(draft, slot.probe, due)
    return draft.probes[slot.probe]


def fall_silent(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """The probe has been silent for too long."""
    slot = replace(draft.probes[probe], silent=True, good_run=0, good_since=None)
    if slot.health is not Health.FAILURE or slot.health_why != SILENT:
        slot = _in_health(draft, slot, Health.FAILURE, SILENT, at)
    draft.put_probe(slot)
    if draft.in_use(probe):
        _raise_silent(draft, slot, at)


def listen(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """From now on the probe can be heard: its silence counts from here."""
    slot = draft.probes.get(probe) or ProbeSlot(probe)
    slot = replace(slot, listened_from=at, silent=False)
    draft.put_probe(slot)
    _expect(draft, slot)


def taken_into_use(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """A batch depends on the probe now: what is wrong with it is an alarm from here on."""
    slot = draft.probes.get(probe)
    if slot is None or _heard_last(slot) is None:
        listen(draft, probe, at)
        slot = draft.probes[probe]
    if slot.silent:
        _raise_silent(draft, slot, at)
    if faulty(slot):
        _raise_fault(draft, slot, at)
    measuring.raise_past_due(draft, probe, at)
    measuring.expect_calibration(draft, probe)
    plan = draft.plan.probes.get(probe)
    source = draft.sources.get(plan.source) if plan is not None else None
    if source is not None and source.health is Health.FAILURE:
        _await_down(draft, source, at)


def let_go(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """A batch gave the probe back: if nothing depends on it, its alarms are over."""
    if draft.in_use(probe):
        return
    why = "nothing depends on the probe any more"
    for key in (silent_key(probe), fault_key(probe), measuring.due_key(probe)):
        end_alarm(draft, key, at, why)
    plan = draft.plan.probes.get(probe)
    if plan is not None and down_key(plan.source) in draft.watches and _patience(draft, plan.source) is None:
        draft.put_watch(WatchSlot(down_key(plan.source)))
        end_alarm(draft, down_key(plan.source), at, why)


def _expect(draft: Draft, slot: ProbeSlot) -> None:
    due = silence_of(draft, slot.probe)
    if due is not None:
        draft.agenda.put(due, due, Matter.SILENCE, slot.probe)


def _heard_last(slot: ProbeSlot) -> Instant | None:
    fresh, listened = slot.fresh_at, slot.listened_from
    if fresh is None or (listened is not None and listened > fresh):
        return listened
    return fresh


def _in_health(draft: Draft, slot: ProbeSlot, health: Health, why: str, at: Instant) -> ProbeSlot:
    because = f", {why}" if why else ""
    draft.write(
        at,
        "probe.health",
        f"Probe {draft.probe_name(slot.probe)}: {health.value}{because} (was {slot.health.value}).",
        batch=draft.batch_holding(slot.probe),
        subject=slot.probe,
        facts=(("health", health.value), ("was", slot.health.value)),
    )
    return replace(slot, health=health, health_since=at, health_why=why)


def _raise_silent(draft: Draft, slot: ProbeSlot, at: Instant) -> None:
    began = _heard_last(slot)
    _raise(
        draft,
        slot,
        silent_key(slot.probe),
        "without a fresh reading",
        _ASK,
        began if began is not None else at,
        at,
    )


def _raise_fault(draft: Draft, slot: ProbeSlot, at: Instant) -> None:
    began = slot.health_since if slot.health_since is not None else at
    _raise(draft, slot, fault_key(slot.probe), "giving readings that can't be believed", _FIX, began, at)


def _raise(
    draft: Draft, slot: ProbeSlot, key: str, what: str, action: str, began: Instant, at: Instant
) -> None:
    if not draft.in_use(slot.probe):
        return
    raise_alarm(
        draft,
        Condition(
            key=key,
            where=f"Probe {draft.probe_name(slot.probe)}",
            what=what,
            action=action,
            priority=Priority.HIGH,
            began=began,
            batch=draft.batch_holding(slot.probe),
            probe=slot.probe,
        ),
        at,
    )


# --- sources ------------------------------------------------------------------------------------------------


def source_reported(draft: Draft, state: SourceState) -> None:
    """A port or broker said how it is."""
    before = draft.sources.get(state.source, SourceSlot(state.source))
    if before.health is state.health:
        if before.why != state.why:
            draft.put_source(replace(before, why=state.why))
        return
    slot = SourceSlot(state.source, state.health, state.at, state.why)
    draft.put_source(slot)
    because = f", {state.why}" if state.why else ""
    draft.write(
        state.at,
        "source.health",
        f"{_source_name(draft, state.source)}: {state.health.value}{because} (was {before.health.value}).",
        subject=state.source,
        facts=(("health", state.health.value), ("was", before.health.value)),
    )
    if state.health is Health.FAILURE:
        _await_down(draft, slot, state.at)
    elif before.health is Health.FAILURE:
        draft.put_watch(WatchSlot(down_key(state.source)))
        end_alarm(draft, down_key(state.source), state.at)
        for probe in draft.index.by_source.get(state.source, ()):
            listen(draft, probe, state.at)


def down_due(draft: Draft, key: str) -> Instant | None:
    """When a source has been down for too long, or None."""
    return on_delay_end(draft.watches.get(key))


def stay_down(draft: Draft, key: str, at: Instant) -> None:
    """A source has been down for longer than its probes may be silent."""
    watch = elapsed(draft.watches[key], at)
    draft.put_watch(watch)
    source = SourceId(key.removeprefix("source/").removesuffix("/down"))
    slot = draft.sources.get(source, SourceSlot(source))
    raise_alarm(
        draft,
        Condition(
            key=key,
            where=_source_name(draft, source),
            what=f"down: {slot.why}" if slot.why else "down",
            action=_CABLE,
            priority=Priority.HIGH,
            began=watch.began if watch.began is not None else at,
        ),
        at,
    )


def _await_down(draft: Draft, slot: SourceSlot, at: Instant) -> None:
    """A short break is no alarm: one stands when the first of the probes in use would be silent too long."""
    key = down_key(slot.source)
    patience = _patience(draft, slot.source)
    if patience is None or key in draft.watches:
        return
    began = slot.since if slot.since is not None else at
    due = Instant(max(at, began + patience))
    draft.put_watch(WatchSlot(key, WatchPhase.ENTERING, since=at, began=began, due=due))
    draft.agenda.put(due, due, Matter.SOURCE, key)


def _patience(draft: Draft, source: SourceId) -> Millis | None:
    waits = [
        draft.plan.probes[probe].silent_after
        for probe in draft.index.by_source.get(source, ())
        if draft.in_use(probe)
    ]
    return min(waits) if waits else None


def _source_name(draft: Draft, source: SourceId) -> str:
    plan = draft.plan.sources.get(source)
    return plan.name if plan is not None else str(source)
