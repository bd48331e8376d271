"""Serving the pages: uvicorn in a thread of its own, on a socket that is bound before anything else starts."""

from __future__ import annotations

import errno
import socket
import threading

import uvicorn
from starlette.applications import Starlette

from rimekeeper.core.errors import EdgeError
from rimekeeper.web.live import Feed

GRACE = 3


class Server:
    """One application on one address."""

    def __init__(self, app: Starlette, host: str = "127.0.0.1", port: int = 8321) -> None:
        """Bind the port at once, so that trouble shows before the kitchen starts.

        Args:
            app: what to serve.
            host: address to listen on; loopback unless the kitchen file says otherwise.
            port: port number, 0 for any free one.

        Raises:
            EdgeError: the port is taken or may not be used; says what to do.
        """
        self._app = app
        self._socket = bind(host, port)
        self.host = host
        self.port: int = self._socket.getsockname()[1]
        # Pages are asked for by people: no access log, and the daemon's own log stays readable.
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            lifespan="on",
            server_header=False,
            timeout_graceful_shutdown=GRACE,
            timeout_keep_alive=20,
            ws="none",
            limit_concurrency=256,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._serve, name="pages", daemon=True)
        self._stopped = False

    @property
    def address(self) -> str:
        """Where a browser finds it."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        shown = "127.0.0.1" if self.host in ("0.0.0.0", "::") else host  # noqa: S104  compared, not bound
        return f"http://{shown}:{self.port}"

    @property
    def running(self) -> bool:
        """Whether pages are served."""
        return self._thread.is_alive() and self._server.started

    def start(self, timeout: float = 10.0) -> None:
        """Serve; returns when requests are answered.

        Raises:
            EdgeError: it did not come up.
        """
        self._thread.start()
        pause = threading.Event()
        for _ in range(round(timeout / 0.02)):
            if self._server.started or not self._thread.is_alive():
                break
            pause.wait(0.02)
        if not self.running:
            self.stop()
            raise EdgeError(f"The pages at {self.address} could not be started; the log says why.")

    def stop(self, timeout: float = 8.0) -> None:
        """End the streams, answer what is under way, close; safe to call twice."""
        if self._stopped:
            return
        self._stopped = True
        feed: Feed = self._app.state.feed
        feed.end_streams_soon()
        self._server.should_exit = True
        if self._thread.ident is not None:
            self._thread.join(timeout)
        self._socket.close()

    def _serve(self) -> None:
        self._server.run(sockets=[self._socket])


def bind(host: str, port: int) -> socket.socket:
    """A bound socket.

    Raises:
        EdgeError: the port is taken, needs more rights, or the address is not of this machine.
    """
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    except OSError:
        raise EdgeError(f'"{host}" is not an address of this machine; correct [web] host.') from None
    made = socket.socket(family, kind, protocol)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(place)
        made.listen(128)
    except OSError as fault:
        made.close()
        raise EdgeError(_why_not(host, port, fault)) from None
    return made


def _why_not(host: str, port: int, fault: OSError) -> str:
    match fault.errno:
        case errno.EADDRINUSE:
            return f"port {port} is in use by another program; close it or set [web] port"
        case errno.EACCES:
            return f"port {port} may not be used without more rights; set [web] port to one above 1023"
        case errno.EADDRNOTAVAIL:
            return f'"{host}" is not an address of this machine; correct [web] host'
        case _:
            return f"the pages can't listen on {host} port {port}: {fault.strerror}"
