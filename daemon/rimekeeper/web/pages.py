"""The pages: each is a template, its first data as a JSON block, and a module that keeps it alive."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from rimekeeper.core.model import BatchId, Instant
from rimekeeper.review.batches import batch_list, batch_page
from rimekeeper.review.nights import night_page
from rimekeeper.review.now import alarm_view, now_view
from rimekeeper.review.starting import sheets_view
from rimekeeper.review.wording import Wording
from rimekeeper.web.api import asked_night, probes_view
from rimekeeper.web.room import Room

PAST = 30 * 86_400_000


def page(request: Request, name: str, title: str, status: int = 200, **context: Any) -> Response:
    """A page by its template, with the kitchen now as its first data."""
    room = Room.of(request)
    templates: Jinja2Templates = request.app.state.templates
    glance = room.kitchen.glance()
    first = context.pop("now", None) or now_view(glance, room.clock())
    return templates.TemplateResponse(
        request,
        f"{name}.html",
        {
            "page": name,
            "title": title,
            "kitchen": first["kitchen"],
            "simulated": room.simulated or glance.plan.simulated,
            "first": first,
            **context,
        },
        status_code=status,
    )


def now(request: Request) -> Response:
    """The kitchen now."""
    return page(request, "now", "Now")


def batches(request: Request) -> Response:
    """Every batch."""
    room = Room.of(request)
    listed = batch_list(room.kitchen.glance(), room.reader, room.clock())
    return page(request, "batches", "Batches", batches=listed)


def batch(request: Request) -> Response:
    """One batch."""
    room = Room.of(request)
    name = BatchId(request.path_params["batch"])
    found = batch_page(room.kitchen.glance(), room.reader, name, room.clock())
    if found is None:
        return not_found(request, f"There is no batch {name}.")
    return page(request, "batch", f"{found['name']} {found['lot']}".strip(), batch=found)


def nights(request: Request) -> Response:
    """A night."""
    room = Room.of(request)
    glance, present = room.kitchen.glance(), room.clock()
    night = asked_night(request.query_params.get("night"), present, glance.plan.zone)
    return page(request, "nights", "Nights", night=night_page(glance, room.reader, night, present))


def probes(request: Request) -> Response:
    """Every probe, channel and source. The last days of the probes are asked for afterwards by the page itself."""
    room = Room.of(request)
    return page(request, "probes", "Probes", sources=probes_view(room, patience=0.0))


def alarm(request: Request) -> Response:
    """One alarm, standing or past."""
    room = Room.of(request)
    glance, present = room.kitchen.glance(), room.clock()
    wording, key = Wording.of(glance.plan), request.path_params["key"]
    standing = next((a for a in glance.state.alarms.values() if a.key == key), None)
    past = [s for s in room.reader.alarms(Instant(max(0, present - PAST)), present) if s.alarm.key == key]
    shown = standing or (past[-1].alarm if past else None)
    if shown is None:
        return not_found(request, f"No alarm {key} stands, nor did one in the last 30 days.")
    calls = room.reader.calls(shown.alarm_id)
    return page(
        request,
        "alarm",
        f"Alarm: {shown.where}",
        alarm=alarm_view(glance, shown, present, wording),
        standing=standing is not None,
        calls=[
            {
                "at_shown": wording.when(stored.call.at, present),
                "kind": stored.call.kind.value,
                "person": person.name if (person := glance.plan.people.get(stored.call.person)) else "",
                "channel": stored.call.channel,
                "state": stored.state.value,
                "attempts": stored.attempts,
                "last_error": stored.last_error,
            }
            for stored in calls
        ],
        earlier=[
            {
                "raised_shown": wording.when(stored.alarm.raised_at, present),
                "worst_shown": wording.shown(stored.alarm.worst),
                "closed_shown": wording.when(stored.closed_at, present),
                "by": stored.alarm.acknowledged_by,
            }
            for stored in reversed(past)
            if stored.alarm.alarm_id != shown.alarm_id
        ][:20],
    )


def start(request: Request) -> Response:
    """Begin a batch."""
    return page(request, "start", "Start a batch", sheets=sheets_view(Room.of(request).kitchen.glance().plan))


def not_found(request: Request, sentence: str) -> Response:
    """A page that says what was not found."""
    return page(request, "trouble", "Not found", status=404, sentence=sentence)


def trouble(request: Request, sentence: str, status: int) -> Response:
    """A page that says what went wrong."""
    return page(request, "trouble", "Trouble", status=status, sentence=sentence)
