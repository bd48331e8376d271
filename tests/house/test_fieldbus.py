"""The daemon on a real Modbus RTU line: from registers to the page, through a broken wire and back."""

from __future__ import annotations

import pytest

from support.daemon import Daemon, command, write
from support.fieldbus import Line, unit
from support.ports import free_port

KITCHEN = """
[kitchen]
name = "Slipway Ices"
zone = "Europe/Copenhagen"

[web]
port = {web}

[modbus.bus]
port = "{port}"
parity = "none"
every = "200 ms"
timeout = "200 ms"
silent_after = "2 s"
channels = [
  {{ name = "pan", unit = 3, register = 100 }},
  {{ name = "walkin", unit = 7, register = 20, table = "input", type = "float32", word_order = "little" }},
  {{ name = "cellar", unit = 9, register = 0 }},
]

[probe.pan]
name = "Pan"
source = "bus"
sensor = "tenths-c"

[probe.walkin]
name = "Walk-in air"
source = "bus"

[probe.cellar]
name = "Cellar"
source = "bus"
"""


@pytest.fixture
def line(tmp_path):
    # -18.25 as binary32 is C1 92 00 00 (IEEE 754-2019), here the low word first.
    line = Line(tmp_path, unit(3, {100: [725]}), unit(7, {0: [0]}, {20: [0x0000, 0xC192]}))
    yield line
    line.close()


def celsius(page):
    return {probe["id"]: probe["celsius"] for probe in page["probes"] if probe["fresh"]}


def why(page):
    return page["sources"][0]["why"]


def test_registers_to_the_page_and_a_broken_wire(tmp_path, line):
    port = free_port()
    file = write(tmp_path / "kitchen.toml", KITCHEN.format(web=port, port=line.name))
    seen = command("probes", "--kitchen", file, "--for", "2")
    assert seen.returncode == 0, seen.stderr
    assert "unit 9 doesn't answer" in " ".join(seen.stdout.split())
    with Daemon(port, "run", "--kitchen", file, "--data", tmp_path / "data") as daemon:
        daemon.until("both readings", lambda page: celsius(page) == {"pan": 72.5, "walkin": -18.25})
        line.unplug()
        daemon.until("the lost port", lambda page: "is not there" in why(page), "/api/probes")
        line.plug()
        daemon.until("the silent unit", lambda page: "unit 9 doesn't answer" in why(page), "/api/probes")
        daemon.until("both readings again", lambda page: celsius(page) == {"pan": 72.5, "walkin": -18.25})
        assert daemon.end() == 0, daemon.said
