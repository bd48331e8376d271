"""[modbus.NAME]: what is wrong is said with line, key and remedy."""

import pytest

from config.files import KITCHEN
from rimekeeper.config.loading import check, load

LINE = """
[modbus.bus]
port = "socket://127.0.0.1:4002"
channels = [
  { name = "bowl", unit = 3, register = 100 },
  { name = "air", unit = 3, register = 101, type = "float32", word_order = "little" },
]

[probe.bowl]
name = "Bowl"
source = "bus"
sensor = "tenths-c"

[probe.cellar]
name = "Cellar air"
source = "bus"
channel = "air"
"""


def kitchen(folder, text):
    (folder / "sheets").mkdir(exist_ok=True)
    path = folder / "kitchen.toml"
    path.write_text(KITCHEN + text)
    return path


def said(folder, text):
    problems = check(kitchen(folder, text), look_at_ports=False)
    return [str(p) for p in problems if "modbus" in p.key or "probe.bowl" in p.key or "probe.cellar" in p.key]


def test_a_line_in_order(tmp_path):
    assert said(tmp_path, LINE) == []
    loaded = load(kitchen(tmp_path, LINE))
    assert loaded.plan.sources["bus"].kind == "modbus"
    line = loaded.modbus["bus"]
    assert (line.name, line.baud, line.parity, line.stop_bits) == ("bus", 19_200, "even", 1)
    assert (line.every, line.timeout, line.silent_after) == (2_000, 500, 15_000)
    assert [c.register_ for c in line.channels] == [100, 101]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'name = "air", unit',
            'name = "bowl", unit',
            'channel "bowl" stands here twice. Rename or remove one.',
        ),
        (
            "register = 101",
            "register = 99",
            'channel "air" shares register 100 of unit 3 (holding) with channel "bowl". "bowl" is int16 and takes 100',
        ),
        (
            "register = 101",
            "register = 65535",
            "would end in register 65536, and 65535 is the last there is. A float32 takes 2 registers; correct",
        ),
        ("register = 101", "register = 65536", "65536"),
        ("unit = 3, register = 100", "unit = 248, register = 100", "248"),
        ('type = "float32"', 'type = "float16"', "float16"),
        ('word_order = "little"', 'word_order = "small"', "small"),
        ('port = "socket://127.0.0.1:4002"', "", "give either port or usb"),
        ('"socket://127.0.0.1:4002"', '"socket://127.0.0.1:4001"', "is read by [serial.stove] already"),
        (
            "[modbus.bus]",
            '[modbus.bus]\nevery = "0 s"',
            'no line is that quick. Write a length such as "2 s".',
        ),
        ("[modbus.bus]", '[modbus.bus]\ntimeout = "0 s"', "no instrument answers that quickly"),
        (
            "[modbus.bus]",
            '[modbus.bus]\nsilent_after = "2 s"',
            "silent_after is not longer than every and timeout",
        ),
        ("[modbus.bus]", "[modbus.bus]\ndecoder = 1", "decoder"),
        ('type = "float32", ', "", "a int16 is one register, so word_order does nothing"),
        ('channel = "air"', 'channel = "heir"', '"bus" delivers no channel "heir"'),
        ('source = "bus"\nsensor', 'source = "buss"\nsensor', 'there is no source "buss"'),
    ],
)
def test_one_fault_is_said_where_it_is(tmp_path, old, new, message):
    assert old in LINE
    text = LINE.replace(old, new, 1)
    problems = said(tmp_path, text)
    assert any(message in problem for problem in problems), problems
    assert all(problem.startswith("kitchen.toml, line ") for problem in problems)


def test_a_name_that_a_port_has_too(tmp_path):
    problems = said(tmp_path, LINE.replace("modbus.bus", "modbus.stove").replace('"bus"', '"stove"'))
    assert any('"stove" is also the name of a serial port' in problem for problem in problems), problems


def test_a_channel_that_no_probe_reads_is_worth_a_look(tmp_path):
    problems = said(tmp_path, LINE[: LINE.index("[probe.cellar]")])
    assert len(problems) == 1
    assert 'worth a look: no probe reads channel "air"' in problems[0]


def test_a_line_without_channels(tmp_path):
    problems = said(tmp_path, '[modbus.bus]\nport = "socket://127.0.0.1:4002"\nchannels = []\n')
    assert any("channels" in problem for problem in problems), problems
