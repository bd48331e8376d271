"""The demo as a newcomer meets it: one command, live within seconds, ends by itself, leaves nothing outside."""

from __future__ import annotations

import time

from support.daemon import Daemon, command
from support.ports import free_port


def lanes(page):
    return {lane["name"]: lane for batch in page["batches"] for lane in batch["stages"]}


def test_the_three_scenes(tmp_path):
    port, data = free_port(), tmp_path / "demo"
    began = time.monotonic()
    with Daemon(port, "demo", "--port", port, "--data", data, "--for", "110") as demo:
        page = demo.until("live probes", lambda p: any(probe["fresh"] for probe in p["probes"]), timeout=90)
        assert page["kitchen"]["simulated"] is True
        assert len(page["batches"]) >= 3

        page = demo.until("a forecast of the custard", lambda p: any(
            lane["kind"] == "cook" and lane["outlook_code"] == "arrives" for lane in lanes(p).values()
        ), timeout=60)  # fmt: skip
        page = demo.until(
            "the walk-in's alarm", lambda p: any("alk-in" in a["where"] for a in p["alarms"]), timeout=100
        )
        demo.until("a delivered call", lambda p: p["calls"]["waiting"] == 0, timeout=30)
        assert command("alarms", "ack", "--data", data / "store").returncode == 0

        nights = demo.until(
            "last night's hardening", lambda p: p["hardening"], path="/api/nights", timeout=60
        )
        assert nights["hardening"]
        assert demo.get("/healthz")["ok"] is True
        assert demo.wait(120 - (time.monotonic() - began) + 60) == 0, demo.said
    assert {path.name for path in tmp_path.iterdir()} == {"demo"}


def test_a_folder_that_is_somebody_elses(tmp_path):
    (tmp_path / "recipes.txt").write_text("plum")
    refused = command("demo", "--port", free_port(), "--data", tmp_path)
    assert refused.returncode == 1
    assert "was not made by the demo" in refused.stderr
    assert (tmp_path / "recipes.txt").read_text() == "plum"
