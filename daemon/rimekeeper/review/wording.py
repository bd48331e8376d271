"""How temperatures, times and durations are written for people, in the kitchen's scale and zone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from rimekeeper.core.model import Instant, Scale, TemperatureDifference
from rimekeeper.core.plan import Approach, KitchenPlan, StagePlan

MINUS = "\N{MINUS SIGN}"
UNKNOWN = "\N{EM DASH}"
UNITS = {Scale.CELSIUS: "\N{DEGREE SIGN}C", Scale.FAHRENHEIT: "\N{DEGREE SIGN}F", Scale.KELVIN: "K"}

_SECOND, _MINUTE, _HOUR, _DAY = 1_000, 60_000, 3_600_000, 86_400_000


@lru_cache(maxsize=8)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


@dataclass(frozen=True, slots=True)
class Wording:
    """One kitchen's way of writing: its scale and its time zone."""

    scale: Scale
    zone: str

    @classmethod
    def of(cls, plan: KitchenPlan) -> Wording:
        """The wording of that kitchen."""
        return cls(plan.scale, plan.zone)

    @property
    def unit(self) -> str:
        """The sign of the scale."""
        return UNITS[self.scale]

    def value(self, celsius: float | None) -> float | None:
        """The number on the kitchen's scale, to a thousandth; None stays None."""
        return None if celsius is None else round(self.scale.from_celsius(celsius), 3)

    def number(self, celsius: float | None) -> str:
        """The number alone, to a tenth, with a true minus sign; a dash when unknown."""
        if celsius is None:
            return UNKNOWN
        text = f"{self.scale.from_celsius(celsius):.1f}"
        return text.replace("-", MINUS) if text != "-0.0" else "0.0"

    def shown(self, celsius: float | None) -> str:
        """Number and unit; a dash when unknown."""
        return UNKNOWN if celsius is None else f"{self.number(celsius)} {self.unit}"

    def fine(self, celsius: float | None) -> str:
        """Number to a hundredth, and unit: for calibrations, where a tenth says too little."""
        if celsius is None:
            return UNKNOWN
        text = f"{self.scale.from_celsius(celsius):.2f}"
        return f"{'0.00' if text == '-0.00' else text.replace('-', MINUS)} {self.unit}"

    def fine_step(self, kelvin: float | None, sign: str = "") -> str:
        """A difference to a hundredth, and unit; ``sign`` is put before it, ``"+"`` writes plus or minus as it is."""
        if kelvin is None or not abs(kelvin) < 1e9:
            return UNKNOWN
        size = kelvin * (1.8 if self.scale is Scale.FAHRENHEIT else 1.0)
        text = f"{size:+.2f}" if sign == "+" else f"{sign}{abs(size) if sign else size:.2f}"
        text = text.replace("-0.00", "0.00").replace("+0.00", "0.00").replace("-", MINUS)
        return f"{text} {self.unit}"

    def step(self, difference: TemperatureDifference) -> str:
        """A difference in steps of the kitchen's scale."""
        size = difference.kelvin * (1.8 if self.scale is Scale.FAHRENHEIT else 1.0)
        return f"{size:.1f} {self.unit}"

    def moment(self, at: Instant) -> datetime:
        """The instant in the kitchen's zone."""
        return datetime.fromtimestamp(at / _SECOND, tz=UTC).astimezone(_zone(self.zone))

    def clock(self, at: Instant | None, *, seconds: bool = False) -> str:
        """Time of day; a dash when unknown."""
        if at is None:
            return UNKNOWN
        return self.moment(at).strftime("%H:%M:%S" if seconds else "%H:%M")

    def day(self, at: Instant) -> str:
        """Weekday and date, such as "Tue 24 Nov 2026"."""
        return self.moment(at).strftime("%a %-d %b %Y")

    def when(self, at: Instant | None, now: Instant) -> str:
        """Time of day, with the date in front when it is not today; with the zone's name in a repeated hour."""
        if at is None:
            return UNKNOWN
        moment = self.moment(at)
        text = moment.strftime("%H:%M")
        twin = moment.replace(fold=1 - moment.fold)
        if twin.utcoffset() != moment.utcoffset():
            text += f" {moment.tzname()}"
        if moment.date() == self.moment(now).date():
            return text
        year = "" if moment.year == self.moment(now).year else f" {moment.year}"
        return f"{moment.strftime('%a %-d %b')}{year} {text}"


def length(millis: float) -> str:
    """A duration in two units at most: "9 s", "4 min", "1 h 20 min", "3 d 4 h". Minutes from 2 min on."""
    millis = max(0, round(millis))
    if millis < 2 * _MINUTE:
        return f"{millis // _SECOND} s"
    if millis < _HOUR:
        return f"{millis // _MINUTE} min"
    if millis < _DAY:
        hours, rest = divmod(millis, _HOUR)
        minutes = rest // _MINUTE
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, rest = divmod(millis, _DAY)
    hours = rest // _HOUR
    return f"{days} d {hours} h" if hours else f"{days} d"


def exact_length(millis: float) -> str:
    """A duration with its seconds below an hour: "12 min 5 s"."""
    millis = max(0, round(millis))
    if _MINUTE <= millis < _HOUR:
        minutes, rest = divmod(millis, _MINUTE)
        seconds = rest // _SECOND
        return f"{minutes} min {seconds} s" if seconds else f"{minutes} min"
    return length(millis)


def target_words(plan: StagePlan | None, wording: Wording) -> str:
    """The target of a stage with the edge of its band from which it counts as reached; "" without a target."""
    if plan is None or plan.target is None:
        return ""
    shown = wording.shown(plan.target.celsius)
    band = abs(plan.band.kelvin)
    match plan.approach:
        case Approach.RISING:
            edge = wording.shown(plan.target.celsius - band)
            return f"{shown} (counts from {edge} up)" if band else f"at least {shown}"
        case Approach.FALLING:
            edge = wording.shown(plan.target.celsius + band)
            return f"{shown} (counts from {edge} down)" if band else f"at most {shown}"
        case Approach.WITHIN:
            return f"{shown} \N{PLUS-MINUS SIGN} {wording.step(plan.band)}"
