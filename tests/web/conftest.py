"""A real server on a free port, over a real store, for the tests of the pages."""

from __future__ import annotations

import time

import pytest

from rimekeeper.keeping.reader import Reader
from rimekeeper.web import build_app
from rimekeeper.web.serving import Server
from web.asking import Asker
from web.slipway import Slipway, fill, glance

TOKEN = "token-of-this-run"


@pytest.fixture(scope="session")
def filled(tmp_path_factory):
    """A database with some days of history, and the instant that counts as now in it."""
    now = time.time_ns() // 1_000_000
    return fill(tmp_path_factory.mktemp("slipway"), now), now


@pytest.fixture
def slipway(filled):
    """The kitchen of the tests, at this moment."""
    database, _ = filled
    return Slipway(database, glance(time.time_ns() // 1_000_000))


@pytest.fixture
def server(slipway):
    """The pages, served."""
    app = build_app(slipway, Reader(slipway.database), TOKEN, "http://127.0.0.1", simulated=True)
    served = Server(app, port=0)
    served.start()
    yield served
    served.stop()
    assert not served.running


@pytest.fixture
def asker(server):
    """Somebody who asks over HTTP."""
    return Asker(server.port)
