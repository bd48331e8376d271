"""A probe calibrated at the screen, in a real browser against a real daemon and broker."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from browser.measures import CONTRAST, NAMELESS, OVERFLOW, SMALL_CONTROLS
from support.bath import Bath, BenchKitchen
from support.daemon import Daemon
from support.mosquitto import Broker

pytestmark = pytest.mark.browser


@pytest.fixture
def bench(tmp_path):
    with Broker(tmp_path) as broker, Bath(broker.port) as bath:
        kitchen = BenchKitchen(tmp_path, broker)
        with Daemon(kitchen.port, *kitchen.run) as daemon:
            daemon.until(
                "the broker is there", lambda p: p["sources"][0]["health"] == "normal", "/api/probes"
            )
            yield daemon, bath


@pytest.fixture
def phone(chromium, bench):
    daemon, _ = bench
    page = chromium.new_page(viewport={"width": 390, "height": 844}, color_scheme="dark")
    complaints = []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.set_default_timeout(15_000)
    page.goto(f"{daemon.address}/probes/dip")
    page.wait_for_function("document.body.dataset.live === 'yes'")
    yield page
    page.close()
    assert complaints == []


def in_order(page):
    width, seen = page.evaluate(OVERFLOW)
    assert width <= seen
    assert page.evaluate(SMALL_CONTROLS) == []
    assert page.evaluate(NAMELESS) == []
    assert page.evaluate(CONTRAST) == []


def test_from_ice_to_a_printed_record(phone, bench):
    daemon, bath = bench
    phone.get_by_role("button", name="Calibrate").click()
    expect(phone.locator("#measure-title")).to_have_text("Calibrate: Dipping probe")
    expect(phone.locator("#measure-cautions")).to_contain_text("Clean and disinfect")
    take, keep = phone.locator("#take"), phone.locator("#keep-calibration")
    phone.get_by_label("Melting ice").check()
    expect(take).to_be_disabled()
    phone.get_by_role("button", name="Begin the test").click()
    expect(phone.locator("#tested-words")).to_contain_text("decide nothing")
    bath.held("dip", 0.31)
    expect(phone.locator("#live-words")).to_contain_text("Steady: mean 0.31 °C")
    in_order(phone)
    take.click()
    expect(phone.locator("#preview")).to_contain_text("+0.31 °C")
    expect(phone.locator("#preview")).to_contain_text("stated accuracy")
    # The same bath is not taken twice: what comes next has to settle anew.
    phone.get_by_label("Boiling water").check()
    phone.get_by_label("or only the altitude, in metres").fill("300")
    expect(phone.locator("#altitude-loud")).to_be_visible()
    expect(phone.locator("#burns")).to_be_visible()
    expect(take).to_be_disabled()
    in_order(phone)
    keep.click()
    expect(phone.locator("#kept-words")).to_contain_text("found +0.31 K off at worst")
    phone.get_by_role("button", name="End the test: it is back in its place").click()
    expect(phone.locator("#measure")).to_be_hidden()
    expect(phone.locator("#head")).to_contain_text("calibrated, due in")
    assert not daemon.get("/api/probes/dip/steadiness")["under_test"]
    phone.get_by_role("link", name="Record number 1").click()
    expect(phone.get_by_role("heading", level=1)).to_contain_text("Calibration record")
    phone.wait_for_function("document.body.dataset.live !== undefined")
    in_order(phone)
    phone.emulate_media(media="print")
    expect(phone.locator(".top")).to_be_hidden()
    expect(phone.locator(".sheet")).to_be_visible()


def test_what_is_refused_is_said_where_it_was_asked(phone, bench):
    _, bath = bench
    phone.get_by_role("button", name="Calibrate").click()
    phone.get_by_role("button", name="Begin the test").click()
    expect(phone.locator("#tested-words")).to_contain_text("decide nothing")
    bath.held("dip", 0.02)
    phone.get_by_label("Beside a reference thermometer").check()
    phone.get_by_label("The reference shows").fill("0.5")
    phone.get_by_label("Its expanded uncertainty").fill("0.1")
    expect(phone.locator("#take")).to_be_enabled()
    phone.locator("#take").click()
    expect(phone.locator("#preview")).to_contain_text("−0.48 °C")  # noqa: RUF001  a true minus sign
    phone.get_by_role("button", name="Leave out point 1").click()
    expect(phone.locator("#preview")).to_be_empty()
    expect(phone.locator("#keep-calibration")).to_be_disabled()
