"""What a call-out says: what, where, how much, since when, what to do, and a link; for people, in their kitchen's terms."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from urllib.parse import quote
from zoneinfo import ZoneInfo

from rimekeeper.core.alarms.call import CallMessage
from rimekeeper.core.messages import CallKind, CallOwed
from rimekeeper.core.model import Instant, Scale
from rimekeeper.core.plan import KitchenPlan, Priority

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_UNITS = {Scale.CELSIUS: "°C", Scale.FAHRENHEIT: "°F", Scale.KELVIN: "K"}
_MINUS = "\N{MINUS SIGN}"
_LEADS = {
    CallKind.RAISED: "",
    CallKind.REPEAT: "Again: ",
    CallKind.ESCALATED: "Nobody answered: ",
    CallKind.RETURNED: "Back to normal: ",
}
_WORDS = {
    Priority.LOW: "low",
    Priority.MEDIUM: "medium",
    Priority.HIGH: "high",
    Priority.CRITICAL: "critical",
}
_INSTRUMENT_KEYS = ("probe", "source", "daemon", "clock", "store")
"""Alarms under these keys are about what measures, not about product."""

_UNHEARD = "Nobody knows the temperature there until it is heard again: measure by hand."
_PRODUCT = "Check what was in it before you use or sell it; your local food code decides what may be kept."
_AFTERWARDS = (
    "What happened meanwhile still has to be checked; your local food code decides what may be kept."
)


def write(call: CallOwed, plan: KitchenPlan, address: str) -> CallMessage:
    """Put a call-out into words.

    Args:
        call: the facts; temperatures in °C, instants in UTC.
        plan: its scale and zone are used.
        address: how links begin, such as ``http://kitchen.local:8321``.
    """
    link = f"{address.rstrip('/')}/alarms/{quote(call.alarm_key, safe='/')}"
    said = [_how_much(call, plan.scale), _since(call, plan.zone)]
    if call.action and call.kind is not CallKind.RETURNED:
        said.append(f"Do this: {call.action}")
    said.append(_caution(call))
    tail = f"Seen it? Say so, and calling stops: {link}\n{plan.name}, call-out {call.id}"
    if call.kind is CallKind.RETURNED:
        tail = f"See it: {link}\n{plan.name}, call-out {call.id}"
    return CallMessage(
        call=call,
        title=_title(call),
        body="\n".join(line for line in said if line) + "\n\n" + tail,
        link=link,
    )


def spoken(message: CallMessage) -> str:
    """The same for a speaker: one line, without link and id."""
    lines = message.body.split("\n\n", 1)[0].split("\n")
    return " ".join(
        line if line.endswith((".", "!", "?")) else f"{line}." for line in (message.title, *lines)
    )


def _title(call: CallOwed) -> str:
    lead = _LEADS[call.kind]
    if call.kind is CallKind.RETURNED:
        return _one_line(f"{lead}{call.where} (was {call.what})")
    return _one_line(f"{lead}{call.where}: {call.what} ({_WORDS[call.priority]} priority)")


def _one_line(text: str) -> str:
    """A title becomes the subject of a mail, where a line break would end the head."""
    return " ".join(text.split())


def _how_much(call: CallOwed, scale: Scale) -> str:
    limit = "" if call.limit_celsius is None else f" (limit {temperature(call.limit_celsius, scale)})"
    if call.celsius is None:
        return f"The temperature is not known{limit}."
    return f"It reads {temperature(call.celsius, scale)}{limit}."


def _since(call: CallOwed, zone: str) -> str:
    lasted = length(max(0, call.at - call.since))
    if call.kind is CallKind.RETURNED:
        return f"It began {moment(call.since, zone)} and ended {moment(call.at, zone)}, after {lasted}."
    return f"Since {moment(call.since, zone)}, for {lasted} by {clock(call.at, zone)}."


def _caution(call: CallOwed) -> str:
    if call.alarm_key.split("/", 1)[0] in _INSTRUMENT_KEYS:
        return "" if call.kind is CallKind.RETURNED else _UNHEARD
    return _AFTERWARDS if call.kind is CallKind.RETURNED else _PRODUCT


def temperature(celsius: float, scale: Scale) -> str:
    """A temperature to a tenth on the kitchen's scale, such as "71.3 °C", with a true minus sign."""
    text = f"{scale.from_celsius(celsius):.1f}"
    return f"{(text if text != '-0.0' else '0.0').replace('-', _MINUS)} {_UNITS[scale]}"


def length(millis: int) -> str:
    """A length of time in two units at most: "45 s", "14 min", "1 h 20 min", "2 d 3 h"."""
    minutes = millis // 60_000
    if minutes < 1:
        return f"{millis // 1_000} s"
    hours, minutes = divmod(minutes, 60)
    if hours < 1:
        return f"{minutes} min"
    days, hours = divmod(hours, 24)
    if days < 1:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{days} d {hours} h" if hours else f"{days} d"


@lru_cache(maxsize=8)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def _local(at: Instant, zone: str) -> datetime:
    return (_EPOCH + timedelta(milliseconds=at)).astimezone(_zone(zone))


_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def moment(at: Instant, zone: str) -> str:
    """Day and time in the kitchen's zone, such as "Wed 25 Nov 03:12"; see :func:`clock`."""
    local = _local(at, zone)
    return f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]} {clock(at, zone)}"


def clock(at: Instant, zone: str) -> str:
    """Time of day in the kitchen's zone; in an hour that comes twice with its offset, "02:30 (UTC+02:00)"."""
    local = _local(at, zone)
    text = f"{local:%H:%M}"
    if local.replace(fold=1 - local.fold).utcoffset() == local.utcoffset():
        return text
    return f"{text} (UTC{local.isoformat()[-6:]})"


def utc(at: Instant) -> str:
    """An instant in ISO 8601, UTC, such as "2026-11-25T02:12:00Z"."""
    return (_EPOCH + timedelta(milliseconds=at)).isoformat(timespec="seconds").replace("+00:00", "Z")
