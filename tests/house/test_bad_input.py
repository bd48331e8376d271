"""Everything that wires can get wrong, sent to one real daemon in one go, while a good probe is kept without a gap."""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
import os
import time

import pytest

from house.conftest import Instrument
from support.daemon import Daemon, command, write
from support.mosquitto import Broker
from support.ports import free_port

KITCHEN = """
[kitchen]
name = "Slipway Ices"
zone = "Europe/Copenhagen"
[web]
port = {web}

[serial.stove]
port = "{good}"
channels = [{{ name = "pan", field = 1 }}]

[serial.bench]
port = "{bad}"
channels = [{{ name = "bowl", field = 1 }}]

[mqtt.house]
host = "127.0.0.1"
port = {broker}
[[mqtt.house.topics]]
filter = "kitchen/+/celsius"
payload = "number"
channel_level = 2
[[mqtt.house.topics]]
filter = "kitchen/+/json"
payload = "json"
channel_level = 2
value_path = "v"
time_path = "t"

[probe.pan]
name = "Pan"
source = "stove"

[probe.bowl]
name = "Bowl"
source = "bench"

[probe.walkin]
name = "Walk-in air"
source = "house"

[probe.core]
name = "Core of the tub"
source = "house"
clock = "probe"
"""


class Counting(Instrument):
    """Counts up by a tenth with each line, so that a line that was lost shows."""

    def _talk(self):
        for step in itertools.count():
            if self._stop.wait(0.1):
                return
            os.write(self.master, f"{20 + step / 10:.1f}\n".encode())


class Silent(Instrument):
    """A port on which only the test writes."""

    def _talk(self):
        self._stop.wait()


def on_the_serial_line(port):
    os.write(port.master, b"21.0\n")
    os.write(port.master, bytes(range(128, 250)) + b"\n")
    for line in (
        b"nan",
        b"inf",
        b"-inf",
        b"1e308",
        b"1e999",
        b"warm",
        b'"21.5"',
        b"21,5,,,",
        b"",
        b"\x00\x00",
    ):
        os.write(port.master, line + b"\n")
    for _ in range(256):
        os.write(port.master, b"7" * 4096)
    os.write(port.master, b"\n21.4\n")


def number(payload):
    return "kitchen/walkin/celsius", payload, 1, False


def dated(celsius, seconds):
    return "kitchen/core/json", json.dumps({"v": celsius, "t": seconds}), 1, False


def rows(kitchen, data):
    told = command("export", "--kitchen", kitchen, "--data", data)
    assert told.returncode == 0, told.stderr
    by_probe = {}
    for row in csv.DictReader(io.StringIO(told.stdout)):
        by_probe.setdefault(row["probe"], []).append(row)
    return by_probe


@pytest.fixture
def wires(tmp_path):
    with Counting() as good, Silent() as bad, Broker(tmp_path) as broker:
        yield good, bad, broker


def test_a_series_of_bad_input_disturbs_nothing_else(tmp_path, wires):
    good, bad, broker = wires
    web, data = free_port(), tmp_path / "data"
    file = write(
        tmp_path / "kitchen.toml",
        KITCHEN.format(web=web, good=good.path, bad=bad.path, broker=broker.port),
    )
    now = time.time()
    with Daemon(web, "run", "--kitchen", file, "--data", data) as daemon:
        daemon.until("the pan", lambda p: any(q["id"] == "pan" and q["fresh"] for q in p["probes"]))
        daemon.until(
            "the broker",
            lambda p: {s["health"] for s in p["sources"] if s["id"] == "house"} == {"normal"},
            path="/api/probes",
        )
        on_the_serial_line(bad)
        broker.publish_all(
            [
                number("-18.0"),
                number(b"\xff\xfe\x00\x81"),
                number("NaN"),
                number("-Infinity"),
                number("1e308"),
                number("1e999"),
                number('"-18"'),
                number("cold"),
                number(""),
                number("9" * 2_000_000),
                number("-18.1"),
                ("kitchen/core/json", '{"v": NaN}', 1, False),
                ("kitchen/core/json", '{"v": Infinity}', 1, False),
                ("kitchen/core/json", '{"v": "4.0"}', 1, False),
                ("kitchen/core/json", '{"v": null}', 1, False),
                ("kitchen/core/json", '{"v": ', 1, False),
                ("kitchen/core/json", "[" * 100_000, 1, False),
                dated(4.0, now - 10),
                dated(4.0, now - 10),  # came twice
                dated(4.2, now - 6),
                dated(4.1, now - 8),  # came in the wrong order
                dated(4.3, 0),  # 1970
                dated(4.4, 4_070_908_800),  # 2099
                dated(4.5, "soon"),
            ]
        )
        # The odd stamps count from their arrival; what was taken after that is in its time again.
        time.sleep(0.5)
        broker.publish_all([dated(4.6, time.time())])
        seen = daemon.until(
            "the last message",
            lambda p: any(q["id"] == "core" and q["last_celsius"] == 4.6 for q in p["probes"]),
        )
        page = daemon.until(
            "the last line",
            lambda p: {s["stored"] for s in p["sources"] if s["id"] == "bench"} != {1},
            path="/api/probes",
        )
        assert daemon.get("/healthz")["ok"] is True
        fresh = {q["id"] for q in seen["probes"] if q["fresh"]}
        time.sleep(0.5)
        assert daemon.end() == 0, daemon.said
    assert "pan" in fresh
    assert "Traceback" not in daemon.said

    # Each refused text is shown beside the reason; what was refused for the same reason needs no line of its own.
    why = {(r["source"], r["text"].strip('"')): r["why"] for r in page["rejected"]}
    assert "baud rate" in why["bench", next(t for s, t in why if s == "bench" and "\\x80" in t)]
    assert "not a number" in why["bench", "nan"]
    assert "not a number" in why["bench", "inf"]
    assert "too large" in why["bench", "1e999"]
    assert "not a number" in why["bench", "warm"]
    assert any("longer than 256 bytes" in reason for (source, _), reason in why.items() if source == "bench")
    assert "not text" in next(reason for (_, text), reason in why.items() if "\\x81" in text)
    assert "not a number" in why["house", "NaN"]
    assert "not a number" in why["house", "-Infinity"]
    assert "text, not a number" in why["house", "cold"]
    assert "text, not a number" in why["house", '{"v": "4.0"}']
    assert "null" in why["house", '{"v": null}']
    assert any("4.5" in text and "time" in reason for (_, text), reason in why.items())

    # The good probe: every line from the first heard to the last, in order.
    kept = rows(file, data)
    heard = [float(row["celsius"]) for row in kept["pan"]]
    steps = [round((b - a) * 10) for a, b in itertools.pairwise(heard)]
    assert len(heard) > 10
    assert set(steps) == {1}

    # Beside the bad ones, the good readings of the same wires are kept; the unbelievable is kept as unbelievable.
    walkin, bowl = kept["walkin"], kept["bowl"]
    assert [float(r["celsius"]) for r in walkin if r["quality"] == "good"] == [-18.0, -18.1]
    assert {float(r["celsius"]) for r in bowl if r["quality"] == "good"} >= {21.0, 21.4}
    for row in walkin + bowl:
        assert row["celsius"] == "" or math.isfinite(float(row["celsius"]))
        if float(row["raw"]) == 1e308:
            assert (row["quality"], row["celsius"]) == ("bad", "")

    # Stamps: once each, the late one told as late, the odd ones dated here and never good.
    by_raw = {}
    for row in kept["core"]:
        by_raw.setdefault(float(row["raw"]), []).append(row)
    assert len(by_raw[4.0]) == 1
    assert [row["late"] for row in by_raw[4.1]] == ["1"]
    assert by_raw[4.2][0]["quality"] == by_raw[4.6][0]["quality"] == "good"
    for odd in (4.3, 4.4):
        assert by_raw[odd][0]["quality"] != "good"
        assert abs(int(by_raw[odd][0]["time_ms"]) / 1000 - now) < 120
