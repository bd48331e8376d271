"""The live stream: one watcher thread, any number of screens, each always given the newest and never a backlog."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from typing import Any

import msgspec
from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.requests import Request
from starlette.responses import Response

from rimekeeper.review.now import now_view
from rimekeeper.web.room import Room

LEAST_PAUSE = 0.5
"""Seconds between two views sent: a kitchen is read by people."""
BEAT = 3.0
"""After this many seconds without news a beat is sent, so that a screen knows that the line is up."""
SEND_TIMEOUT = 15.0
MOST_SCREENS = 64
_ENCODER = msgspec.json.Encoder()


def encoded(view: dict[str, Any]) -> bytes:
    """JSON bytes of a view."""
    return _ENCODER.encode(view)


class Feed:
    """Watches the kitchen in a thread and wakes the screens of one event loop."""

    def __init__(self, room: Room) -> None:
        """Nothing runs until ``start``."""
        self._room = room
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()
        self._screens: set[asyncio.Event] = set()
        self._view: tuple[int, bytes] = (-1, b"")
        self.over = False

    @property
    def screens(self) -> int:
        """How many screens listen."""
        return len(self._screens)

    async def start(self) -> None:
        """Begin to watch; call inside the loop that serves."""
        self._loop = asyncio.get_running_loop()
        self._thread = threading.Thread(target=self._watch, name="live-feed", daemon=True)
        self._thread.start()

    async def stop(self) -> None:
        """End every stream and the watcher."""
        self.end_streams()
        self._stopping.set()
        if self._thread is not None:
            await asyncio.to_thread(self._thread.join, 3.0)

    def end_streams(self) -> None:
        """Let every screen's stream end; call inside the loop."""
        self.over = True
        for screen in self._screens:
            screen.set()

    def end_streams_soon(self) -> None:
        """The same from any thread."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self.end_streams)

    def _watch(self) -> None:
        version = -1
        while not self._stopping.is_set():
            glance = self._room.kitchen.wait_newer(version, 0.5)
            if glance is None or self._loop is None:
                continue
            version = glance.version
            if self._screens:
                view = (version, encoded(now_view(glance, self._room.clock())))
                try:
                    self._loop.call_soon_threadsafe(self._publish, view)
                except RuntimeError:
                    return
            self._stopping.wait(LEAST_PAUSE)

    def _publish(self, view: tuple[int, bytes]) -> None:
        self._view = view
        for screen in self._screens:
            screen.set()

    async def stream(self) -> AsyncIterator[ServerSentEvent]:
        """One screen's events: the present first, then news or beats until the end."""
        news = asyncio.Event()
        self._screens.add(news)
        try:
            glance = self._room.kitchen.glance()
            sent = glance.version
            yield self._event(sent, encoded(now_view(glance, self._room.clock())))
            while not self.over:
                try:
                    await asyncio.wait_for(news.wait(), BEAT)
                except TimeoutError:
                    yield self._beat()
                    continue
                news.clear()
                version, view = self._view
                if not self.over and version > sent:
                    sent = version
                    yield self._event(version, view)
        finally:
            self._screens.discard(news)

    def _event(self, version: int, view: bytes) -> ServerSentEvent:
        return ServerSentEvent(view.decode(), event="now", id=str(version), retry=2_000)

    def _beat(self) -> ServerSentEvent:
        glance = self._room.kitchen.glance()
        body = {"at": glance.at, "now": self._room.clock(), "alive": glance.pulse.alive}
        return ServerSentEvent(encoded(body).decode(), event="beat")


async def live(request: Request) -> Response:
    """``/live``: server-sent events ``now`` (the same JSON as ``/api/now``) and ``beat``."""
    feed: Feed = request.app.state.feed
    if feed.screens >= MOST_SCREENS:
        return Response("Too many screens are open; close some.", status_code=503)
    return EventSourceResponse(feed.stream(), ping=0, send_timeout=SEND_TIMEOUT)
