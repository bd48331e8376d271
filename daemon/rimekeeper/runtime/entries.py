"""Entries of the record that the daemon itself writes."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from rimekeeper.core.messages import Event, SampleTaken
from rimekeeper.core.model import RIMEKEEPER, Entry, Instant

SECONDS = 1_000


def local(at: Instant, zone: str) -> str:
    """An instant in the kitchen's zone, with its offset so that both sides of a clock change differ."""
    moment = datetime.fromtimestamp(at / SECONDS, tz=UTC).astimezone(ZoneInfo(zone))
    return moment.strftime("%Y-%m-%d %H:%M:%S %z")


def length(millis: int) -> str:
    """A duration in words: "3 s", "12 min 5 s", "2 h 7 min", "3 d 4 h"."""
    seconds = max(0, millis) // SECONDS
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    parts = [(days, "d"), (hours, "h"), (minutes, "min"), (seconds, "s")]
    first = next((place for place, (count, _) in enumerate(parts) if count), len(parts) - 1)
    return " ".join(f"{count} {unit}" for count, unit in parts[first : first + 2] if count) or "0 s"


def started(at: Instant, watched_until: Instant | None, zone: str) -> Entry:
    """Rimekeeper started, and since when nobody watched."""
    if watched_until is None:
        return Entry(
            at=at,
            kind="daemon.started",
            actor=RIMEKEEPER,
            sentence="Rimekeeper started for the first time on this data folder",
            facts=(("from", None), ("to", at)),
        )
    if watched_until > at + SECONDS:
        return Entry(
            at=at,
            kind="daemon.started",
            actor=RIMEKEEPER,
            sentence=(
                f"Rimekeeper started; the clock had been set back meanwhile, from {local(watched_until, zone)} "
                f"or later to {local(at, zone)}, so for how long it was not watching is unknown"
            ),
            facts=(("from", watched_until), ("to", at)),
        )
    return Entry(
        at=at,
        kind="daemon.started",
        actor=RIMEKEEPER,
        sentence=(
            f"Rimekeeper started; it was not watching from {local(watched_until, zone)} "
            f"to {local(at, zone)} ({length(at - watched_until)})"
        ),
        facts=(("from", watched_until), ("to", at)),
    )


def slept(at: Instant, watched_until: Instant, zone: str) -> Entry:
    """The machine slept, or the daemon was stopped from outside and let go on."""
    return Entry(
        at=at,
        kind="daemon.slept",
        actor=RIMEKEEPER,
        sentence=(
            f"This machine slept; Rimekeeper was not watching from {local(watched_until, zone)} "
            f"to {local(at, zone)} ({length(at - watched_until)})"
        ),
        facts=(("from", watched_until), ("to", at)),
    )


def stopped(at: Instant) -> Entry:
    """Rimekeeper was stopped in an orderly way."""
    return Entry(at=at, kind="daemon.stopped", actor=RIMEKEEPER, sentence="Rimekeeper was stopped")


def set_aside(at: Instant, event: Event, fault: BaseException) -> Entry:
    """Something could not be dealt with and was left out, so that the rest could go on."""
    subject = event.probe if isinstance(event, SampleTaken) else ""
    about = f"a reading of probe {subject!r}" if subject else f"a {type(event).__name__} event"
    return Entry(
        at=at,
        kind="fault.set aside",
        actor=RIMEKEEPER,
        subject=subject,
        sentence=f"A fault in Rimekeeper: {about} could not be dealt with and was left out",
        facts=(("fault", f"{type(fault).__name__}: {fault}"[:300]), ("event", repr(event)[:500])),
    )
