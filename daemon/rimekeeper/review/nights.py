"""A night of the kitchen: station curves with their excursions, hardening curves beside those of the week before.

A night is 18:00 to 08:00 in the kitchen's zone; it is one hour longer or shorter when the clocks change.
"""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from rimekeeper.core.model import HOUR, Instant, ProbeId, Quality
from rimekeeper.core.plan import KitchenPlan, LimitPlan, Side, StageKind, StationPlan
from rimekeeper.core.state import BatchSlot
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.rows import Curve, StoredAlarm
from rimekeeper.review.batches import entry_view
from rimekeeper.review.curves import curve_view, gap_for
from rimekeeper.review.wording import Wording, length
from rimekeeper.runtime.ports import Glance

EVENING, MORNING = time(18), time(8)
BEFORE = timedelta(days=7)
STATION_POINTS = 1_600
HARDENING_POINTS = 600
MOST_EARLIER = 7
"""Earlier runs beside each sheet's stage of this night."""
HOT = 10.0
"""A hardening chart is scaled by what is below this (degC): how hot a tray came in is not what is compared."""


def night_of(now: Instant, zone: str) -> date:
    """The evening on which the newest night that has begun began."""
    here = datetime.fromtimestamp(now / 1_000, tz=UTC).astimezone(ZoneInfo(zone))
    return here.date() if here.time() >= EVENING else here.date() - timedelta(days=1)


def bounds(night: date, zone: str) -> tuple[Instant, Instant]:
    """When that night begins and ends."""
    where = ZoneInfo(zone)
    begins = datetime.combine(night, EVENING, where)
    ends = datetime.combine(night + timedelta(days=1), MORNING, where)
    return Instant(round(begins.timestamp() * 1_000)), Instant(round(ends.timestamp() * 1_000))


def night_page(glance: Glance, reader: Reader, night: date, now: Instant) -> dict[str, Any]:
    """Everything about one night."""
    plan, wording = glance.plan, Wording.of(glance.plan)
    begins, ends = bounds(night, plan.zone)
    until = Instant(min(ends, max(begins, now)))
    alarms = reader.alarms(begins, Instant(until + 1))
    latest = night_of(now, plan.zone)
    return {
        "night": night.isoformat(),
        "title": f"{night.strftime('%a %-d %b')} to {(night + timedelta(days=1)).strftime('%a %-d %b %Y')}",
        "begins": begins,
        "ends": ends,
        "until": until,
        "over": now >= ends,
        "earlier": (night - timedelta(days=1)).isoformat(),
        "later": (night + timedelta(days=1)).isoformat() if night < latest else None,
        "unit": wording.unit,
        "zone": plan.zone,
        "backfill": glance.backfill,
        "stations": [
            _station(reader, plan, station, begins, until, alarms, wording)
            for station in plan.stations.values()
        ],
        "hardening": _hardening(reader, plan, night, begins, until, now, wording),
        "hot": wording.value(HOT),
        "events": _events(reader, begins, until, alarms, now, wording),
    }


def _station(
    reader: Reader,
    plan: KitchenPlan,
    station: StationPlan,
    since: Instant,
    until: Instant,
    alarms: tuple[StoredAlarm, ...],
    wording: Wording,
) -> dict[str, Any]:
    curve = reader.curve(station.probe, since, until, STATION_POINTS, gap_for(plan, station.probe))
    known = [c for c in curve.celsius if c is not None]
    excursions = [
        one for limit in station.limits for one in excursions_of(curve, limit, until, wording)
    ] + _raised(station, alarms, until, wording)
    gaps = _gaps(curve, since, until, wording)
    return {
        "id": station.id,
        "name": station.name,
        "kind": station.kind.value,
        "curve": curve_view(curve, wording),
        "limits": [
            {
                "side": limit.side.value,
                "value": wording.value(limit.limit.celsius),
                "label": f"{limit.side.value} {wording.shown(limit.limit.celsius)}",
            }
            for limit in station.limits
        ],
        "lowest_shown": wording.shown(min(known, default=None)),
        "highest_shown": wording.shown(max(known, default=None)),
        "excursions": sorted(excursions, key=lambda one: (one["begins"], one["source"])),
        "gaps": gaps,
        "summary": _summary(station, curve, excursions, gaps),
    }


def excursions_of(curve: Curve, limit: LimitPlan, until: Instant, wording: Wording) -> list[dict[str, Any]]:
    """Where the drawn curve lies beyond a limit; instants are those of the drawn points.

    An excursion also ends where the line breaks: what happened in a gap is not known.
    """
    found: list[dict[str, Any]] = []
    begins: Instant | None = None
    worst = limit.limit.celsius
    for at, celsius in [*zip(curve.times, curve.celsius, strict=True), (until, None)]:
        ceiling = limit.side is Side.CEILING
        beyond = celsius is not None and (
            celsius > limit.limit.celsius if ceiling else celsius < limit.limit.celsius
        )
        if beyond and celsius is not None:
            begins = Instant(at) if begins is None else begins
            worst = max(worst, celsius) if ceiling else min(worst, celsius)
        elif begins is not None:
            found.append(_excursion("limit", limit.side, begins, Instant(at), worst, wording))
            begins, worst = None, limit.limit.celsius
    return found


def _excursion(
    source: str, side: Side | None, begins: Instant, ends: Instant, worst: float | None, wording: Wording
) -> dict[str, Any]:
    where = "below the floor" if side is Side.FLOOR else "above the ceiling"
    span = f"{wording.clock(begins)} to {wording.clock(ends)} ({length(ends - begins)})"
    return {
        "source": source,
        "side": side.value if side else "",
        "begins": begins,
        "ends": ends,
        "worst_celsius": worst,
        "worst_shown": wording.shown(worst),
        "sentence": f"{where} {span}, at worst {wording.shown(worst)}",
    }


def _raised(
    station: StationPlan, alarms: tuple[StoredAlarm, ...], until: Instant, wording: Wording
) -> list[dict[str, Any]]:
    found = []
    for stored in alarms:
        alarm = stored.alarm
        mine = alarm.key.startswith(f"station/{station.id}/") or (
            alarm.probe == station.probe and alarm.batch is None
        )
        if not mine:
            continue
        ends = alarm.returned_at or stored.closed_at or until
        found.append(
            {
                "source": "alarm",
                "side": "",
                "begins": alarm.began,
                "ends": ends,
                "worst_celsius": alarm.worst,
                "worst_shown": wording.shown(alarm.worst),
                "sentence": f"alarm ({alarm.priority.name.lower()}): {alarm.what}, raised {wording.clock(alarm.raised_at)}"
                + (
                    f", acknowledged {wording.clock(alarm.acknowledged_at)} by {alarm.acknowledged_by}"
                    if alarm.acknowledged_at
                    else ", not acknowledged"
                ),
            }
        )
    return found


def _gaps(curve: Curve, since: Instant, until: Instant, wording: Wording) -> list[dict[str, Any]]:
    known = [at for at, c in zip(curve.times, curve.celsius, strict=True) if c is not None]
    edges = [since, *known, until]
    found = []
    broken = {at for at, c in zip(curve.times, curve.celsius, strict=True) if c is None}
    for earlier, later in itertools.pairwise(edges):
        outer = later - earlier > HOUR / 4 and (earlier == since or later == until)
        if outer or any(earlier < at < later for at in broken):
            found.append(
                {
                    "begins": earlier,
                    "ends": later,
                    "sentence": f"not known {wording.clock(Instant(earlier))} to {wording.clock(Instant(later))}",
                }
            )
    return found


def _summary(
    station: StationPlan, curve: Curve, excursions: list[dict[str, Any]], gaps: list[dict[str, Any]]
) -> tuple[str, str]:
    if all(celsius is None for celsius in curve.celsius):
        return "unknown", "no readings in this night"
    if excursions:
        beyond = sum(one["source"] == "limit" for one in excursions)
        times = "once" if beyond == 1 else f"{beyond} times"
        return "abnormal", f"beyond a limit {times}" if beyond else "an alarm stood"
    if not station.limits:
        return "none", "no limits set"
    if gaps:
        return "unknown", "within limits where known, but not all of the night is known"
    if any(quality != Quality.GOOD for quality in curve.quality):
        return "unknown", "within limits, but some readings are not sure"
    return "normal", "within limits all night"


def _hardening(
    reader: Reader,
    plan: KitchenPlan,
    night: date,
    begins: Instant,
    until: Instant,
    now: Instant,
    wording: Wording,
) -> list[dict[str, Any]]:
    """This night's runs, each sheet's stage followed by the same stage in the week before, newest first."""
    first, _ = bounds(night - BEFORE, plan.zone)
    found = []
    for batch in reader.batches(60, since=first, until=until):
        found += [one for one in _runs(reader, plan, batch, begins, until, now, wording) if one]
    found.sort(key=lambda one: (not one["this_night"], -one["began"]))
    kinds = list(dict.fromkeys(one["kind"] for one in found if one["this_night"]))
    shown = []
    for kind in kinds:
        same = [one for one in found if one["kind"] == kind]
        mine = sum(one["this_night"] for one in same)
        shown += same[: mine + MOST_EARLIER]
    for one in shown:
        one["label"] = one["day"] if len(kinds) == 1 else f"{one['name']}, {one['day']}"
    return shown


def _runs(
    reader: Reader,
    plan: KitchenPlan,
    batch: BatchSlot,
    begins: Instant,
    until: Instant,
    now: Instant,
    wording: Wording,
) -> list[dict[str, Any]]:
    sheet = plan.sheets.get(batch.sheet)
    found = []
    for run in batch.stages:
        stage = sheet.stage(run.stage) if sheet else None
        if sheet is None or stage is None or stage.kind is not StageKind.HARDEN or run.began is None:
            continue
        if stage.portion:
            continue  # A portion that is stirred in again is frozen for another purpose than a tray.
        probe: ProbeId | None = next((p for role, p in batch.bindings if role == stage.role), None)
        ended = run.ended if run.ended is not None else now
        if probe is None or run.began >= until:
            continue
        curve = reader.curve(
            probe, run.began, Instant(min(ended, until)), HARDENING_POINTS, gap_for(plan, probe)
        )
        if not curve.times:
            continue
        found.append(
            {
                **curve_view(curve, wording),
                "batch": batch.batch,
                "name": sheet.name,
                "lot": batch.lot,
                "stage": stage.name,
                "kind": f"{sheet.id}/{stage.id}",
                "day": wording.moment(run.began).strftime("%a %-d %b"),
                "began": run.began,
                "began_shown": wording.when(run.began, now),
                "began_clock": wording.clock(run.began),
                "this_night": ended > begins and run.began < until,
                "minutes": [round((at - run.began) / 60_000, 3) for at in curve.times],
                "target_value": wording.value(stage.target.celsius) if stage.target else None,
                "target_shown": wording.shown(stage.target.celsius) if stage.target else "",
                "reached_shown": wording.when(run.reached_at, now) if run.reached_at else "not reached",
                "reached_clock": wording.clock(run.reached_at) if run.reached_at else "not reached",
                "took_shown": length(run.reached_at - run.began) if run.reached_at else "",
                "lowest_shown": wording.shown(min((c for c in curve.celsius if c is not None), default=None)),
            }
        )
    return found


def _events(
    reader: Reader,
    since: Instant,
    until: Instant,
    alarms: tuple[StoredAlarm, ...],
    now: Instant,
    wording: Wording,
) -> list[dict[str, Any]]:
    events = [entry_view(entry, now, wording) for entry in reader.entries(since=since, until=until, limit=60)]
    if not any(event["kind"].startswith("alarm") for event in events):
        events += [
            {
                "at": stored.alarm.raised_at,
                "at_shown": wording.when(stored.alarm.raised_at, now),
                "kind": "alarm.raised",
                "who": "Rimekeeper",
                "where": "Rimekeeper",
                "sentence": f"{stored.alarm.where}: {stored.alarm.what}",
                "why": "",
                "batch": stored.alarm.batch,
                "subject": stored.alarm.key,
                "number": 0,
            }
            for stored in alarms
            if stored.alarm.raised_at >= since
        ]
    return sorted(events, key=lambda event: (event["at"], event["number"]))
