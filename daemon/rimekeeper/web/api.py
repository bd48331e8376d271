"""JSON: what the kitchen knows, for our own pages, the command line and any other program on this machine."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from rimekeeper.core.errors import EdgeError
from rimekeeper.core.messages import Command
from rimekeeper.core.model import Actor, BatchId, Instant, ProbeId
from rimekeeper.review.batches import batch_list, batch_page
from rimekeeper.review.curves import MOST_POINTS, probe_curve
from rimekeeper.review.metrology import metrology_view
from rimekeeper.review.nights import night_of, night_page
from rimekeeper.review.now import now_view, pulse_view
from rimekeeper.review.sources import sources_view
from rimekeeper.review.wording import Wording
from rimekeeper.web.commands import LONGEST_BODY, MalformedError, parse
from rimekeeper.web.guarding import has_token, objection
from rimekeeper.web.room import Room

DEFAULT_SPAN = 3_600_000
DEFAULT_POINTS = 1_000
_ENCODER = msgspec.json.Encoder()


class AskedWrongError(ValueError):
    """A query that can't be understood; the text says what is wrong and what is meant."""


def answer(body: dict[str, Any], status: int = 200) -> Response:
    """A JSON response."""
    return Response(_ENCODER.encode(body), status_code=status, media_type="application/json")


def refused(sentence: str, status: int) -> Response:
    """A refusal with its sentence."""
    return answer({"accepted": False, "sentence": sentence}, status)


def healthz(request: Request) -> Response:
    """200 while the pipeline is alive, current and able to write; 503 with the reason otherwise."""
    room = Room.of(request)
    pulse = pulse_view(room.kitchen.glance(), room.clock())
    return answer({"ok": pulse["current"], **pulse}, 200 if pulse["current"] else 503)


def now(request: Request) -> Response:
    """The Now page as JSON."""
    room = Room.of(request)
    return answer(now_view(room.kitchen.glance(), room.clock()))


def readings(request: Request) -> Response:
    """A probe's span, thinned to ``points``, with its batch and stage spans."""
    room = Room.of(request)
    glance, query, present = room.kitchen.glance(), request.query_params, room.clock()
    probe = ProbeId(query.get("probe", ""))
    if not probe:
        raise AskedWrongError("Say which probe: /api/readings?probe=NAME&since=…&until=…&points=…")
    if probe not in glance.plan.probes and probe not in room.reader.probe_ids():
        return refused(f"There is no probe {probe!r} in this kitchen.", 404)
    until = instant(query.get("until"), present, glance.plan.zone, "until")
    since = instant(query.get("since"), Instant(until - DEFAULT_SPAN), glance.plan.zone, "since")
    if since >= until:
        raise AskedWrongError("since must be before until.")
    points = whole(query.get("points"), DEFAULT_POINTS, "points")
    if not 2 <= points <= MOST_POINTS:
        raise AskedWrongError(f"points must be between 2 and {MOST_POINTS}.")
    return answer(probe_curve(room.reader, glance.plan, probe, since, until, points))


def batches(request: Request) -> Response:
    """Running and past batches, newest first."""
    room = Room.of(request)
    limit = whole(request.query_params.get("limit"), 50, "limit")
    if not 1 <= limit <= 500:
        raise AskedWrongError("limit must be between 1 and 500.")
    return answer({"batches": batch_list(room.kitchen.glance(), room.reader, room.clock(), limit)})


def batch(request: Request) -> Response:
    """One batch: curves, bands, facts, entries."""
    room = Room.of(request)
    name = BatchId(request.path_params["batch"])
    found = batch_page(room.kitchen.glance(), room.reader, name, room.clock())
    return refused(f"There is no batch {name!r}.", 404) if found is None else answer(found)


def nights(request: Request) -> Response:
    """One night; the newest by default."""
    room = Room.of(request)
    glance, present = room.kitchen.glance(), room.clock()
    night = asked_night(request.query_params.get("night"), present, glance.plan.zone)
    return answer(night_page(glance, room.reader, night, present))


def probes(request: Request) -> Response:
    """Sources, channels heard and not claimed, rejected text; each probe as an instrument."""
    room = Room.of(request)
    return answer(probes_view(room))


def probes_view(room: Room, patience: float = 0.3) -> dict[str, Any]:
    """Sources, channels and, for every probe, what is known of it as an instrument and its last day.

    The store is asked for last days for ``patience`` seconds at most; a ``day`` that is None comes the next time.
    """
    glance, present = room.kitchen.glance(), room.clock()
    wording = Wording.of(glance.plan)
    days = room.last_day.of_many(tuple(glance.plan.probes), present, wording, patience)
    return {
        **sources_view(glance, present),
        "measured": [
            {**metrology_view(glance, probe, present, wording), "day": days.get(probe)}
            for probe in glance.plan.probes
        ],
    }


async def commands(request: Request) -> Response:
    """Give a command: 200 with the answer, 409 refused, 400 malformed, 403 not allowed, 503 no answer."""
    room = Room.of(request)
    body = await allowed_body(request)
    if isinstance(body, Response):
        return body
    try:
        command, actor = parse(body, trusted=has_token(request, room.token))
    except MalformedError as fault:
        return refused(str(fault), 400)
    return await given(room, command, actor)


async def allowed_body(request: Request) -> bytes | Response:
    """The body of a request that may change something, or the answer to one that may not or is too long."""
    against = objection(request, Room.of(request).token)
    if against:
        return refused(against, 403)
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LONGEST_BODY:
            return refused(f"The command is longer than {LONGEST_BODY} bytes.", 400)
    return body


async def given(room: Room, command: Command, actor: Actor, more: dict[str, Any] | None = None) -> Response:
    """Give a command to the kitchen and answer with what it said, and with ``more`` once it was accepted.

    ``number`` is that of the record which was kept, where one was.
    """
    try:
        answered = await run_in_threadpool(room.kitchen.command, command, actor)
    except EdgeError as fault:
        return refused(str(fault), 503)
    return answer(
        {
            "accepted": answered.accepted,
            "sentence": answered.sentence,
            "batch": answered.batch,
            **({} if answered.record is None else {"number": answered.record}),
            **(more or {} if answered.accepted else {}),
        },
        200 if answered.accepted else 409,
    )


def instant(text: str | None, default: Instant, zone: str, name: str) -> Instant:
    """Milliseconds since 1970, or ISO 8601 (in the kitchen's zone unless it says its offset)."""
    if not text:
        return default
    if text.lstrip("-").isdigit():
        value = int(text)
    else:
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            raise AskedWrongError(
                f"{name}={text[:60]} is not a time; write milliseconds since 1970 or 2026-11-24T22:10."
            ) from None
        moment = moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))
        value = round(moment.timestamp() * 1_000)
    if not 0 <= value <= 32_503_680_000_000:
        raise AskedWrongError(f"{name}={text[:60]} is not a time that a kitchen can have seen.")
    return Instant(value)


def asked_night(text: str | None, present: Instant, zone: str) -> date:
    """The night asked for, or the newest that has begun."""
    if not text:
        return night_of(present, zone)
    try:
        night = date.fromisoformat(text)
    except ValueError:
        raise AskedWrongError(
            f"night={text[:60]} is not a date; write the evening's date, such as 2026-11-24."
        ) from None
    if not 1971 <= night.year <= 2900:
        raise AskedWrongError(f"night={text[:60]} is too far away.")
    return night


def whole(text: str | None, default: int, name: str, digits: int = 9) -> int:
    """A whole number of a query, or the default when it is not there."""
    if text is None or text == "":
        return default
    if not text.isascii() or not text.isdigit() or len(text) > digits:
        raise AskedWrongError(f"{name}={text[:60]} is not a whole number.")
    return int(text)
