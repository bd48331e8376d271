"""The words that everything else is written in: instants, temperatures, readings, quality, health.

Inside the package a temperature is in degrees Celsius and an instant is whole milliseconds since 1970 UTC.
A *temperature* and a *temperature difference* are different types, so that a deadband can't be taken for
a limit. Readings carry plain floats because there are thousands of them a second.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import NewType, Protocol

Instant = NewType("Instant", int)
"""Milliseconds since 1970-01-01T00:00:00Z. State fields of this type are moved when the clock is stepped."""
Millis = NewType("Millis", int)
"""A duration in milliseconds; never derived from two wall-clock strings."""

ProbeId = NewType("ProbeId", str)
SourceId = NewType("SourceId", str)
StationId = NewType("StationId", str)
SheetId = NewType("SheetId", str)
BatchId = NewType("BatchId", str)
StageId = NewType("StageId", str)
RoleId = NewType("RoleId", str)
PersonId = NewType("PersonId", str)
ChannelId = NewType("ChannelId", str)

SECOND = Millis(1_000)
MINUTE = Millis(60_000)
HOUR = Millis(3_600_000)
ABSOLUTE_ZERO = -273.15


class Scale(enum.StrEnum):
    """The scale in which an instrument or a person states a temperature."""

    CELSIUS = "C"
    FAHRENHEIT = "F"
    KELVIN = "K"

    def to_celsius(self, value: float) -> float:
        """Convert a temperature on this scale to degrees Celsius (exact definitions)."""
        match self:
            case Scale.CELSIUS:
                return value
            case Scale.FAHRENHEIT:
                return (value - 32.0) / 1.8
            case Scale.KELVIN:
                return value + ABSOLUTE_ZERO

    def from_celsius(self, celsius: float) -> float:
        """Convert degrees Celsius to this scale (exact definitions)."""
        match self:
            case Scale.CELSIUS:
                return celsius
            case Scale.FAHRENHEIT:
                return celsius * 1.8 + 32.0
            case Scale.KELVIN:
                return celsius - ABSOLUTE_ZERO


@dataclass(frozen=True, slots=True, order=True)
class TemperatureDifference:
    """A difference of temperatures, in kelvin (1 K = 1 °C step = 1.8 °F step)."""

    kelvin: float

    def __neg__(self) -> TemperatureDifference:
        return TemperatureDifference(-self.kelvin)


@dataclass(frozen=True, slots=True, order=True)
class Temperature:
    """A temperature, in degrees Celsius."""

    celsius: float

    def __add__(self, step: TemperatureDifference) -> Temperature:
        return Temperature(self.celsius + step.kelvin)

    def __sub__(self, other: Temperature) -> TemperatureDifference:
        return TemperatureDifference(self.celsius - other.celsius)

    def on(self, scale: Scale) -> float:
        """The number that stands for this temperature on ``scale``."""
        return scale.from_celsius(self.celsius)


class Quality(enum.IntEnum):
    """How far a reading may be believed (the OPC UA status families). Order is severity."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


class Reason(enum.StrEnum):
    """Why a reading has the quality it has. Stored by its value; extend at the end."""

    NONE = ""
    NOT_A_NUMBER = "not a number"
    OUT_OF_RANGE = "outside the probe's range"
    JUMP = "jumped faster than it can"
    STUCK = "has not moved at all"
    SENSOR_CODE = "a code that means a sensor fault"
    RETAINED = "an old message kept by the broker"
    CLOCK_ODD = "the probe's time stamp is not believable"
    LATE = "arrived late"
    NOISE = "jumps to and fro"
    ROOM = "reads the room: pulled out of the product?"
    DISAGREES = "disagrees with the probe beside it"
    SWAPPED = "swapped with another probe?"
    FUNCTION_CHECK = "being tested"
    JUNCTION = "its cold junction is not known"


class Health(enum.StrEnum):
    """State of a probe or of what carries it (NAMUR NE 107 words, plus unknown before the first word)."""

    UNKNOWN = "unknown"
    NORMAL = "normal"
    MAINTENANCE = "maintenance required"
    OUT_OF_SPECIFICATION = "out of specification"
    FUNCTION_CHECK = "function check"
    FAILURE = "failure"


class ClockTrust(enum.StrEnum):
    """Whose clock dates a reading: the probe's own stamp, or the moment it arrived here."""

    PROBE = "probe"
    ARRIVAL = "arrival"


class Receipt(Protocol):
    """What an edge wants back once the reading is on disk (an MQTT acknowledge, say)."""

    def settle(self) -> None:
        """Called once, from the pipeline thread, after the commit. Must not block or raise."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One number as it came from an edge, before anything is believed about it.

    ``value`` is in ``scale``, or without one in what the probe's plan says (a scale, or a sensor's ohm or millivolt);
    it may be NaN or infinite. ``taken_at`` is the probe's own stamp, or None when
    the message carried none; whether it is used is the probe's ``clock`` setting. ``arrived_at`` is stamped
    by the edge from the daemon's clock and never decreases within a source.
    """

    source: SourceId
    channel: str
    value: float
    scale: Scale | None
    arrived_at: Instant
    taken_at: Instant | None = None
    retained: bool = False
    text: str = ""
    """The start of the text it came from (bounded), for the probes page."""


@dataclass(frozen=True, slots=True)
class Rejected:
    """Text that could not be turned into samples: which edge, what it said (bounded), and why not."""

    source: SourceId
    at: Instant
    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message from an edge: its samples and rejections, and the receipt they share.

    ``token`` identifies the message for redelivery checks: (packet id, digest) for MQTT QoS 1; None elsewhere.
    ``again`` is True when the transport says that this may be a second delivery.
    """

    source: SourceId
    samples: tuple[Sample, ...]
    rejected: tuple[Rejected, ...] = ()
    receipt: Receipt | None = None
    token: str | None = None
    again: bool = False


@dataclass(frozen=True, slots=True)
class SourceState:
    """What an edge says about itself (port open, broker refused, …)."""

    source: SourceId
    at: Instant
    health: Health
    why: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """One probe, one instant, one value, one quality.

    ``raw`` is what the instrument said, in its own scale (or ohm, millivolt …), and is never changed; ``celsius`` is what is
    believed after conversion and correction, None when no number could be had.
    """

    probe: ProbeId
    taken_at: Instant
    arrived_at: Instant
    raw: float
    celsius: float | None
    quality: Quality = Quality.GOOD
    reason: Reason = Reason.NONE
    late: bool = False
    """True when it is older than one already seen of this probe: stored and shown, decides nothing."""
    dated_here: bool = field(default=False, compare=False)
    """Dated by its arrival. Two such readings of one instant are two readings; two that the probe dated are one."""
    calibration: int = 0
    """Number of the calibration with which ``celsius`` was corrected; 0 when there was none."""


@dataclass(frozen=True, slots=True)
class Actor:
    """Who did something and from where ("web page", "command line", "button", "Rimekeeper")."""

    who: str
    where: str


RIMEKEEPER = Actor("Rimekeeper", "Rimekeeper")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the append-only record, before it has its number and its hash.

    ``kind`` is a dotted word such as ``stage.advanced``; ``facts`` holds JSON scalars only.
    """

    at: Instant
    kind: str
    actor: Actor
    sentence: str
    batch: BatchId | None = None
    subject: str = ""
    why: str = ""
    facts: tuple[tuple[str, str | float | int | bool | None], ...] = ()
