"""Who may ask what: host names, same-origin commands, and the headers that keep a page to itself."""

from __future__ import annotations

import ipaddress
import secrets
import socket
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

PAGE_HEADER = "x-rimekeeper-page"
TOKEN_HEADER = "x-rimekeeper-token"  # noqa: S105  the name of a header, not a secret

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


class Guard:
    """Refuses foreign host names (a name that a stranger points at this machine) and adds safe headers."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        """``hosts``: names by which this machine may be called besides numeric addresses."""
        self.app = app
        self.hosts = frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, or answer 421."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        host = Headers(scope=scope).get("host", "")
        if not self._known(host):
            answer = JSONResponse(
                {
                    "sentence": f"This is not the address of this kitchen: {host[:100]!r}. Use its own address."
                },
                status_code=421,
            )
            await answer(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Content-Security-Policy"] = POLICY
                headers["X-Content-Type-Options"] = "nosniff"
                headers["Referrer-Policy"] = "same-origin"
                headers["Cross-Origin-Opener-Policy"] = "same-origin"
                headers["Cross-Origin-Resource-Policy"] = "same-origin"
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self.app(scope, receive, guarded)

    def _known(self, host: str) -> bool:
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            return False
        if name in self.hosts:
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True


def names_of_this_machine(address: str) -> set[str]:
    """The host names under which pages may be asked for: loopback, this machine, the configured address."""
    own = socket.gethostname().lower()
    configured = urlsplit(address).hostname or ""
    return {"localhost", own, f"{own}.local", socket.getfqdn().lower(), configured} - {""}


def has_token(request: Request, token: str) -> bool:
    """Whether the request carries this run's token."""
    given = request.headers.get(TOKEN_HEADER, "")
    return bool(token) and secrets.compare_digest(given.encode(), token.encode())


def objection(request: Request, token: str) -> str:
    """Why a command may not come from this request; "" when it may.

    A foreign page can make a browser post here, but it can't add our header without asking first, and its
    origin is not ours.
    """
    if has_token(request, token):
        return ""
    if TOKEN_HEADER in request.headers:
        return "The token is not the one of this run. Is the data folder that of the running daemon?"
    if PAGE_HEADER not in request.headers:
        return "A command needs the header X-Rimekeeper-Page or the token of the data folder."
    origin = request.headers.get("origin")
    host = request.headers.get("host", "")
    if origin is not None and urlsplit(origin).netloc != host:
        return "A command must come from Rimekeeper's own pages."
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return "A command must come from Rimekeeper's own pages."
    return ""
