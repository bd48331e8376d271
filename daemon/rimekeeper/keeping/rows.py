"""What readers of the store are given."""

from __future__ import annotations

from dataclasses import dataclass

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.commit import CallState
from rimekeeper.core.messages import CallOwed
from rimekeeper.core.model import (
    Actor,
    BatchId,
    Instant,
    ProbeId,
    Quality,
    Reason,
    RoleId,
    StageId,
)


@dataclass(frozen=True, slots=True)
class StoredReading:
    """A reading as it is on disk. ``raw`` is NaN where the instrument said so.

    ``nudged``: the reading came when its instant was taken already (the clock had been set back), so it was
    moved on by some milliseconds rather than lost.
    """

    probe: ProbeId
    taken_at: Instant
    arrived_at: Instant
    raw: float
    celsius: float | None
    quality: Quality
    reason: Reason
    late: bool
    nudged: bool
    calibration: int = 0
    """Number of the calibration that ``celsius`` was corrected with; 0 for none."""


@dataclass(frozen=True, slots=True)
class TaggedReading:
    """A reading with what it belongs to; all three are None outside every batch."""

    reading: StoredReading
    batch: BatchId | None
    stage: StageId | None
    role: RoleId | None


@dataclass(frozen=True, slots=True)
class Curve:
    """A span of one probe, to be drawn: three lists of one length, oldest first.

    ``times`` in ms since 1970 UTC. ``celsius`` is None where the line must break: at a bad reading, and once
    inside every gap. ``quality`` is the worst (``Quality`` numbers) of the stretch that the point stands for.
    ``thinned``: there were more readings than points; each stretch then gives its lowest and its highest.
    """

    probe: ProbeId
    times: list[int]
    celsius: list[float | None]
    quality: list[int]
    thinned: bool
    readings: int
    """How many stored readings it stands for."""


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """An entry of the record, with its number and its seal (hash over all before it)."""

    number: int
    at: Instant
    kind: str
    actor: Actor
    sentence: str
    batch: BatchId | None
    subject: str
    why: str
    facts: dict[str, str | float | int | bool | None]
    seal: str


@dataclass(frozen=True, slots=True)
class StoredAlarm:
    """An alarm as it is now, or as it was when it closed."""

    alarm: AlarmSlot
    closed: bool
    closed_at: Instant | None


@dataclass(frozen=True, slots=True)
class StoredCall:
    """An owed call-out and what became of it."""

    call: CallOwed
    state: CallState
    due: Instant
    attempts: int
    last_error: str
    delivered_at: Instant | None


@dataclass(frozen=True, slots=True)
class Counts:
    """How much is stored."""

    readings: int
    entries: int
    alarms: int
    batches: int
    calls: int
    bytes_on_disk: int
