"""From what edges handed over to events: whose sample it is, what came twice, who is heard, what is counted."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from rimekeeper.core.commit import CallResult, Committed, Token
from rimekeeper.core.messages import CommandGiven, Event, SampleTaken, SourceReported
from rimekeeper.core.model import (
    Delivery,
    Instant,
    ProbeId,
    Reading,
    Receipt,
    Sample,
    SourceId,
    SourceState,
)
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.runtime.inbox import Item, Losses
from rimekeeper.runtime.ports import SeenChannel, SourceTally

TOKENS = 4_096
"""Message tokens remembered for each source; at least twice what it may have under way unacknowledged."""
CHANNELS_SEEN = 500
TEXT_SHOWN = 200


@dataclass
class Received:
    """A drained group, sorted out. ``heard_until`` is the latest arrival in it."""

    events: list[Event] = field(default_factory=list)
    receipts: list[Receipt] = field(default_factory=list)
    tokens: list[Token] = field(default_factory=list)
    results: list[CallResult] = field(default_factory=list)
    heard_until: Instant | None = None


@dataclass
class _Heard:
    at: Instant
    value: float
    text: str
    count: int
    probe: ProbeId | None


class _Ring:
    """The newest so many tokens; the same one may be in it twice."""

    def __init__(self, size: int, known: Sequence[str] = ()) -> None:
        self._size = size
        self._order: deque[str] = deque()
        self._count: dict[str, int] = {}
        for token in known:
            self.add(token)

    def add(self, token: str) -> None:
        self._order.append(token)
        self._count[token] = self._count.get(token, 0) + 1
        if len(self._order) > self._size:
            oldest = self._order.popleft()
            left = self._count.pop(oldest) - 1
            if left:
                self._count[oldest] = left

    def __contains__(self, token: str) -> bool:
        return token in self._count


class Reception:
    """Used by the pipeline's thread only; ``tallies`` and ``seen`` give copies for the screens."""

    def __init__(
        self, plan: KitchenPlan, tokens: Mapping[SourceId, Sequence[str]], ring: int = TOKENS
    ) -> None:
        """Learn which channel is which probe's, and which messages were stored lately."""
        self._probe_of = {(probe.source, probe.channel): probe.id for probe in plan.probes.values()}
        self._source_of = {probe.id: probe.source for probe in plan.probes.values()}
        self._ring = ring
        self._stored = {source: _Ring(ring, known) for source, known in tokens.items()}
        self._unsaved: set[tuple[SourceId, str]] = set()
        self._heard: dict[tuple[SourceId, str], _Heard] = {}
        self._messages: Counter[SourceId] = Counter()
        self._samples: Counter[SourceId] = Counter()
        self._kept: Counter[SourceId] = Counter()
        self._twice: Counter[SourceId] = Counter()
        self._unknown: Counter[SourceId] = Counter()

    def receive(self, items: Sequence[Item]) -> Received:
        """Sort out a drained group, in its order."""
        group = Received()
        for item in items:
            if isinstance(item, Delivery):
                self._take(item, group)
            elif isinstance(item, SourceState):
                group.events.append(SourceReported(item))
                _note(group, item.at)
            elif isinstance(item, CallResult):
                group.results.append(item)
            else:
                group.events.append(item)
                _note(group, item.at if isinstance(item, CommandGiven) else None)
        return group

    def saved(self, tokens: Sequence[Token], readings: Sequence[Reading], done: Committed) -> None:
        """What was received is on disk."""
        for token in tokens:
            if token.source not in self._stored:
                self._stored[token.source] = _Ring(self._ring)
            self._stored[token.source].add(token.token)
        self._unsaved.clear()
        for probe, count in Counter(reading.probe for reading in readings).items():
            source = self._source_of.get(probe)
            if source is not None:
                again = done.duplicates_by_probe.get(probe, 0)
                self._kept[source] += count - again
                self._twice[source] += again

    def tallies(self, losses: Mapping[SourceId, Losses]) -> dict[SourceId, SourceTally]:
        """The counts of every source that was heard."""
        nothing = Losses(0, 0)
        return {
            source: SourceTally(
                source=source,
                messages=self._messages[source],
                samples=self._samples[source],
                stored=self._kept[source],
                duplicates=self._twice[source],
                rejected=losses.get(source, nothing).rejected,
                dropped=losses.get(source, nothing).dropped,
                unknown=self._unknown[source],
            )
            for source in self._messages.keys() | losses.keys()
        }

    def seen(self) -> tuple[SeenChannel, ...]:
        """Every channel heard, by source and name; at most some hundreds of unknown ones."""
        return tuple(
            SeenChannel(source, channel, heard.at, heard.value, heard.text, heard.count, heard.probe)
            for (source, channel), heard in sorted(self._heard.items())
        )

    def _take(self, delivery: Delivery, group: Received) -> None:
        source = delivery.source
        self._messages[source] += 1
        self._samples[source] += len(delivery.samples)
        if delivery.receipt is not None:
            group.receipts.append(delivery.receipt)
        if delivery.token is not None:
            if delivery.again and self._known(source, delivery.token):
                self._twice[source] += len(delivery.samples)
                return
            self._unsaved.add((source, delivery.token))
            group.tokens.append(Token(source, delivery.token))
        for sample in delivery.samples:
            probe = self._probe_of.get((source, sample.channel))
            self._hear(sample, probe)
            if probe is None:
                self._unknown[source] += 1
            else:
                group.events.append(SampleTaken(probe, sample))
                _note(group, sample.arrived_at)

    def _known(self, source: SourceId, token: str) -> bool:
        stored = self._stored.get(source)
        return (source, token) in self._unsaved or (stored is not None and token in stored)

    def _hear(self, sample: Sample, probe: ProbeId | None) -> None:
        key = (sample.source, sample.channel)
        heard = self._heard.get(key)
        if heard is not None:
            heard.at, heard.value, heard.text = sample.arrived_at, sample.value, sample.text[:TEXT_SHOWN]
            heard.count += 1
        elif probe is not None or len(self._heard) < CHANNELS_SEEN:
            self._heard[key] = _Heard(sample.arrived_at, sample.value, sample.text[:TEXT_SHOWN], 1, probe)


def _note(group: Received, at: Instant | None) -> None:
    if at is not None and (group.heard_until is None or at > group.heard_until):
        group.heard_until = at
