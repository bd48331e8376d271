"""What of the plan is looked up with every reading: which limits hang on a probe, which probes on a source."""

from __future__ import annotations

from dataclasses import dataclass

from rimekeeper.core.model import ProbeId, SourceId
from rimekeeper.core.plan import KitchenPlan, LimitPlan, StationPlan


@dataclass(frozen=True, slots=True)
class StationWatch:
    """One limit of one station, and the key of its watch and alarm."""

    key: str
    station: StationPlan
    limit: LimitPlan


@dataclass(frozen=True, slots=True)
class PlanIndex:
    """Lookups derived from a plan; they never change while it doesn't."""

    by_probe: dict[ProbeId, tuple[StationWatch, ...]]
    by_key: dict[str, StationWatch]
    by_source: dict[SourceId, tuple[ProbeId, ...]]
    station_probes: frozenset[ProbeId]


def station_key(station: StationPlan, limit: LimitPlan) -> str:
    """The key of the watch and alarm of a station's limit."""
    return f"station/{station.id}/{limit.side.value}"


def plan_index(plan: KitchenPlan) -> PlanIndex:
    """The lookups of a plan (remembered for the plan asked for last, because a step asks every time)."""
    global _LAST  # noqa: PLW0603 - a memo of one, swapped whole, that changes no answer
    known, index = _LAST
    if known is not plan or index is None:
        index = _built(plan)
        _LAST = plan, index
    return index


_LAST: tuple[KitchenPlan | None, PlanIndex | None] = (None, None)


def _built(plan: KitchenPlan) -> PlanIndex:
    by_probe: dict[ProbeId, list[StationWatch]] = {}
    for station in plan.stations.values():
        for limit in station.limits:
            watch = StationWatch(station_key(station, limit), station, limit)
            by_probe.setdefault(station.probe, []).append(watch)
    by_source: dict[SourceId, list[ProbeId]] = {}
    for probe in plan.probes.values():
        by_source.setdefault(probe.source, []).append(probe.id)
    return PlanIndex(
        by_probe={probe: tuple(watches) for probe, watches in by_probe.items()},
        by_key={watch.key: watch for watches in by_probe.values() for watch in watches},
        by_source={source: tuple(sorted(probes)) for source, probes in by_source.items()},
        station_probes=frozenset(station.probe for station in plan.stations.values()),
    )
