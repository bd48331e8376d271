"""A page that plays Ada's phone: a real HTTP receiver for call-outs, so that whoever watches sees them arrive."""

from __future__ import annotations

import html
import json
import threading
import time
from collections import deque
from dataclasses import dataclass
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

MOST_MESSAGES = 100
_LARGEST = 65_536
_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="refresh" content="2"><title>{title}</title><style>
:root {{ color-scheme: light dark; }}
body {{ font: 1.1rem/1.5 system-ui, sans-serif; max-width: 34rem; margin: 0 auto; padding: 1rem; }}
.note {{ border: 2px dashed; padding: .5rem .75rem; font-weight: 600; }}
li {{ list-style: none; border-left: .4rem solid; padding: .25rem .75rem; margin: 1rem 0; }}
ol {{ padding: 0; }} pre {{ white-space: pre-wrap; font: inherit; margin: .25rem 0; overflow-wrap: anywhere; }}
</style></head><body><h1>{title}</h1>
<p class="note">Simulated. This page stands in for the phones of two invented people; nothing leaves this machine.</p>
{body}</body></html>
"""


@dataclass(frozen=True, slots=True)
class Page:
    """A call-out that arrived. ``at`` is the time of day as the machine shows it."""

    to: str
    at: str
    title: str
    body: str


class Pager:
    """The receiver. ``address`` is for browsers, ``apprise`` the beginning of the channels' addresses."""

    def __init__(self, port: int = 0) -> None:
        """Take a port of the loopback address (0: a free one)."""
        self._kept: deque[Page] = deque(maxlen=MOST_MESSAGES)
        self._server = ThreadingHTTPServer(("127.0.0.1", port), _handler(self._kept))
        self._server.daemon_threads = True
        self._thread: threading.Thread | None = None

    @property
    def pages(self) -> tuple[Page, ...]:
        """What arrived, oldest first."""
        return tuple(self._kept)

    @property
    def address(self) -> str:
        """Where a browser finds the page."""
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    @property
    def apprise(self) -> str:
        """The same place as an address of a JSON webhook."""
        return f"json://127.0.0.1:{self._server.server_address[1]}"

    def start(self) -> None:
        """Serve in a thread of its own."""
        self._thread = threading.Thread(
            target=self._server.serve_forever,
            kwargs={"poll_interval": 0.1},
            name="simulated phone",
            daemon=True,
        )
        self._thread.start()

    def stop(self) -> None:
        """End it; safe to call twice."""
        if self._thread is not None:
            self._server.shutdown()
            self._thread.join(5.0)
            self._thread = None
        self._server.server_close()


def shown(pages: tuple[Page, ...]) -> str:
    """The page, newest call-out on top."""
    if not pages:
        body = "<p>No call-out yet. One comes about a minute after the walk-in freezer begins to warm.</p>"
    else:
        items = "".join(
            f"<li><strong>{html.escape(p.at)}, to {html.escape(p.to)}: {html.escape(p.title)}</strong>"
            f"<pre>{html.escape(p.body)}</pre></li>"
            for p in reversed(pages)
        )
        body = f"<p>{len(pages)} received, newest first.</p><ol>{items}</ol>"
    return _PAGE.format(title="Ada's and Bo's phones", body=body)


def _handler(kept: deque[Page]) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        timeout = 10

        def do_POST(self) -> None:
            """Take a call-out."""
            try:
                size = min(max(int(self.headers.get("Content-Length", "0")), 0), _LARGEST)
                said = json.loads(self.rfile.read(size))
            except ValueError:
                said = None
            if not isinstance(said, dict):
                self._answer(HTTPStatus.BAD_REQUEST, "text/plain", "a JSON object is wanted")
                return
            to = self.path.strip("/").capitalize() or "somebody"
            kept.append(
                Page(to, time.strftime("%H:%M:%S"), str(said.get("title", "")), str(said.get("message", "")))
            )
            self._answer(HTTPStatus.OK, "text/plain", "received")

        def do_GET(self) -> None:
            """Show them."""
            if self.path != "/":
                self._answer(HTTPStatus.NOT_FOUND, "text/plain", "there is one page here, at /")
                return
            self._answer(HTTPStatus.OK, "text/html", shown(tuple(kept)))

        def log_message(self, *_said: Any) -> None:
            """Keep quiet: what arrives stands on the page."""

        def _answer(self, status: HTTPStatus, kind: str, text: str) -> None:
            data = text.encode()
            self.send_response(status)
            self.send_header("Content-Type", f"{kind}; charset=utf-8")
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

    return Handler
