"""What goes into the engine (events) and what comes out of it (outcomes).

Events are processed in the order given. Each carries the instant at which it arrived; before an event is
applied, every deadline up to ``arrived - tick_grace`` takes effect at its own instant, so that neither the
size of the batches nor the moments of the ticks change what is decided.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import TypeAlias

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.model import (
    Actor,
    BatchId,
    ChannelId,
    Entry,
    Instant,
    Millis,
    PersonId,
    ProbeId,
    Reading,
    RoleId,
    Sample,
    SheetId,
    SourceState,
    StageId,
)
from rimekeeper.core.plan import Priority
from rimekeeper.core.sensing.calibration.record import Calibration, CalibrationPoint, PlungeTest

# --- commands: what a person (or a button) may ask for ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StartBatch:
    """Begin a batch of a sheet. Every role must be bound to a free probe."""

    sheet: SheetId
    bindings: tuple[tuple[RoleId, ProbeId], ...]
    lot: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class AdvanceStage:
    """End ``stage`` (or the only active one) and begin what follows.

    ``begin`` names a stage to begin instead of the natural followers; out of order it needs ``why``.
    """

    batch: BatchId
    stage: StageId | None = None
    begin: StageId | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class HoldBatch:
    """Pause: timers of its stages stand still and its stage alarms stay quiet, until resumed."""

    batch: BatchId
    why: str = ""


@dataclass(frozen=True, slots=True)
class ResumeBatch:
    """Go on after a hold."""

    batch: BatchId


@dataclass(frozen=True, slots=True)
class UndoAdvance:
    """Take back the last advance of a batch (a wrong tap with wet hands)."""

    batch: BatchId
    why: str = ""


@dataclass(frozen=True, slots=True)
class NoteBatch:
    """Write something down about a batch."""

    batch: BatchId
    text: str


@dataclass(frozen=True, slots=True)
class ScrapBatch:
    """Throw the batch away; its probes are free again. Needs a reason."""

    batch: BatchId
    why: str


@dataclass(frozen=True, slots=True)
class EndBatch:
    """Finish the batch; its probes are free again. Before the last stage it needs a reason."""

    batch: BatchId
    why: str = ""


@dataclass(frozen=True, slots=True)
class RetimeStage:
    """The stage really began at ``began`` (somebody tapped late). Re-tags the curve, leaves the values."""

    batch: BatchId
    stage: StageId
    began: Instant
    why: str


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """I have seen the alarm and am on it. ``alarm`` is an alarm key, or "" for every standing one."""

    alarm: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class BeginTest:
    """A person takes the probe out of its place to test it: for at most ``lasts`` its readings decide nothing."""

    probe: ProbeId
    why: str
    lasts: Millis = Millis(3_600_000)


@dataclass(frozen=True, slots=True)
class EndTest:
    """The probe is back in its place."""

    probe: ProbeId


@dataclass(frozen=True, slots=True)
class Calibrate:
    """Correct the probe by these points from now on. Refused when the result is absurd."""

    probe: ProbeId
    points: tuple[CalibrationPoint, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class KeepPlunge:
    """Keep the result of a plunge test; its ``number``, ``at`` and ``by`` are filled in when it is kept."""

    test: PlungeTest


ProbeCommand: TypeAlias = BeginTest | EndTest | Calibrate | KeepPlunge

Command: TypeAlias = (
    StartBatch
    | AdvanceStage
    | HoldBatch
    | ResumeBatch
    | UndoAdvance
    | NoteBatch
    | ScrapBatch
    | EndBatch
    | RetimeStage
    | Acknowledge
    | ProbeCommand
)

# --- events ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SampleTaken:
    """A sample that belongs to a known probe."""

    probe: ProbeId
    sample: Sample


@dataclass(frozen=True, slots=True)
class SourceReported:
    """An edge said something about itself."""

    state: SourceState


@dataclass(frozen=True, slots=True)
class CommandGiven:
    """A person asked for something. ``ticket`` lets the caller find the answer."""

    at: Instant
    command: Command
    actor: Actor
    ticket: int = 0


@dataclass(frozen=True, slots=True)
class Tick:
    """Nothing happened up to ``at`` (arrival clock)."""

    at: Instant


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """The wall clock was set by ``by``; every instant in the state moves along, durations stay."""

    at: Instant
    by: Millis


@dataclass(frozen=True, slots=True)
class Started:
    """The daemon has just started; nothing was watched from ``watched_until`` (None: never before) to ``at``.

    Always the first event of a run. A probe that could not be heard while nobody listened is not silent:
    its silence counts from ``at``. Other deadlines that passed meanwhile take effect as usual.
    """

    at: Instant
    watched_until: Instant | None = None


Event: TypeAlias = SampleTaken | SourceReported | CommandGiven | Tick | ClockStepped | Started

# --- outcomes --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReadingMade:
    """A sample became a reading: to be stored."""

    reading: Reading


@dataclass(frozen=True, slots=True)
class ProbeMeasured:
    """A calibration or plunge test was kept: to be stored for good."""

    record: Calibration | PlungeTest


@dataclass(frozen=True, slots=True)
class EntryMade:
    """A new entry for the record."""

    entry: Entry


class PromptKind(enum.StrEnum):
    """Guidance that asks for a procedural action (ISA-18.2 prompt): never an alarm, never a call-out."""

    HEADS_UP = "heads-up"
    TARGET_REACHED = "target reached"
    HOLD_DONE = "hold done"
    STAGE_BEGAN = "stage began"
    CONFIRM = "confirm to go on"
    TIME_UP = "time is up"


@dataclass(frozen=True, slots=True)
class PromptGiven:
    """Say this at the stove. ``sentence`` is plain words without units to convert: numbers are fields."""

    at: Instant
    kind: PromptKind
    batch: BatchId
    stage: StageId
    celsius: float | None
    expected: Instant | None
    sentence: str


class AlarmMove(enum.StrEnum):
    """A transition of the alarm life cycle."""

    RAISED = "raised"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class AlarmMoved:
    """An alarm changed state; ``alarm`` is as it is after the move (also when that closes it)."""

    at: Instant
    move: AlarmMove
    alarm: AlarmSlot


class CallKind(enum.StrEnum):
    """Why somebody is called."""

    RAISED = "raised"
    REPEAT = "again"
    ESCALATED = "nobody answered"
    RETURNED = "returned to normal"


@dataclass(frozen=True, slots=True)
class CallOwed:
    """One message to one person on one channel. ``id`` is the same on every attempt and after a crash.

    The text is written at the rim from these facts, in the kitchen's zone, unit and language.
    """

    id: str
    at: Instant
    kind: CallKind
    alarm_key: str
    alarm_id: str
    priority: Priority
    person: PersonId
    channel: ChannelId
    where: str
    what: str
    since: Instant
    celsius: float | None
    limit_celsius: float | None
    action: str
    step: int


@dataclass(frozen=True, slots=True)
class Span:
    """A probe's readings from ``begins`` up to but not including ``ends`` belong to this batch and stage.

    ``stage`` is None while the batch runs and no active stage watches the role. ``ends`` None: still open.
    """

    batch: BatchId
    stage: StageId | None
    role: RoleId
    probe: ProbeId
    begins: Instant
    ends: Instant | None = None


@dataclass(frozen=True, slots=True)
class SpansSet:
    """From now on these, and only these, are the spans of the batch (older versions stay in the store)."""

    at: Instant
    batch: BatchId
    spans: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class CommandAnswered:
    """What became of a command. Refused: nothing changed, ``sentence`` says why and what to do."""

    ticket: int
    accepted: bool
    sentence: str
    batch: BatchId | None = None
    record: int | None = None
    """Number of the calibration or plunge test that was kept."""


Outcome: TypeAlias = (
    ReadingMade | ProbeMeasured | EntryMade | PromptGiven | AlarmMoved | CallOwed | SpansSet | CommandAnswered
)
