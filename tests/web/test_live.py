from __future__ import annotations

import json
import socket
import threading
import time

import pytest

from rimekeeper.core.errors import EdgeError
from rimekeeper.keeping.reader import Reader
from rimekeeper.web import build_app
from rimekeeper.web.serving import Server
from web.slipway import Slipway, glance


class Line:
    """A raw connection to the live stream."""

    def __init__(self, port: int, *, last: str = "") -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=8)
        again = f"Last-Event-ID: {last}\r\n" if last else ""
        self.socket.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{again}\r\n".encode())
        self.file = self.socket.makefile("rb")

    def event(self) -> tuple[str, dict]:
        kind = ""
        while True:
            line = self.file.readline()
            if not line:
                raise EOFError
            if line.startswith(b"event: "):
                kind = line[7:].strip().decode()
            if line.startswith(b"data: ") and kind:
                return kind, json.loads(line[6:])

    def close(self) -> None:
        self.file.close()
        self.socket.close()


@pytest.fixture
def line(server):
    made = Line(server.port)
    yield made
    made.close()


def test_a_screen_gets_the_present_then_news(line, slipway):
    kind, view = line.event()
    assert (kind, view["version"]) == ("now", 1)
    slipway.show()
    kind, view = line.event()
    assert (kind, view["version"]) == ("now", 2)


def test_without_news_there_is_a_beat(line):
    line.event()
    kind, beat = line.event()
    assert kind == "beat"
    assert beat["alive"] is True
    assert beat["now"] >= beat["at"]


def test_news_that_come_faster_than_people_read_are_one_event(line, slipway):
    line.event()
    for _ in range(200):
        slipway.show()
    versions = []
    while not versions or versions[-1] < 201:
        kind, view = line.event()
        assert kind == "now"
        versions.append(view["version"])
    assert len(versions) <= 4


def test_an_id_from_another_life_is_no_trouble(server):
    for last in ("999999", "rubbish", "-1"):
        line = Line(server.port, last=last)
        assert line.event()[0] == "now"
        line.close()


def test_a_screen_that_does_not_read_stops_nobody(server, slipway, asker):
    asleep = Line(server.port)
    asleep.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    awake = Line(server.port)
    awake.event()
    for _ in range(3):
        slipway.show()
        assert awake.event()[0] in ("now", "beat")
    assert asker.get("/api/now").status == 200
    awake.close()
    asleep.close()


def test_stopping_ends_the_streams_quickly_and_leaves_no_thread(filled):
    database, now = filled
    before = set(threading.enumerate())
    served = Server(
        build_app(Slipway(database, glance(now)), Reader(database), "t", "http://127.0.0.1", False), port=0
    )
    served.start()
    lines = [Line(served.port) for _ in range(5)]
    for line in lines:
        line.event()
    began = time.monotonic()
    served.stop()
    served.stop()
    assert time.monotonic() - began < 5
    for line in lines:
        with pytest.raises((EOFError, OSError)):
            line.event()
        line.close()
    left = {t for t in threading.enumerate() if t not in before and t.is_alive()}
    deadline = time.monotonic() + 3
    while left and time.monotonic() < deadline:
        time.sleep(0.05)
        left = {t for t in left if t.is_alive()}
    assert not left


def test_a_taken_port_is_said_with_its_remedy(server, slipway):
    app = build_app(slipway, Reader(slipway.database), "t", "http://127.0.0.1", False)
    with pytest.raises(EdgeError) as told:
        Server(app, port=server.port)
    assert str(told.value) == f"port {server.port} is in use by another program; close it or set [web] port"


def test_an_address_of_another_machine_is_refused(slipway):
    app = build_app(slipway, Reader(slipway.database), "t", "http://127.0.0.1", False)
    with pytest.raises(EdgeError, match="is not an address of this machine"):
        Server(app, host="192.0.2.7", port=0)
