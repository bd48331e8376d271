from __future__ import annotations

from dataclasses import replace

import pytest
from playwright.sync_api import expect

from browser.conftest import SIZES
from browser.measures import CONTRAST, EDGES, NAMELESS, OVERFLOW, SMALL_CONTROLS
from rimekeeper.core.model import BatchId, Instant
from web.slipway import HOUR

pytestmark = pytest.mark.browser

PATHS = {
    "now": "/", "batches": "/batches", "batch": "/batch/custard-7", "split": "/batch/sherbet-3", "past": "/batch/custard-6",
    "nights": "/nights", "probes": "/probes", "probe": "/probes/walkin-air", "alarm": "/alarms/station/walkin/ceiling", "start": "/start",
}  # fmt: skip


@pytest.mark.parametrize("name", PATHS)
def test_a_page_fits_and_can_be_read_and_hit_at_every_size(open_page, picture, name):
    page = open_page(PATHS[name], "phone")
    if name in ("batch", "nights", "past"):
        page.wait_for_selector("canvas")
    if name == "start":
        page.get_by_label("Toasted-barley custard").check()
        page.wait_for_selector("#role-pan")
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(100)
        scroll, inner = page.evaluate(OVERFLOW)
        assert scroll <= inner, size
        assert page.evaluate(SMALL_CONTROLS) == [], size
        assert page.evaluate(NAMELESS) == [], size
        # Colours are the same at every size but for what only the narrowest and the widest layout show.
        for scheme in ("light", "dark") if size in ("phone", "wall") else ():
            page.emulate_media(color_scheme=scheme)
            picture(page, f"{name}-{size}-{scheme}")
            assert page.evaluate(CONTRAST) == [], (size, scheme)
            assert page.evaluate(EDGES) == [], (size, scheme)
    landmarks(page)


def landmarks(page):
    """Its landmarks, one heading, its language, and a way past the top by key."""
    for landmark in ("banner", "navigation", "main", "contentinfo"):
        assert page.get_by_role(landmark).count() >= 1, landmark
    assert page.locator("h1").count() == 1
    assert page.locator("html").get_attribute("lang") == "en"
    page.locator(".skip").focus()
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement === document.body || document.activeElement === null"), (
        "nothing comes before it"
    )
    page.locator(".skip").focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_no_column_is_squeezed(open_page):
    page = open_page("/", "wall")
    for size in ("wall", "tablet", "phone"):
        page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
        widths = page.evaluate(
            "[...document.querySelectorAll('.outlook, .lane .target, .card')].map((one) => one.clientWidth)"
        )
        assert min(widths) >= 150, (size, widths)


def three_batches(slipway):
    """A third batch beside the two, older than both."""
    state = slipway.glance().state
    old = state.batches["custard-7"]
    third = replace(old, batch=BatchId("custard-5"), lot="B-1101", began=Instant(old.began - 3 * HOUR))
    slipway.show(state=replace(state, batches={**state.batches, third.batch: third}))


def test_the_wall_shows_three_batches_the_stations_and_an_alarm_without_scrolling(
    open_page, slipway, picture
):
    three_batches(slipway)
    page = open_page("/", "wall")
    expect(page.locator("article.batch")).to_have_count(3)
    picture(page, "now-three-batches")
    assert page.evaluate("document.documentElement.scrollHeight") <= SIZES["wall"][1]
    boxes = [one.bounding_box() for one in page.locator("article.batch").all()]
    expect(page.locator("article.batch .lot").first).to_contain_text("lot B-1125")
    assert boxes[0]["y"] == min(box["y"] for box in boxes)
    assert len({box["x"] for box in boxes}) == 2


def test_four_alarms_do_not_push_the_batches_off_the_wall(open_page, slipway):
    state = slipway.glance().state
    (base,) = state.alarms.values()
    alarms = [replace(base, key=f"station/walkin/{n}", alarm_id=f"a{n}") for n in range(5)]
    slipway.show(state=replace(state, alarms={a.key: a for a in alarms}))
    page = open_page("/", "wall")
    expect(page.locator(".alarm.big")).to_have_count(5)
    first = page.locator("article.batch .temp").first.bounding_box()
    assert first["y"] + first["height"] <= SIZES["wall"][1]


def test_focus_is_seen(open_page):
    page = open_page("/")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    style = page.evaluate(
        "(() => { const s = getComputedStyle(document.activeElement); return [s.outlineStyle, parseFloat(s.outlineWidth)]; })()"
    )
    assert style[0] == "solid"
    assert style[1] >= 2


def test_less_motion_is_respected(open_page):
    page = open_page("/", reduced_motion="reduce")
    assert page.evaluate("getComputedStyle(document.getElementById('not-live')).animationName") == "none"
