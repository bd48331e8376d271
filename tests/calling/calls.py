"""A call-out about the walk-in freezer of Slipway Ices, and its message."""

import dataclasses
import datetime as dt

from rimekeeper.calling.wording import write
from rimekeeper.core.messages import CallKind, CallOwed
from rimekeeper.core.model import ChannelId, Instant, PersonId, Scale
from rimekeeper.core.plan import KitchenPlan, Priority

PLAN = KitchenPlan(name="Slipway Ices", zone="Europe/Copenhagen")
FAHRENHEIT = KitchenPlan(name="Slipway Ices", zone="America/New_York", scale=Scale.FAHRENHEIT)
ADDRESS = "http://kitchen.local:8321"


def instant(text):
    """An instant from ISO 8601 with offset."""
    return Instant(int(dt.datetime.fromisoformat(text).timestamp() * 1000))


CALL = CallOwed(
    id="call-17",
    at=instant("2026-11-25T03:26:00+01:00"),
    kind=CallKind.RAISED,
    alarm_key="station/walkin/ceiling",
    alarm_id="alarm-9",
    priority=Priority.HIGH,
    person=PersonId("ada"),
    channel=ChannelId("ada-phone"),
    where="Walk-in freezer",
    what="too warm",
    since=instant("2026-11-25T03:06:00+01:00"),
    celsius=-11.34,
    limit_celsius=-15.0,
    action="Close the door and look at the compressor.",
    step=0,
)


def call(**changes):
    return dataclasses.replace(CALL, **changes)


def message(plan=PLAN, **changes):
    return write(call(**changes), plan, ADDRESS)
