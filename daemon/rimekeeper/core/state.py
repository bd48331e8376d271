"""What the engine remembers: frozen pieces in keyed slots, so that only what changed is written to disk.

A slot is one frozen dataclass of this module under a key such as ``batch/barley-3`` or
``watch/station/walkin-1/ceiling``. A step returns which keys changed; keeping stores those as JSON in the
same transaction as the readings that changed them. Fields of type ``Instant`` (also optional ones) are moved
when the clock is stepped. Forecast courses are not slots: they are rebuilt from stored readings at start.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.messages import Span
from rimekeeper.core.model import (
    Actor,
    BatchId,
    Health,
    Instant,
    Millis,
    ProbeId,
    Quality,
    Reason,
    RoleId,
    SheetId,
    SourceId,
    StageId,
)
from rimekeeper.core.process.cooling import CoolingCourse
from rimekeeper.core.process.forecast import Course, Forecast
from rimekeeper.core.process.lethality import Treatment
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.sensing.pace import Pace


class StagePhase(enum.StrEnum):
    """Where a stage of a running batch stands."""

    WAITING = "waiting"
    ACTIVE = "active"
    DONE = "done"
    SKIPPED = "skipped"
    ABANDONED = "abandoned"


class BatchPhase(enum.StrEnum):
    """Where a batch stands."""

    RUNNING = "running"
    HELD = "held"
    ENDED = "ended"
    SCRAPPED = "scrapped"


class WatchPhase(enum.StrEnum):
    """Where one limit of one probe stands (deadband and delays of IEC 62682)."""

    NORMAL = "normal"
    ENTERING = "entering"
    ABNORMAL = "abnormal"
    LEAVING = "leaving"


@dataclass(frozen=True, slots=True)
class ProbeSlot:
    """What is known of a probe: its last reading, its health, and the plausibility check's memory.

    ``bad_run`` counts the readings in a row that could not be believed, uncertain ones too.
    """

    probe: ProbeId
    last_at: Instant | None = None
    last_arrived: Instant | None = None
    raw: float | None = None
    celsius: float | None = None
    quality: Quality = Quality.BAD
    reason: Reason = Reason.NONE
    good_at: Instant | None = None
    good_celsius: float | None = None
    suspects: int = 0
    suspect_at: Instant | None = None
    suspect_celsius: float | None = None
    bad_run: int = 0
    health: Health = Health.UNKNOWN
    health_since: Instant | None = None
    health_why: str = ""
    readings: int = 0
    late: int = 0
    listened_from: Instant | None = None
    """Since when it could be heard at all (start of the daemon, return of its source); silence counts from here."""
    fresh_at: Instant | None = None
    """Arrival of the newest reading that was fresh then; one that was long on its way is no sign of life."""
    silent: bool = False
    """Whether no fresh reading came for too long while it could be heard."""
    good_run: int = 0
    """Good readings in a row."""
    good_since: Instant | None = None
    """When the present row of good readings began."""
    uncorrected: float | None = None
    """The last temperature (°C) before its correction: what a calibration is made from."""
    tested_until: Instant | None = None
    """While a person tests it (calibration, plunge test) up to here at the latest, its readings decide nothing."""
    tested_why: str = ""
    trail_times: tuple[Instant, ...] = ()
    trail: tuple[float, ...] = ()
    """The last few good temperatures (°C) and their instants, for its slope."""
    ahead: float | None = None
    """Lag-corrected temperature (°C) by the last good reading; None without a plunge test. Proves nothing."""
    doubt: Doubt = Doubt()
    pace: Pace = Pace()


@dataclass(frozen=True, slots=True)
class MetrologySlot:
    """What was measured of a probe: the calibration in force and the last plunge test."""

    probe: ProbeId
    calibration: Calibration | None = None
    plunge: PlungeTest | None = None
    due_said: bool = False
    """Whether the record says already that the calibration runs out soon."""


@dataclass(frozen=True, slots=True)
class SourceSlot:
    """What is known of a port or broker."""

    source: SourceId
    health: Health = Health.UNKNOWN
    since: Instant | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class WatchSlot:
    """One condition watched: a limit of a station or stage, a silent probe, a late target."""

    key: str
    phase: WatchPhase = WatchPhase.NORMAL
    since: Instant | None = None
    """When the present phase began."""
    began: Instant | None = None
    """When the value first crossed the limit in this excursion."""
    due: Instant | None = None
    """When an on-delay or off-delay ends."""
    worst: float | None = None
    last: float | None = None


@dataclass(frozen=True, slots=True)
class StageRun:
    """A stage of a running or finished batch."""

    stage: StageId
    phase: StagePhase = StagePhase.WAITING
    began: Instant | None = None
    ended: Instant | None = None
    paused: Millis = Millis(0)
    """Time on hold that does not count for its time limits."""
    in_band_since: Instant | None = None
    in_band_last: Instant | None = None
    reached_at: Instant | None = None
    hold_met_at: Instant | None = None
    longest_in_band: Millis = Millis(0)
    heads_up_at: Instant | None = None
    lowest: float | None = None
    highest: float | None = None
    last_at: Instant | None = None
    last_celsius: float | None = None
    awaiting_confirm: bool = False
    uncertainty: float | None = None
    """Expanded uncertainty (K, k = 2) that was counted against its critical limit at the last good reading."""
    margin: float | None = None
    """Smallest distance (K) from the edge of the band on the safe side, uncertainty taken off, in the present run."""
    treatment: Treatment | None = None
    """What the stage's time-temperature table has seen."""
    cooling: CoolingCourse | None = None
    """What its cooling rule has seen."""


@dataclass(frozen=True, slots=True)
class BatchSlot:
    """A batch: its sheet, lot, bindings and stages. ``before`` is what an undo goes back to."""

    batch: BatchId
    sheet: SheetId
    lot: str
    phase: BatchPhase
    began: Instant
    bindings: tuple[tuple[RoleId, ProbeId], ...]
    stages: tuple[StageRun, ...]
    spans: tuple[Span, ...] = ()
    ended: Instant | None = None
    held_since: Instant | None = None
    before: tuple[StageRun, ...] | None = None
    before_spans: tuple[Span, ...] | None = None
    last_by: Actor | None = None
    notes: tuple[str, ...] = ()
    changed_at: Instant | None = None
    """When its stages were last begun, ended, held, resumed or restored; no deadline of theirs falls before."""

    def run(self, stage: StageId) -> StageRun | None:
        """The run of that stage, or None."""
        return next((r for r in self.stages if r.stage == stage), None)

    @property
    def active(self) -> tuple[StageRun, ...]:
        """The stages now under way."""
        return tuple(r for r in self.stages if r.phase is StagePhase.ACTIVE)

    @property
    def running(self) -> bool:
        """Whether the batch still holds its probes."""
        return self.phase in (BatchPhase.RUNNING, BatchPhase.HELD)


@dataclass(frozen=True, slots=True)
class ClockSlot:
    """Engine time and the counters from which ids are made."""

    now: Instant = Instant(0)
    batches: int = 0
    alarms: int = 0
    calls: int = 0
    records: int = 0
    """Calibrations and plunge tests."""


Slot = ProbeSlot | MetrologySlot | SourceSlot | WatchSlot | AlarmSlot | BatchSlot | ClockSlot


@dataclass(frozen=True, slots=True)
class EngineState:
    """Everything the engine knows. The mappings are never changed in place once a step has returned them.

    Slot keys: ``clock``, ``probe/<id>``, ``metrology/<id>``, ``source/<id>``, ``watch/<key>``, ``alarm/<key>``, ``batch/<id>``.
    ``courses`` and ``forecasts`` are keyed by ``<batch>/<stage>`` and derived; they are not stored.
    """

    clock: ClockSlot = field(default_factory=ClockSlot)
    probes: Mapping[ProbeId, ProbeSlot] = field(default_factory=dict)
    metrology: Mapping[ProbeId, MetrologySlot] = field(default_factory=dict)
    sources: Mapping[SourceId, SourceSlot] = field(default_factory=dict)
    watches: Mapping[str, WatchSlot] = field(default_factory=dict)
    alarms: Mapping[str, AlarmSlot] = field(default_factory=dict)
    batches: Mapping[BatchId, BatchSlot] = field(default_factory=dict)
    courses: Mapping[str, Course] = field(default_factory=dict)
    forecasts: Mapping[str, Forecast] = field(default_factory=dict)
