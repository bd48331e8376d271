"""What happens on which day: when batches begin, and which nights go wrong."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from rimekeeper.core.messages import StartBatch
from rimekeeper.core.model import HOUR, MINUTE, SECOND, Instant, ProbeId, RoleId, SheetId
from rimekeeper.core.plan import MixPlan
from rimekeeper.simulation.cooling import IceBath, InAir
from rimekeeper.simulation.crew import BO, Errand
from rimekeeper.simulation.following import BATCH, DRAW, TRAY, UNCOOKED
from rimekeeper.simulation.mix import Lump, curve_of
from rimekeeper.simulation.stove import Pan
from rimekeeper.simulation.workshop import (
    BOWL,
    KITCHEN_AIR,
    PAN,
    PORTION,
    SHERBET,
    SHERBET_TUB,
    TRAY_A,
    TRAY_B,
    Workshop,
)

DAY_BEGINS = time(8, 30)
"""Everything begun in the morning is over by then on the next, so that each day stands for itself."""
CUSTARD_SHEET, SHERBET_SHEET, TRAY_SHEET = (
    SheetId("toasted-barley-custard"),
    SheetId("plum-buttermilk-sherbet"),
    SheetId("tray-hardening"),
)
POWER_CUT, ICED_COIL = 4, 9
"""Days before the opening on whose night the power fails, and on which the cabinet's door stays ajar."""


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something that happens to the equipment at its time."""

    due: Instant
    what: Callable[[Workshop], None]


def begin_of_day(day: date, zone: str) -> Instant:
    """When that day begins, local time."""
    return at_clock(day, DAY_BEGINS, zone)


def at_clock(day: date, clock: time, zone: str) -> Instant:
    """The instant of a local time of day."""
    return Instant(round(datetime.combine(day, clock, ZoneInfo(zone)).timestamp() * 1_000))


def day_of(at: Instant, zone: str) -> date:
    """The day (from ``DAY_BEGINS`` on) to which an instant belongs."""
    here = datetime.fromtimestamp(at / 1_000, tz=UTC).astimezone(ZoneInfo(zone))
    return here.date() if here.time() >= DAY_BEGINS else here.date() - timedelta(days=1)


def hour_of(at: Instant, zone: str) -> float:
    """Local time of day in hours."""
    here = datetime.fromtimestamp(at / 1_000, tz=UTC).astimezone(ZoneInfo(zone))
    return here.hour + here.minute / 60.0 + here.second / 3_600.0


def start_custard(lot: str) -> StartBatch:
    """Begin a custard."""
    return _start(CUSTARD_SHEET, lot, pan=PAN, base=BOWL, portion=PORTION)


def start_sherbet(lot: str) -> StartBatch:
    """Begin a sherbet."""
    return _start(SHERBET_SHEET, lot, base=SHERBET, core=SHERBET_TUB)


def start_trays(lot: str, probe: ProbeId = TRAY_B) -> StartBatch:
    """Begin the hardening of a stack of trays."""
    return _start(TRAY_SHEET, lot, core=probe)


def _start(sheet: SheetId, lot: str, **bound: ProbeId) -> StartBatch:
    return StartBatch(sheet, tuple((RoleId(role), probe) for role, probe in bound.items()), lot)


def usual_day(day: date, zone: str, noise: np.random.Generator) -> list[Errand]:
    """The batches of a day: sherbet on two mornings of three, custard after lunch, its trays in the evening."""

    def around(clock: time) -> Instant:
        return Instant(at_clock(day, clock, zone) + round(noise.normal(0.0, 6.0)) * MINUTE)

    lot = f"{day:%m%d}"
    errands = [Errand(around(time(15)), start_custard(f"B-{lot}"))]
    errands.append(Errand(around(time(20, 40)), start_trays(f"T-{lot}", TRAY_A), BO))
    if day.toordinal() % 3:
        errands.insert(0, Errand(around(time(9, 45)), start_sherbet(f"P-{lot}")))
    return errands


def lasts(errand: Errand) -> int:
    """Upper bound of how long such a batch holds its probes, in ms."""
    command = errand.command
    return 9 * HOUR if isinstance(command, StartBatch) and command.sheet == SHERBET_SHEET else 7 * HOUR


def mishaps_of(day: date, back: int, zone: str) -> list[Mishap]:
    """What goes wrong on a day that lies ``back`` days before the opening."""
    night = day + timedelta(days=1)

    def power(*, on: bool) -> Callable[[Workshop], None]:
        def switch(workshop: Workshop) -> None:
            for room in workshop.rooms.values():
                room.powered = on

        return switch

    def cabinet_ajar(share: float) -> Callable[[Workshop], None]:
        def leave(workshop: Workshop) -> None:
            workshop.rooms["cabinet"].ajar = share

        return leave

    if back == POWER_CUT:
        return [
            Mishap(at_clock(night, time(1, 10), zone), power(on=False)),
            Mishap(at_clock(night, time(3, 40), zone), power(on=True)),
        ]
    if back == ICED_COIL:
        return [
            Mishap(at_clock(day, time(22, 5), zone), cabinet_ajar(1.6)),
            Mishap(at_clock(day, time(23, 20), zone), cabinet_ajar(0.0)),
        ]
    return []


# --- how long ago a scene must have begun to stand where the newcomer should find it -------------------------------


def cooking_since(mix: MixPlan, celsius: float) -> int:
    """Ms from a cold pan to ``celsius``."""
    quiet = np.random.default_rng(0)
    pan = Pan(Lump(curve_of(mix), BATCH, KITCHEN_AIR - 1.0), quiet)
    seconds = 0
    while pan.lump.celsius < celsius:
        pan.step(1.0, KITCHEN_AIR)
        seconds += 1
    return seconds * SECOND


def chilling_since(mix: MixPlan, celsius: float) -> int:
    """Ms over ice from an uncooked base to ``celsius``."""
    bath = IceBath(Lump(curve_of(mix), BATCH, UNCOOKED), np.random.default_rng(0), stirring=0.0)
    seconds = 0
    while bath.celsius > celsius:
        bath.step(10.0, KITCHEN_AIR)
        seconds += 10
    return seconds * SECOND


def hardening_since(mix: MixPlan, celsius: float, air: float = -30.6) -> int:
    """Ms in the cabinet from the draw to ``celsius``."""
    trays = InAir(Lump(curve_of(mix), TRAY, DRAW), "cabinet", 2.0)
    seconds = 0
    while trays.celsius > celsius:
        trays.step(10.0, air)
        seconds += 10
    return math.ceil(seconds / 10) * 10 * SECOND
