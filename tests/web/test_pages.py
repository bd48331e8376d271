from __future__ import annotations

import re
import time
from dataclasses import replace

import pytest

from rimekeeper.core.model import Instant

PAGES = [
    "/",
    "/batches",
    "/batch/custard-7",
    "/batch/custard-6",
    "/nights",
    "/probes",
    "/probes/walkin-air",
    "/alarms/station/walkin/ceiling",
    "/start",
]


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_served_whole_and_says_simulated(asker, path):
    reply = asker.get(path)
    assert reply.status == 200, reply.text[:500]
    assert reply.text.rstrip().endswith("</html>")
    assert "SIMULATED" in reply.text
    assert "food code" in reply.text


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_inline_script_style_or_handlers_and_asks_nobody_else(asker, path):
    text = asker.get(path).text
    for script in re.findall(r"<script([^>]*)>", text):
        assert "src=" in script or 'type="application/json"' in script
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", text)
    assert not re.search(r"""(?:src|href)=["'](?:https?:)?//""", text)


def test_headers_keep_a_page_to_itself(asker):
    headers = asker.get("/").headers
    policy = headers["content-security-policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"


def test_static_files_are_packed_and_may_be_kept(asker):
    path = re.search(r'href="(/static/[0-9a-f]+/css/pages.css)"', asker.get("/").text)[1]
    reply = asker.get(path, Accept_Encoding="gzip")
    assert reply.headers["content-encoding"] == "gzip"
    assert "immutable" in reply.headers["cache-control"]
    chart = asker.get(path.replace("css/pages.css", "charts/uPlot.iife.min.js"), Accept_Encoding="gzip")
    assert chart.status == 200
    assert len(chart.raw) < 30_000


def test_text_from_outside_is_shown_as_text(asker):
    page = asker.get("/probes").text
    assert "<script>alert" not in page
    assert "alert(1)" in page


def test_what_is_not_there_is_said_in_words(asker):
    for path in ("/batch/nobody-1", "/alarms/none", "/nowhere"):
        reply = asker.get(path)
        assert reply.status == 404
        assert "There is no" in reply.text or "No alarm" in reply.text
    assert asker.get("/nights?night=yesterday").status == 400
    assert "2026-11-24" in asker.get("/nights?night=yesterday").text


def test_a_stranger_s_name_for_this_machine_is_refused(asker):
    reply = asker.get("/api/now", Host="kitchen.example")
    assert reply.status == 421
    assert asker.get("/api/now", Host=f"localhost:{asker.port}").status == 200


def test_healthz_follows_the_pipeline(asker, slipway):
    assert asker.get("/healthz").status == 200
    now = time.time_ns() // 1_000_000
    slipway.show(at=Instant(now - 60_000))
    quiet = asker.get("/healthz")
    assert quiet.status == 503
    assert "last word from the kitchen 60 s ago" in quiet.json["trouble"]
    slipway.show(
        at=Instant(now), pulse=replace(slipway.glance().pulse, store_trouble="no space left on the disk")
    )
    full = asker.get("/healthz")
    assert full.status == 503
    assert "no space left" in full.json["trouble"]
    slipway.show(pulse=replace(slipway.glance().pulse, alive=False))
    assert "stopped" in asker.get("/healthz").json["trouble"]
