"""What the kitchen intends: probes, stations, sheets, people, as the core sees them.

Built by ``config`` from the files a person writes; immutable while the engine runs.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field

from rimekeeper.core.model import (
    MINUTE,
    SECOND,
    ChannelId,
    ClockTrust,
    Millis,
    PersonId,
    ProbeId,
    RoleId,
    Scale,
    SheetId,
    SourceId,
    StageId,
    StationId,
    Temperature,
    TemperatureDifference,
)
from rimekeeper.core.process.cooling import CoolingRule
from rimekeeper.core.process.heat_tables import HeatTable
from rimekeeper.core.sensing.sensors.contract import Sensor


class Priority(enum.IntEnum):
    """Alarm priority by the consequence of doing nothing (IEC 62682)."""

    LOW = 1
    MEDIUM = 2
    HIGH = 3
    CRITICAL = 4


class Side(enum.StrEnum):
    """Which side of a limit is abnormal: above a ceiling, below a floor."""

    CEILING = "ceiling"
    FLOOR = "floor"


class StageKind(enum.StrEnum):
    """What a stage does to the mix."""

    COOK = "cook"
    HOLD = "hold"
    CHILL = "chill"
    AGE = "age"
    TEMPER = "temper"
    COMBINE = "combine"
    CHURN = "churn"
    HARDEN = "harden"
    STORE = "store"


class Approach(enum.StrEnum):
    """From which side a target is met: at or above, at or below, or within the band."""

    RISING = "rising"
    FALLING = "falling"
    WITHIN = "within"


class Advance(enum.StrEnum):
    """How a stage ends."""

    HAND = "by hand"
    TARGET = "on target"
    CONFIRM = "on target, confirmed"
    TIME = "on time"


class StationKind(enum.StrEnum):
    """Equipment watched round the clock."""

    FREEZER = "freezer"
    FRIDGE = "fridge"
    HARDENING = "hardening cabinet"
    CANISTERS = "canister freezer"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class ProbePlan:
    """One temperature channel. ``channel`` is the name under which its source delivers it."""

    id: ProbeId
    name: str
    source: SourceId
    channel: str
    scale: Scale = Scale.CELSIUS
    clock: ClockTrust = ClockTrust.ARRIVAL
    silent_after: Millis = Millis(60_000)
    lowest: Temperature = Temperature(-60.0)
    highest: Temperature = Temperature(200.0)
    max_rate_kelvin_per_second: float = 10.0
    sensor: Sensor | None = None
    """What turns a number without a scale into a temperature; None where the instrument does that itself."""
    junction: ProbeId | None = None
    """The probe that measures a thermocouple's cold junction; None where the sensor's own figure holds."""
    accuracy: TemperatureDifference = TemperatureDifference(1.0)
    """What is assumed (k = 2) while the probe has no calibration in force."""
    resolution: TemperatureDifference = TemperatureDifference(0.1)
    calibrate_every: Millis = Millis(365 * 24 * 60 * MINUTE)
    stuck_after: Millis = Millis(6 * 60 * MINUTE)
    """The same number for so long is a fault; 0: never."""
    one_wire: bool = False
    """Whether its temperatures come from a one-wire digital thermometer, whose fault codes are temperatures too."""
    fault_codes: tuple[float, ...] = ()
    """Numbers, as they come, by which the instrument says that something is broken."""
    beside: ProbeId | None = None
    """Another probe in the same place."""
    beside_within: TemperatureDifference = TemperatureDifference(1.0)
    room: ProbeId | None = None
    """The probe that hangs in the room where this one would read if it were pulled out of the product."""


@dataclass(frozen=True, slots=True)
class SourcePlan:
    """A serial port, broker or replay that carries probes."""

    id: SourceId
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class LimitPlan:
    """A value never to cross, with the delays and the deadband of IEC 62682."""

    side: Side
    limit: Temperature
    deadband: TemperatureDifference = TemperatureDifference(0.5)
    on_delay: Millis = Millis(0)
    off_delay: Millis = Millis(0)
    priority: Priority = Priority.HIGH
    action: str = ""
    """What to do, in the cook's words; part of every message about it."""


@dataclass(frozen=True, slots=True)
class StationPlan:
    """A station, the probe that watches it, and its limits."""

    id: StationId
    name: str
    kind: StationKind
    probe: ProbeId
    limits: tuple[LimitPlan, ...] = ()


@dataclass(frozen=True, slots=True)
class RolePlan:
    """What a probe is for in a batch."""

    id: RoleId
    name: str
    fastest: float | None = None
    """K/s; while the probe is bound a faster jump is not believed. None: the probe's own limit alone."""


@dataclass(frozen=True, slots=True)
class StagePlan:
    """One step of a sheet.

    ``after`` names the stages that must be finished first: two stages after the same one are a *split*, one
    stage after two is a *recombination*. ``settle`` is how long the value must stay in the band before the
    target counts as reached; ``hold`` is how long it must stay there continuously once reached.
    """

    id: StageId
    name: str
    kind: StageKind
    role: RoleId
    after: tuple[StageId, ...] = ()
    portion: str = ""
    target: Temperature | None = None
    band: TemperatureDifference = TemperatureDifference(0.5)
    approach: Approach = Approach.WITHIN
    settle: Millis = Millis(2_000)
    hold: Millis = Millis(0)
    heads_up: Millis = Millis(60_000)
    reach_within: Millis | None = None
    stay_at_most: Millis | None = None
    lasts: Millis | None = None
    """Length of a stage that advances on time."""
    ceiling: LimitPlan | None = None
    floor: LimitPlan | None = None
    advance: Advance = Advance.HAND
    heat: HeatTable | None = None
    """Rows of a time-temperature table, one of which must be met."""
    cooling: CoolingRule | None = None
    """Checkpoints of the cooling."""
    target_frozen: float | None = None
    """The share of the mix's water that is ice at the target, where the sheet gives it so; ``target`` follows it."""
    critical: bool = False
    """Whether target and hold are critical limits: met only with the probe's uncertainty counted against them."""
    do: str = ""
    """What to do when the target is there, in the cook's words."""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class MixPlan:
    """Composition of a mix in grams per 100 g of mix.

    ``syrup_de`` is the syrup's dextrose equivalent, ``polyol_molar_mass`` in g/mol (sorbitol unless said).
    From ``alcohol`` on, parts lie outside the sucrose-equivalent method: they are counted by molar mass or by
    a measured coefficient, with a wider uncertainty (see ``core.process.solutes``).
    """

    water: float
    fat: float = 0.0
    msnf: float = 0.0
    whey_solids: float = 0.0
    sucrose: float = 0.0
    monosaccharides: float = 0.0
    syrup_solids: float = 0.0
    syrup_de: float = 42.0
    other_solids: float = 0.0
    lactose: float = 0.0
    """Added lactose; that of milk and whey is in ``msnf`` and ``whey_solids``."""
    alcohol: float = 0.0
    salt: float = 0.0
    polyols: float = 0.0
    polyol_molar_mass: float = 182.17
    acids: float = 0.0
    yolk_solids: float = 0.0
    fruit_solids: float = 0.0
    """Solids of fruit other than its sugars and acids."""


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """The plan a batch follows."""

    id: SheetId
    name: str
    roles: tuple[RolePlan, ...]
    stages: tuple[StagePlan, ...]
    mix: MixPlan | None = None
    allergens: tuple[str, ...] = ()
    note: str = ""

    def stage(self, stage: StageId) -> StagePlan | None:
        """The stage of that id, or None."""
        return next((s for s in self.stages if s.id == stage), None)

    def followers(self, stage: StageId) -> tuple[StagePlan, ...]:
        """The stages that wait for this one."""
        return tuple(s for s in self.stages if stage in s.after)


@dataclass(frozen=True, slots=True)
class PersonPlan:
    """Somebody who can be called, by which channels, in order."""

    id: PersonId
    name: str
    channels: tuple[ChannelId, ...]


@dataclass(frozen=True, slots=True)
class CallStep:
    """Call these people on all their channels, then wait for an answer before the next step."""

    people: tuple[PersonId, ...]
    wait: Millis = Millis(300_000)


@dataclass(frozen=True, slots=True)
class CallPolicy:
    """Who is called about alarms of these priorities. The last step repeats until somebody acknowledges."""

    priorities: frozenset[Priority]
    steps: tuple[CallStep, ...]
    repeat_every: Millis = Millis(10 * MINUTE)


@dataclass(frozen=True, slots=True)
class ButtonPlan:
    """A button on an MQTT topic: what arrives there gives a command."""

    topic: str
    does: str
    """One of ``acknowledge``, ``advance``, ``hold``, ``undo``."""


@dataclass(frozen=True, slots=True)
class KitchenPlan:
    """One site: its probes, stations, people, sheets and time zone."""

    name: str
    zone: str
    scale: Scale = Scale.CELSIUS
    simulated: bool = False
    sources: Mapping[SourceId, SourcePlan] = field(default_factory=dict)
    probes: Mapping[ProbeId, ProbePlan] = field(default_factory=dict)
    stations: Mapping[StationId, StationPlan] = field(default_factory=dict)
    sheets: Mapping[SheetId, SheetPlan] = field(default_factory=dict)
    people: Mapping[PersonId, PersonPlan] = field(default_factory=dict)
    policies: tuple[CallPolicy, ...] = ()
    tick_grace: Millis = Millis(2 * SECOND)
    """How far engine time stays behind arrival time, so that readings on their way still come first."""
    forecast_every: Millis = SECOND
    """A new forecast of a stage at most this often (event time); history that is filled in needs few."""
