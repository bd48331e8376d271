"""The application: routes, templates, static files and the parts that stand in front of them."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import lru_cache
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates
from starlette.types import Scope

from rimekeeper.core.errors import RimekeeperError
from rimekeeper.core.model import Instant
from rimekeeper.keeping.reader import Reader
from rimekeeper.runtime.ports import Kitchen
from rimekeeper.web import api, measuring, pages
from rimekeeper.web.guarding import Guard, names_of_this_machine
from rimekeeper.web.live import Feed, live
from rimekeeper.web.room import Room, wall_clock

HERE = Path(__file__).parent
STATIC = HERE / "static"


class Unchanging(StaticFiles):
    """Static files under a folder named after their content: a browser may keep them for ever."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file, marked as never changing."""
        response = await super().get_response(path, scope)
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response


def build_app(
    kitchen: Kitchen,
    reader: Reader,
    token: str,
    address: str,
    simulated: bool,  # noqa: FBT001  the order that the composition root uses
    clock: Callable[[], Instant] = wall_clock,
) -> Starlette:
    """The application of one kitchen.

    Args:
        kitchen: the live kitchen.
        reader: its store.
        token: this run's secret, which the command line sends as ``X-Rimekeeper-Token``.
        address: where it listens, such as ``http://127.0.0.1:8321``; its host name is accepted.
        simulated: whether every page must say so.
        clock: the present instant.
    """
    room = Room(kitchen, reader, token, address, simulated, clock)
    feed = Feed(room)

    @asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        await feed.start()
        try:
            yield
        finally:
            await feed.stop()

    build = digest()
    app = Starlette(
        lifespan=life,
        middleware=[
            Middleware(Guard, hosts=names_of_this_machine(address)),
            Middleware(GZipMiddleware, minimum_size=1_000, compresslevel=5),
        ],
        exception_handlers={
            api.AskedWrongError: _asked_wrong,
            RimekeeperError: _in_trouble,
            HTTPException: _refused_by_http,
        },
        routes=[
            Route("/", pages.now),
            Route("/batches", pages.batches),
            Route("/batch/{batch:path}", pages.batch),
            Route("/nights", pages.nights),
            Route("/probes", pages.probes),
            Route("/probes/{probe:path}", measuring.probe_page),
            Route("/certificates/{number:int}", measuring.certificate_page),
            Route("/alarms/{key:path}", pages.alarm),
            Route("/start", pages.start),
            Route("/healthz", api.healthz),
            Route("/api/now", api.now),
            Route("/api/readings", api.readings),
            Route("/api/batches", api.batches),
            Route("/api/batch/{batch:path}", api.batch),
            Route("/api/nights", api.nights),
            Route("/api/probes", api.probes),
            Route("/api/probes/{probe:path}/steadiness", measuring.steadiness),
            Route("/api/probes/{probe:path}/calibration", measuring.calibration, methods=["POST"]),
            Route("/api/probes/{probe:path}/plunge", measuring.plunge, methods=["POST"]),
            Route("/api/probes/{probe:path}", measuring.probe),
            Route("/api/commands", api.commands, methods=["POST"]),
            Route("/live", live),
            Mount(f"/static/{build}", Unchanging(directory=STATIC)),
        ],
    )
    templates = Jinja2Templates(directory=HERE / "templates")
    templates.env.globals["static"] = f"/static/{build}"
    templates.env.trim_blocks = templates.env.lstrip_blocks = True
    app.state.room, app.state.feed, app.state.templates = room, feed, templates
    return app


@lru_cache(maxsize=1)
def digest() -> str:
    """A short name for the present content of every static file."""
    content = hashlib.sha256()
    for path in sorted(STATIC.rglob("*")):
        if path.is_file():
            content.update(path.relative_to(STATIC).as_posix().encode())
            content.update(path.read_bytes())
    return content.hexdigest()[:12]


def _is_page(request: Request) -> bool:
    return not request.url.path.startswith(("/api/", "/healthz", "/live", "/static/"))


def _say(request: Request, sentence: str, status: int) -> Response:
    if _is_page(request):
        return pages.trouble(request, sentence, status)
    return api.refused(sentence, status)


def _asked_wrong(request: Request, fault: Exception) -> Response:
    return _say(request, str(fault), 400)


def _in_trouble(request: Request, fault: Exception) -> Response:
    return _say(request, str(fault), 503)


def _refused_by_http(request: Request, fault: Exception) -> Response:
    status = fault.status_code if isinstance(fault, HTTPException) else 500
    sentences = {404: "There is no such page.", 405: "That can't be asked for in this way."}
    return _say(request, sentences.get(status, str(fault)), status)
