from __future__ import annotations

import time
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from rimekeeper.core.messages import (
    Acknowledge,
    AdvanceStage,
    NoteBatch,
    PromptGiven,
    PromptKind,
    RetimeStage,
)
from rimekeeper.core.model import HOUR, BatchId, Instant, StageId
from rimekeeper.core.state import StagePhase
from rimekeeper.keeping.reader import Reader
from rimekeeper.review.nights import night_of
from rimekeeper.web import build_app
from rimekeeper.web.serving import Server

pytestmark = pytest.mark.browser


def test_one_tap_acknowledges_and_the_page_says_who_is_on_it(open_page, slipway):
    page = open_page("/", "phone", has_touch=True)
    page.evaluate("localStorage.setItem('rimekeeper.who', 'Ada')")
    assert page.title().startswith("ALARM")
    card = page.locator("article.alarm")
    expect(card).to_contain_text("critical alarm")
    expect(card).to_contain_text("Shut the door")
    page.get_by_role("button", name="Acknowledge Walk-in freezer").tap()
    expect(card).to_contain_text("acknowledged by Ada")
    expect(page.locator("#answer")).to_contain_text("Ada is on it")
    assert page.title() == "Now · Slipway Ices"
    assert [(c, a.who) for c, a in slipway.given] == [(Acknowledge("station/walkin/ceiling"), "Ada")]


def test_a_tap_advances_a_second_wet_tap_does_not_and_undo_is_in_front(open_page, slipway):
    slipway.cooked()
    page = open_page("/", "phone", has_touch=True)
    batch = page.locator("article.batch").filter(has_text="Toasted-barley custard")
    batch.get_by_role("button", name="Next: Chill").tap()
    expect(batch.get_by_role("button", name="Next: Age")).to_be_visible()
    batch.get_by_role("button", name="Next: Age").tap()
    assert [c for c, _ in slipway.given] == [AdvanceStage(BatchId("custard-7"), StageId("cook"))]
    undo = batch.get_by_role("button", name="Undo: wrong tap")
    expect(undo).to_be_visible()
    page.wait_for_timeout(1_300)
    undo.tap()
    expect(batch.get_by_role("button", name="Next: Chill")).to_be_visible()


def test_a_refusal_is_said(open_page, slipway):
    slipway.cooked()
    slipway.refuse = "Custard-7 is on hold. Resume it first."
    page = open_page("/", refusals=True)
    page.get_by_role("button", name="Next: Chill").click()
    expect(page.locator("#answer")).to_have_text("Custard-7 is on hold. Resume it first.")


def test_the_pan_stays_on_until_the_hold_is_met(open_page, slipway):
    """The sheet asks for 15 s at the target: until they are counted, taking the pan off is what comes *then*."""
    now = slipway.glance().at
    slipway.change_run(
        "custard-7", "cook", reached_at=now, in_band_since=now, in_band_last=Instant(now + 11_000)
    )
    for path in ("/", "/batch/custard-7"):
        page = open_page(path)
        lane = page.locator(".lane").filter(has_text="Cook")
        expect(lane.locator(".do-next")).to_have_text("Then: Take the pan off and stir it over ice.")
        expect(lane.locator(".hold")).to_have_text("held 11 s of 15 s: keep it there, 4 s more")
        expect(lane.get_by_role("button", name="Next: Chill")).not_to_have_class("do")
    slipway.cooked()
    expect(lane.locator(".do-next")).to_have_text("Do now: Take the pan off and stir it over ice.")
    state = slipway.glance().state
    silent = replace(state.probes["stove-pan"], last_at=Instant(time.time_ns() // 1_000_000 - 59_000))
    slipway.show(state=replace(state, probes={**state.probes, "stove-pan": silent}))
    expect(lane.locator(".do-next")).to_have_text(
        "Then: Take the pan off and stir it over ice.", timeout=6_000
    )


def test_ending_a_cook_early_asks_why_and_sends_the_reason(open_page, slipway):
    page = open_page("/", "phone", has_touch=True)
    page.get_by_role("button", name="Next: Chill").tap()
    asked = page.get_by_role("dialog", name="End Cook early?")
    expect(asked).to_contain_text("Cook has not reached its target. That is a critical limit.")
    page.wait_for_timeout(1_300)
    asked.get_by_role("button", name="End it early").tap()
    expect(asked).to_contain_text("Choose a reason or write one first.")
    assert slipway.given == []
    heights = asked.get_by_role("button").evaluate_all(
        "all => all.map((b) => b.getBoundingClientRect().height)"
    )
    assert min(heights) >= 56
    asked.get_by_role("button", name="It will be thrown away").tap()
    asked.get_by_role("button", name="End it early").tap()
    expect(asked).to_be_hidden()
    (command,) = [c for c, _ in slipway.given]
    assert command == AdvanceStage(BatchId("custard-7"), StageId("cook"), why="It will be thrown away")


def test_the_last_stage_asks_once_more_and_no_is_no(open_page, slipway):
    now = slipway.glance().at
    for stage in ("cook", "chill", "age", "churn"):
        slipway.change_run("custard-7", stage, phase=StagePhase.DONE)
    slipway.change_run("custard-7", "harden", phase=StagePhase.ACTIVE, began=now)
    page = open_page("/", has_touch=True)
    finish = page.get_by_role("button", name="Finish the batch", exact=True)
    finish.tap()
    asked = page.get_by_role("dialog", name="Finish the batch?")
    expect(asked).to_contain_text("Harden is the last stage of Toasted-barley custard, lot B-1125.")
    asked.get_by_role("button", name="No, not yet").tap()
    expect(asked).to_be_hidden()
    page.wait_for_timeout(1_300)
    finish.tap()
    # A second wet tap that hits the question at once is not an answer.
    asked.get_by_role("button", name="Yes, finish the batch").tap()
    assert slipway.given == []
    page.wait_for_timeout(1_300)
    asked.get_by_role("button", name="Yes, finish the batch").tap()
    expect(asked).to_be_hidden()
    assert [c for c, _ in slipway.given] == [AdvanceStage(BatchId("custard-7"), StageId("harden"))]


def test_what_stands_is_a_big_bar_and_what_is_over_a_slim_row_of_one_tap(open_page, slipway):
    state = slipway.glance().state
    (base,) = state.alarms.values()
    over = [
        replace(base, key=f"probe/p{n}/silent", alarm_id=f"over-{n}", where=f"Probe {n}", what="silent", returned_at=base.raised_at)
        for n in range(4)
    ]  # fmt: skip
    slipway.show(state=replace(state, alarms={a.key: a for a in (base, *over)}))
    page = open_page("/", "wall", has_touch=True)
    big, slim = page.locator(".alarm.big"), page.locator(".alarm.slim")
    expect(big).to_have_count(1)
    expect(slim).to_have_count(4)
    expect(slim.first).to_contain_text("critical, over, not acknowledged")
    heights = slim.evaluate_all("all => all.map((a) => a.getBoundingClientRect().height)")
    assert max(heights) <= 80 < big.bounding_box()["height"]
    calm = slim.first.evaluate(
        "(a) => [getComputedStyle(a).backgroundColor, getComputedStyle(a.parentElement).borderStyle]"
    )
    assert calm[0] != big.evaluate("(a) => getComputedStyle(a).backgroundColor")
    button = slim.first.get_by_role("button")
    assert min(button.bounding_box()["height"], button.bounding_box()["width"]) >= 56
    button.tap()
    expect(slim.filter(has_text="acknowledged by kitchen screen")).to_have_count(1)
    elsewhere = open_page("/probes", "wall")
    expect(elsewhere.locator(".alarm.slim")).to_have_count(5)
    expect(elsewhere.locator(".alarm.big")).to_have_count(0)


def test_hold_and_go_on(open_page):
    page = open_page("/")
    batch = page.locator("article.batch").filter(has_text="Toasted-barley custard")
    batch.get_by_role("button", name="Hold").click()
    expect(batch.locator(".held")).to_contain_text("On hold for")
    expect(batch.locator(".outlook")).to_contain_text("on hold: no arrival time")
    page.wait_for_timeout(1_300)
    batch.get_by_role("button", name="Go on").click(timeout=3_000)
    expect(batch.locator(".held")).to_have_count(0)


def test_focus_stays_while_the_view_is_renewed(open_page):
    page = open_page("/")
    page.get_by_role("button", name="Next: Chill").focus()
    page.wait_for_timeout(2_500)
    assert page.evaluate("document.activeElement.textContent") == "Next: Chill"


def test_a_lane_says_which_stage_of_how_many(open_page):
    page = open_page("/")
    expect(page.locator(".lane").filter(has_text="Cook").locator(".stage")).to_contain_text(
        "Cook 1 of 5, next: Chill"
    )


def test_what_is_not_known_is_never_shown_as_fine(open_page):
    page = open_page("/")
    cabinet = page.locator("article.station").filter(has_text="Hardening cabinet")
    expect(cabinet).to_contain_text("unknown: no fresh reading for 11 min")
    expect(cabinet.locator(".number")).to_contain_text("—")
    expect(cabinet).not_to_contain_text("within limits")
    portion = page.locator(".lane").filter(has_text="Freeze portion")
    expect(portion).to_contain_text("uncertain: has not moved at all")
    expect(portion).to_contain_text("on the freezing plateau")


def test_a_probe_falls_silent_before_the_eyes(open_page, slipway):
    page = open_page("/")
    lane = page.locator(".lane").filter(has_text="Cook")
    expect(lane.locator(".number").first).to_contain_text("78.4")
    state = slipway.glance().state
    pan = state.probes["stove-pan"]
    silent = replace(pan, last_at=Instant(time.time_ns() // 1_000_000 - 58_500))
    slipway.show(state=replace(state, probes={**state.probes, "stove-pan": silent}))
    expect(lane).to_contain_text("no arrival time: no fresh reading for", timeout=8_000)
    expect(lane.locator(".number").first).not_to_contain_text("78.4")


def test_when_the_daemon_stops_the_page_says_so_and_comes_back(open_page, server, slipway, picture):
    page = open_page("/", expect_loss=True)
    banner = page.locator("#not-live")
    expect(banner).to_be_hidden()
    port = server.port
    server.stop()
    expect(banner).to_contain_text("Not live: last word from the kitchen", timeout=12_000)
    assert page.title().startswith("Not live")
    expect(page.locator("article.station").filter(has_text="Mix fridge")).to_contain_text("unknown: not live")
    expect(page.locator(".lane").filter(has_text="Cook")).to_contain_text("no arrival time: not live")
    assert page.get_by_text("within limits").count() == 0
    page.wait_for_timeout(1_500)
    picture(page, "now-not-live")
    again = Server(build_app(slipway, Reader(slipway.database), "token", "http://127.0.0.1", True), port=port)
    again.start()
    try:
        expect(banner).to_be_hidden(timeout=12_000)
    finally:
        again.stop()


def test_a_prompt_is_shown_and_read_out(open_page, slipway):
    page = open_page("/")
    now = time.time_ns() // 1_000_000
    prompt = PromptGiven(
        Instant(now),
        PromptKind.TARGET_REACHED,
        BatchId("custard-7"),
        StageId("cook"),
        82.3,
        None,
        "Take the custard off the stove",
    )
    slipway.show(prompts=(prompt,))
    expect(page.locator(".prompt")).to_contain_text("Take the custard off the stove (82.3 °C)")
    expect(page.locator("#say-polite")).to_contain_text("Take the custard off")
    assert page.locator("#say-polite").get_attribute("aria-live") == "polite"
    assert page.locator("#say-now").get_attribute("aria-live") == "assertive"
    expect(page.locator("#say-now")).to_contain_text("Walk-in freezer")


def test_sound_is_off_until_asked_for_and_is_remembered(open_page):
    page = open_page("/")
    page.evaluate(
        "() => { window.spoken = []; speechSynthesis.speak = (words) => { window.spoken.push(words.text); }; }"
    )
    sound = page.get_by_role("button", name="Sound off")
    assert sound.get_attribute("aria-pressed") == "false"
    sound.click()
    expect(page.get_by_role("button", name="Sound on")).to_have_attribute("aria-pressed", "true")
    assert page.evaluate("window.spoken") == ["Sound is on."]
    assert page.evaluate("localStorage.getItem('rimekeeper.sound')") == "on"
    page.reload()
    expect(page.get_by_role("button", name="Tap for sound")).to_be_visible()


def test_who_is_kept(open_page):
    page = open_page("/")
    page.get_by_role("button", name="Who is at the screen").click()
    page.get_by_label("Name for the record").fill("Bo")
    page.get_by_role("button", name="Keep this name").click()
    expect(page.locator("#who-name")).to_have_text("Bo")
    page.reload()
    expect(page.locator("#who-name")).to_have_text("Bo")


def test_a_note_and_a_new_beginning_are_given_from_the_batch_page(open_page, slipway):
    page = open_page("/batch/custard-7", refusals=True)
    page.get_by_role("button", name="Write a note").click()
    page.get_by_label("What should be written down?").fill("Toasted two minutes longer")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#ask")).to_be_hidden()
    assert slipway.given[-1][0] == NoteBatch(BatchId("custard-7"), "Toasted two minutes longer")
    page.wait_for_timeout(1_300)
    page.get_by_role("button", name="A stage began earlier").click()
    field = page.get_by_label("It really began at")
    before = field.input_value()
    began = slipway.glance().state.batches["custard-7"].stages[0].began
    page.get_by_label("Why?").fill("tapped late")
    page.get_by_role("button", name="Change the beginning").click()
    expect(page.locator("#ask-trouble")).to_contain_text("does not do that")
    told = slipway.given[-1][0]
    assert isinstance(told, RetimeStage)
    assert abs(told.began - began) < 1_000
    assert len(before) >= 16


def test_a_chart_zooms_by_key_by_button_and_by_drag(open_page):
    page = open_page("/batch/custard-7", "wall")
    page.wait_for_selector("canvas")
    plot = page.locator(".plot")
    plot.scroll_into_view_if_needed()
    page.wait_for_timeout(200)

    def span():
        page.wait_for_timeout(60)
        return int(plot.get_attribute("data-span"))

    whole = span()
    assert 13 * 60_000 < whole < 15 * 60_000
    plot.focus()
    page.keyboard.press("+")
    assert span() == pytest.approx(whole * 0.6, rel=0.02)
    page.keyboard.press("0")
    assert span() == pytest.approx(whole, abs=11_000)
    page.get_by_role("button", name="Zoom in").click()
    assert span() == pytest.approx(whole / 2, rel=0.02)
    page.get_by_role("button", name="All").click()
    assert span() == pytest.approx(whole, abs=11_000)
    page.locator(".u-over").scroll_into_view_if_needed()
    box = page.locator(".u-over").bounding_box()
    assert box["y"] > -2
    page.mouse.move(box["x"] + 100, box["y"] + 50)
    page.mouse.down()
    page.mouse.move(box["x"] + 100 + box["width"] / 4, box["y"] + 60, steps=5)
    page.mouse.up()
    assert span() == pytest.approx(whole / 4, rel=0.05)
    assert plot.get_attribute("data-zoomed") == "yes"


def test_what_only_works_zoomed_in_waits_and_one_hot_start_does_not_flatten_the_night(open_page):
    # The hardening began 13 hours ago, which is in the newest night or in the one before.
    night = night_of(Instant(time.time_ns() // 1_000_000 - 13 * HOUR), "Europe/Copenhagen")
    page = open_page(f"/nights?night={night}", "wall")
    page.wait_for_selector("#hardening canvas")
    chart = page.locator("#hardening .chart")
    for name in ("Zoom out", "Earlier", "Later", "All"):
        expect(chart.get_by_role("button", name=name)).to_be_disabled()
    chart.get_by_role("button", name="Zoom in").click()
    expect(chart.get_by_role("button", name="Zoom out")).to_be_enabled()
    # One run begins at 77 degrees; the axis ends a little above what is below 10.
    limits = page.evaluate(
        """async () => {
          const { Chart } = await import(document.body.dataset.static + "/js/chart.js");
          const place = document.createElement("div");
          document.querySelector("main").append(place);
          const chart = new Chart(place, { label: "x", zone: null, unit: "\\u00b0C", below: 10, series: [
            { label: "a", x: [0, 1, 2], y: [77, 4, -20] }, { label: "b", x: [0, 1, 2], y: [-4, -8, -22] }] });
          await new Promise((then) => requestAnimationFrame(then));
          const { min, max } = chart.plot.scales.y;
          place.remove();
          return [min, max];
        }"""
    )
    assert -26 < limits[0] < -22
    assert 4 < limits[1] < 10


def test_a_batch_is_started_from_a_sheet_with_free_probes_only(open_page, slipway):
    page = open_page("/start", "phone", refusals=True)
    page.get_by_label("Toasted-barley custard").check()
    options = page.locator("#role-pan option").all_text_contents()
    assert not any("Stove pan" in option for option in options)
    assert any("Mix fridge air (3.4 °C)" in option for option in options)
    page.locator("#role-pan").select_option("fridge-air")
    page.locator("#role-core").select_option("fridge-air")
    page.get_by_label("Lot code").fill("B-1126")
    page.get_by_role("button", name="Start the batch").click()
    expect(page.locator("#start-trouble")).to_contain_text("chosen twice")
    assert slipway.given == []
    page.locator("#role-core").select_option("walkin-air")
    page.get_by_role("button", name="Start the batch").click()
    expect(page.locator("#start-trouble")).to_contain_text("does not do that")
    assert slipway.given[0][0].bindings == (("pan", "fridge-air"), ("core", "walkin-air"))


def test_the_clock_is_the_kitchen_s_wherever_the_browser_is(open_page):
    page = open_page("/", timezone_id="Pacific/Auckland")
    there = datetime.now(ZoneInfo("Europe/Copenhagen")).strftime("%H:%M")
    assert page.locator("#clock").text_content() in (
        there,
        datetime.now(ZoneInfo("Europe/Copenhagen")).strftime("%H:%M"),
    )
