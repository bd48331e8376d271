"""The last 24 hours of a probe: a quality for each half hour with its reason, and a small line.

Quarter hours are asked of the store once and remembered; only the newest are asked for again, so that a page with
forty probes costs forty short looks at a few minutes of readings.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from rimekeeper.core.model import MINUTE, SECOND, Instant, ProbeId, Quality
from rimekeeper.keeping.quality import Stretch
from rimekeeper.keeping.reader import Reader
from rimekeeper.review.wording import Wording

QUARTER = 15 * MINUTE
HALF = 2 * QUARTER
HALVES = 48
STAYS = 20 * SECOND
"""For so long an answer is given again."""
SETTLED = 30 * MINUTE
"""After so long a quarter is taken as finished; what comes later still is seen with the next full look."""
FULL_LOOK = 60 * MINUTE


@dataclass(slots=True)
class _Known:
    looked: int
    whole: int
    quarters: dict[int, Stretch] = field(default_factory=dict)


class LastDay:
    """Remembers what the store said. One for an application; any thread."""

    def __init__(self, reader: Reader) -> None:
        """Nothing is asked yet."""
        self._reader = reader
        self._known: dict[ProbeId, _Known] = {}
        self._lock = threading.Lock()

    def of_many(
        self, probes: Sequence[ProbeId], now: Instant, wording: Wording, patience: float
    ) -> dict[ProbeId, dict[str, Any]]:
        """The days of these probes; one that was never looked at is left out once ``patience`` seconds are over."""
        until = time.monotonic() + patience
        return {
            probe: self.of(probe, now, wording)
            for probe in probes
            if probe in self._known or time.monotonic() < until
        }

    def of(self, probe: ProbeId, now: Instant, wording: Wording) -> dict[str, Any]:
        """``halves``, 48 of them, oldest first; ``values`` of each quarter on the kitchen's scale (None: none)."""
        first = (now // HALF + 1 - HALVES) * HALF
        quarters = self._quarters(probe, first, now)
        places = range(first, first + HALVES * HALF, QUARTER)
        means = [quarters[at].mean if at in quarters else None for at in places]
        halves = [
            _half(at, [q for q in (quarters.get(at), quarters.get(at + QUARTER)) if q is not None], wording)
            for at in range(first, first + HALVES * HALF, HALF)
        ]
        known = [mean for mean in means if mean is not None]
        return {
            "begins": first,
            "quarter": QUARTER,
            "values": [wording.value(mean) for mean in means],
            "lowest_shown": wording.shown(min(known, default=None)),
            "highest_shown": wording.shown(max(known, default=None)),
            "halves": halves,
            "words": _words(halves),
        }

    def _quarters(self, probe: ProbeId, first: int, now: Instant) -> dict[int, Stretch]:
        with self._lock:
            known = self._known.get(probe)
            if known is not None and 0 <= now - known.looked < STAYS:
                return known.quarters
            whole = known is None or not 0 <= now - known.whole < FULL_LOOK
            since = first if whole or known is None else max(first, _unsettled(known.looked, now))
            kept = (
                {}
                if known is None or whole
                else {a: q for a, q in known.quarters.items() if first <= a < since}
            )
        asked = self._reader.stretches(probe, Instant(since), Instant(now + MINUTE), QUARTER)
        quarters = {**kept, **{int(one.begins): one for one in asked}}
        with self._lock:
            was = now if whole or known is None else known.whole
            self._known[probe] = _Known(now, was, quarters)
        return quarters


def _unsettled(looked: int, now: Instant) -> int:
    """The quarter from which on the store must be asked again: it was not finished when it was last looked at."""
    return (min(looked, now) - SETTLED) // QUARTER * QUARTER


def _half(at: int, quarters: list[Stretch], wording: Wording) -> dict[str, Any]:
    worst = max(quarters, key=lambda one: one.worst, default=None)
    return {
        "at_shown": f"{wording.clock(Instant(at))} to {wording.clock(Instant(at + HALF))}",
        "quality": "none" if worst is None else worst.worst.name.lower(),
        "reason": "" if worst is None or worst.worst is Quality.GOOD else worst.reason.value,
        "readings": sum(one.readings for one in quarters),
        "good": sum(one.good for one in quarters),
    }


def _words(halves: list[dict[str, Any]]) -> str:
    """One sentence for who can't see the strip, and for who wants to know why."""
    count = {
        name: sum(one["quality"] == name for one in halves) for name in ("good", "uncertain", "bad", "none")
    }
    if count["none"] == len(halves):
        return "No readings in the last 24 hours."
    parts = [f"{count['good']} of {len(halves)} half hours with good readings only"]
    parts += [f"{count[name]} with {name} readings" for name in ("uncertain", "bad") if count[name]]
    if count["none"]:
        parts.append(f"{count['none']} without readings")
    last = next((one for one in reversed(halves) if one["reason"]), None)
    said = f" Last trouble {last['at_shown']}: {last['reason']}." if last else ""
    return f"{', '.join(parts)}.{said}"
