"""Ports and brokers as the probes page shows them: state, counts, unclaimed channels, rejected text."""

from __future__ import annotations

from typing import Any

from rimekeeper.core.model import Instant, SourceId
from rimekeeper.core.state import SourceSlot
from rimekeeper.review.wording import Wording, length
from rimekeeper.runtime.ports import Glance, SourceTally


def sources_view(glance: Glance, now: Instant) -> dict[str, Any]:
    """Everything about what arrives, for a technician."""
    wording = Wording.of(glance.plan)
    return {
        "sources": [_source(glance, source, now, wording) for source in glance.plan.sources],
        "unclaimed": [
            {
                "source": seen.source,
                "channel": seen.channel,
                "value": seen.value if abs(seen.value) < float("inf") else None,
                "text": seen.text,
                "count": seen.count,
                "age_shown": f"{length(now - seen.last_at)} ago",
            }
            for seen in glance.seen
            if seen.probe is None
        ],
        "rejected": [
            {
                "source": bad.source,
                "at_shown": wording.clock(bad.at, seconds=True),
                "text": bad.text,
                "why": bad.why,
            }
            for bad in reversed(glance.rejected)
        ],
    }


def _source(glance: Glance, source: SourceId, now: Instant, wording: Wording) -> dict[str, Any]:
    plan = glance.plan.sources[source]
    slot = glance.state.sources.get(source, SourceSlot(source))
    tally = glance.tallies.get(source, SourceTally(source))
    return {
        "id": source,
        "name": plan.name or source,
        "kind": plan.kind,
        "health": slot.health.value,
        "why": slot.why,
        "since_shown": wording.when(slot.since, now),
        "messages": tally.messages,
        "samples": tally.samples,
        "stored": tally.stored,
        "duplicates": tally.duplicates,
        "rejected": tally.rejected,
        "dropped": tally.dropped,
        "unknown": tally.unknown,
    }
