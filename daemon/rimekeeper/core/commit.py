"""What is written in one transaction, and what the store answers: words shared by the pipeline and the store."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field

from rimekeeper.core.messages import AlarmMoved, CallOwed, SpansSet
from rimekeeper.core.model import Entry, Instant, Reading, SourceId
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.state import BatchSlot, Slot


class CallState(enum.StrEnum):
    """Where one owed call-out stands."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    GAVE_UP = "gave up"
    SUPERSEDED = "superseded"
    """Somebody acknowledged before it could be sent."""
    HISTORY = "not sent, filled in from history"


@dataclass(frozen=True, slots=True)
class CallResult:
    """What became of one attempt at an owed call-out. ``due`` is when to try again, for WAITING."""

    call_id: str
    state: CallState
    at: Instant
    due: Instant
    error: str = ""


@dataclass(frozen=True, slots=True)
class WaitingCall:
    """An owed call-out that has not been sent yet, and how often it was tried."""

    call: CallOwed
    due: Instant
    attempts: int


@dataclass(frozen=True, slots=True)
class Token:
    """A message of a source that is stored with this commit (see ``Delivery.token``)."""

    source: SourceId
    token: str


@dataclass(frozen=True, slots=True)
class Commit:
    """Everything of one turn, written together or not at all.

    ``changed`` are the engine's slots (None: gone). ``from_history`` marks what is filled in afterwards:
    its calls are recorded but never sent, and its batches come in ``batches`` because the engine that runs
    now does not know them.
    """

    readings: tuple[Reading, ...] = ()
    changed: Mapping[str, Slot | None] = field(default_factory=dict)
    entries: tuple[Entry, ...] = ()
    spans: tuple[SpansSet, ...] = ()
    alarms: tuple[AlarmMoved, ...] = ()
    calls: tuple[CallOwed, ...] = ()
    results: tuple[CallResult, ...] = ()
    tokens: tuple[Token, ...] = ()
    batches: tuple[BatchSlot, ...] = ()
    measurements: tuple[Calibration | PlungeTest, ...] = ()
    watched_until: Instant | None = None
    """Arrival clock: up to here the kitchen was watched; what a restart says it missed begins here."""
    from_history: bool = False

    @property
    def empty(self) -> bool:
        """Whether there is nothing to write."""
        return not (
            self.readings
            or self.changed
            or self.entries
            or self.spans
            or self.alarms
            or self.calls
            or self.results
            or self.tokens
            or self.batches
            or self.measurements
            or self.watched_until is not None
        )

    def joined(self, later: Commit) -> Commit:
        """This and what came after it, as one."""
        return Commit(
            readings=self.readings + later.readings,
            changed={**self.changed, **later.changed},
            entries=self.entries + later.entries,
            spans=self.spans + later.spans,
            alarms=self.alarms + later.alarms,
            calls=self.calls + later.calls,
            results=self.results + later.results,
            tokens=self.tokens + later.tokens,
            batches=self.batches + later.batches,
            measurements=self.measurements + later.measurements,
            watched_until=self.watched_until if later.watched_until is None else later.watched_until,
            from_history=self.from_history,
        )


@dataclass(frozen=True, slots=True)
class Committed:
    """What a commit did. ``duplicates`` were there already; ``nudged`` were moved by milliseconds."""

    stored: int = 0
    duplicates: int = 0
    nudged: int = 0
    duplicates_by_probe: Mapping[str, int] = field(default_factory=dict)

    def plus(self, other: Committed) -> Committed:
        """Both together."""
        probes = self.duplicates_by_probe.keys() | other.duplicates_by_probe.keys()
        return Committed(
            stored=self.stored + other.stored,
            duplicates=self.duplicates + other.duplicates,
            nudged=self.nudged + other.nudged,
            duplicates_by_probe={
                probe: self.duplicates_by_probe.get(probe, 0) + other.duplicates_by_probe.get(probe, 0)
                for probe in probes
            },
        )


@dataclass(frozen=True, slots=True)
class Recollection:
    """What the store remembers at a start."""

    slots: tuple[tuple[str, Slot], ...] = ()
    tokens: Mapping[SourceId, tuple[str, ...]] = field(default_factory=dict)
    """The newest message tokens of each source, oldest first."""
    watched_until: Instant | None = None
    """Up to when the kitchen was watched before; None in a new store."""
