"""A probe's own page and its test: what it shows while it is tested, what its points would give, what is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from rimekeeper.core.errors import OutOfRangeError, RefusedError
from rimekeeper.core.messages import Calibrate, Command, KeepPlunge
from rimekeeper.core.model import MINUTE, SECOND, Actor, Instant, ProbeId
from rimekeeper.review.certificates import certificate, history
from rimekeeper.review.metrology import metrology_view
from rimekeeper.review.probes import probe_view
from rimekeeper.review.testing import (
    LONGEST_TRACE,
    enough_for_a_point,
    plunge_of,
    plunge_preview,
    points_of,
    preview,
    steadiness_view,
)
from rimekeeper.review.wording import Wording
from rimekeeper.web.api import AskedWrongError, allowed_body, answer, given, refused, whole
from rimekeeper.web.commands import MalformedError
from rimekeeper.web.guarding import has_token
from rimekeeper.web.measuring_bodies import CalibrationBody, PlungeBody, parsed
from rimekeeper.web.pages import not_found, page
from rimekeeper.web.room import Room


def _asked(request: Request) -> tuple[Room, ProbeId, bool]:
    room = Room.of(request)
    probe = ProbeId(request.path_params["probe"])
    return room, probe, probe in room.kitchen.glance().plan.probes


def _unknown(probe: ProbeId) -> Response:
    return refused(f"There is no probe {probe!r} in this kitchen.", 404)


def probe_data(room: Room, probe: ProbeId) -> dict[str, Any]:
    """Everything about one probe of the plan."""
    glance, present = room.kitchen.glance(), room.clock()
    wording = Wording.of(glance.plan)
    return {
        "now": present,
        "unit": wording.unit,
        "probe": probe_view(glance, probe, present, wording),
        "measured": {
            **metrology_view(glance, probe, present, wording),
            "day": room.last_day.of(probe, present, wording),
        },
        "history": history(glance, room.reader, probe, present),
    }


def probe(request: Request) -> Response:
    """``GET /api/probes/{probe}``: the probe as it is, as an instrument, and what was measured of it."""
    room, name, known = _asked(request)
    return answer(probe_data(room, name)) if known else _unknown(name)


def probe_page(request: Request) -> Response:
    """``GET /probes/{probe}``."""
    room, name, known = _asked(request)
    if not known:
        return not_found(request, f"There is no probe {name} in this kitchen.")
    data = probe_data(room, name)
    return page(request, "probe", data["probe"]["name"], data=data)


def certificate_page(request: Request) -> Response:
    """``GET /certificates/{number}``: a calibration or plunge test, to be printed."""
    room = Room.of(request)
    number = request.path_params["number"]
    record = room.reader.measurement(number) if number < 2**53 else None
    if record is None:
        return not_found(request, f"There is no record number {number}.")
    shown = certificate(room.kitchen.glance(), record)
    return page(request, "certificate", f"{shown['kind'].capitalize()} {number}", shown=shown)


def steadiness(request: Request) -> Response:
    """``GET /api/probes/{probe}/steadiness``: the uncorrected trace, and what is missing yet.

    As long as a point needs, and only readings from ``after`` (ms) on; or the last ``seconds``; or all from ``since``
    (ms).
    """
    room, name, known = _asked(request)
    if not known:
        return _unknown(name)
    present, query = room.clock(), request.query_params
    glance = room.kitchen.glance()
    seconds = whole(query.get("seconds"), enough_for_a_point(glance.state.probes.get(name)), "seconds")
    if not 1 <= seconds <= LONGEST_TRACE:
        raise AskedWrongError(f"seconds must be between 1 and {LONGEST_TRACE}.")
    since = present - seconds * SECOND
    if query.get("since"):
        since = whole(query.get("since"), since, "since", digits=15)
        since = min(max(since, present - LONGEST_TRACE * SECOND + MINUTE), present)
    elif query.get("after"):
        since = min(max(since, whole(query.get("after"), since, "after", digits=15)), present)
    wording = Wording.of(glance.plan)
    return answer(steadiness_view(glance, room.reader, name, Instant(since), present, wording))


async def calibration(request: Request) -> Response:
    """``POST /api/probes/{probe}/calibration``: work it out, and with ``keep`` keep it."""
    room, name, known = _asked(request)
    body = await allowed_body(request)
    if isinstance(body, Response):
        return body
    if not known:
        return _unknown(name)
    try:
        asked = parsed(CalibrationBody, body)
        wanted = asked.asked()
    except (MalformedError, OutOfRangeError) as fault:
        return refused(str(fault), 400)

    def work() -> tuple[dict[str, Any], Command]:
        glance = room.kitchen.glance()
        points = points_of(room.reader, glance.plan.probes[name], wanted)
        shown = preview(glance, name, points, room.clock(), Wording.of(glance.plan))
        return shown, Calibrate(name, points, asked.note)

    return await _worked(room, work, asked.keep, asked.actor(trusted=has_token(request, room.token)))


async def plunge(request: Request) -> Response:
    """``POST /api/probes/{probe}/plunge``: fit it, and with ``keep`` keep it."""
    room, name, known = _asked(request)
    body = await allowed_body(request)
    if isinstance(body, Response):
        return body
    if not known:
        return _unknown(name)
    try:
        asked = parsed(PlungeBody, body)
    except MalformedError as fault:
        return refused(str(fault), 400)

    def work() -> tuple[dict[str, Any], Command]:
        wording = Wording.of(room.kitchen.glance().plan)
        test, fitted, found = plunge_of(
            room.reader, name, Instant(asked.since), Instant(asked.until), asked.medium, asked.note
        )
        return plunge_preview(test, fitted, found, wording), KeepPlunge(test)

    return await _worked(room, work, asked.keep, asked.actor(trusted=has_token(request, room.token)))


async def _worked(
    room: Room,
    work: Callable[[], tuple[dict[str, Any], Command]],
    keep: bool,  # noqa: FBT001  what the body says
    actor: Actor,
) -> Response:
    """Answer with what was worked out; with ``keep`` give the command as well and say the record's number."""
    try:
        shown, command = await run_in_threadpool(work)
    except RefusedError as fault:
        return refused(str(fault), 409)
    if not keep:
        return answer({"accepted": True, "sentence": "", "kept": False, "preview": shown})
    return await given(room, command, actor, {"kept": True, "preview": shown})
