"""Real receivers for call-outs: a mail server and a web server on free ports, that can also misbehave."""

from __future__ import annotations

import email
import email.policy
import json
import threading
import time
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from aiosmtpd.controller import Controller

from support.ports import free_port


class MailReceiver:
    """An SMTP server. ``refuse`` is an answer such as ``"451 Try later"`` given instead of taking a mail."""

    def __init__(self):
        self.mails: list[EmailMessage] = []
        self.to: list[list[str]] = []
        self.refuse = ""
        self.port = free_port()
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the server's name for it
        if self.refuse:
            return self.refuse
        self.mails.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        self.to.append(envelope.rcpt_tos)
        return "250 OK"

    @property
    def address(self) -> str:
        """How a channel writes it."""
        return f"mailto://127.0.0.1:{self.port}/?from=kitchen@slipway.test&to=ada@slipway.test&mode=insecure"

    def __enter__(self):
        self._controller.start()
        return self

    def __exit__(self, *_):
        self._controller.stop()


class WebReceiver:
    """A web server that keeps what is posted. ``status`` and ``slow`` (seconds before it answers) shape it."""

    def __init__(self):
        self.posts: list[dict] = []
        self.paths: list[str] = []
        self.status = 200
        self.slow = 0.0
        self._stopping = threading.Event()
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                receiver.paths.append(self.path)
                end = time.monotonic() + receiver.slow
                while time.monotonic() < end and not receiver._stopping.wait(0.02):
                    pass
                if receiver.status == 200:
                    receiver.posts.append(json.loads(body))
                try:
                    self.send_response(receiver.status)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                except OSError:
                    return

            def log_message(self, *_):
                pass

        class Server(ThreadingHTTPServer):
            def handle_error(self, request, client_address):
                pass

        self._server = Server(("127.0.0.1", 0), Handler)
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)

    @property
    def address(self) -> str:
        """How a channel writes it."""
        return f"json://127.0.0.1:{self.port}/ada"

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stopping.set()
        self._server.shutdown()
        self._thread.join(5)
        self._server.server_close()
