"""What the plausibility checks remember of a probe between readings: small, frozen, part of its slot.

The checks themselves are in ``core/sensing/plausible``. A check that needs a memory of its own adds a field here.
"""

from __future__ import annotations

from dataclasses import dataclass

from rimekeeper.core.model import Instant, Millis, ProbeId


@dataclass(frozen=True, slots=True)
class RoomDoubt:
    """How the probe has been nearing the temperature of the room."""

    mark_at: Instant | None = None
    mark_gap: float = 0.0
    """Distance from the room's temperature (K) at the mark; the next mark is at half of it."""
    halvings: int = 0
    """Quick halvings of that distance in a row, begun far from the room."""
    first: Millis = Millis(0)
    """How long the first of them took."""
    far_at: Instant | None = None
    """When it last was far from the room's temperature."""
    near_since: Instant | None = None
    nearest: float | None = None
    """While it is held to read the room: the smallest distance (K) since then. None: it is not."""


@dataclass(frozen=True, slots=True)
class SwapDoubt:
    """Where the probe stood before it jumped."""

    older: float | None = None
    """Where it stood one to two minutes ago, °C."""
    newer: float | None = None
    newer_at: Instant | None = None
    moved_at: Instant | None = None
    left: float = 0.0
    """Where it stood before its last great jump, °C."""
    other: ProbeId | None = None
    """The probe it is held to be swapped with."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """The memory of all checks."""

    duty: str = ""
    """What depends on the probe: the stage that is active, a station, or nothing ("")."""
    moved_at: Instant | None = None
    """When its raw number last was another one (known to a sixty-fourth of the time that is allowed)."""
    direction: int = 0
    """Of the last large step: 1 up, -1 down, 0 none."""
    swings: int = 0
    """The last eight readings as bits: 1 where it jumped back against the jump before."""
    apart_since: Instant | None = None
    """Since when it differs too much from the probe beside it."""
    disagrees: bool = False
    """Whether that lasted long enough to doubt both."""
    room: RoomDoubt = RoomDoubt()
    swap: SwapDoubt = SwapDoubt()
