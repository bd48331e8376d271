"""Chromium over a real server; every page is checked for console errors and for requests to anybody else."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from rimekeeper.keeping.reader import Reader
from rimekeeper.web import build_app
from rimekeeper.web.serving import Server
from web.slipway import Slipway, fill, glance

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
SIZES = {"phone": (390, 844), "narrow": (360, 740), "tablet": (820, 1180), "wall": (1920, 1080)}


@pytest.fixture(scope="session")
def chromium():
    if not Path(CHROMIUM).exists():
        pytest.skip("Chromium is not installed here")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def database(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("slipway"), time.time_ns() // 1_000_000)


@pytest.fixture
def slipway(database):
    """A kitchen that goes on: every second its probes speak again."""
    kitchen = Slipway(database, glance(time.time_ns() // 1_000_000))
    over = threading.Event()

    def go_on():
        while not over.wait(1.0):
            kitchen.move(time.time_ns() // 1_000_000)

    thread = threading.Thread(target=go_on)
    thread.start()
    yield kitchen
    over.set()
    thread.join()


@pytest.fixture
def server(slipway):
    served = Server(build_app(slipway, Reader(slipway.database), "token", "http://127.0.0.1", True), port=0)
    served.start()
    yield served
    served.stop()


@pytest.fixture(scope="session")
def contexts(chromium):
    """One browser context for each way to look; what a page keeps is kept by its port, so tests don't meet in it."""
    made = {}

    def of(scheme, more):
        key = (scheme, *sorted(more.items()))
        if key not in made:
            made[key] = chromium.new_context(color_scheme=scheme, **more)
        return made[key]

    yield of
    for context in made.values():
        context.close()


@pytest.fixture
def open_page(contexts, server):
    """Open a path at a size; at the end nothing may have been complained about."""
    pages, complaints = [], []

    def opened(path="/", size="tablet", scheme="light", expect_loss=False, refusals=False, **more):
        width, height = SIZES[size]
        page = contexts(scheme, more).new_page()
        pages.append(page)
        page.set_viewport_size({"width": width, "height": height})
        page.set_default_timeout(10_000)
        if not expect_loss:
            page.on(
                "console",
                lambda m: (
                    complaints.append(m.text)
                    if m.type in ("error", "warning") and not (refusals and "409" in m.text)
                    else None
                ),
            )
        page.on("pageerror", lambda e: complaints.append(str(e)))
        page.on(
            "request",
            lambda r: complaints.append(f"asks {r.url}") if not r.url.startswith(server.address) else None,
        )
        page.goto(server.address + path, wait_until="domcontentloaded")
        page.wait_for_function("document.body.dataset.live !== undefined")
        return page

    yield opened
    for page in pages:
        page.close()
    assert complaints == []


@pytest.fixture
def picture():
    """Save a picture into the folder that RIMEKEEPER_PICTURES names, if it does."""
    folder = os.environ.get("RIMEKEEPER_PICTURES")

    def taken(page, name):
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)

    return taken
