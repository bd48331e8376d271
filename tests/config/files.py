"""A small kitchen on disk that tests change by a line or two."""

from rimekeeper.config.loading import check

KITCHEN = """\
[kitchen]
name = "Slipway Ices"
zone = "Europe/Copenhagen"

[serial.stove]
port = "socket://127.0.0.1:4001"
channels = [{ name = "pan", field = 1 }]

[mqtt.house]
host = "127.0.0.1"
[[mqtt.house.topics]]
filter = "kitchen/+/t"
channel_level = 2

[probe.pan]
name = "Pan"
source = "stove"

[probe.walkin]
name = "Walk-in air"
source = "house"

[station.walkin]
name = "Walk-in freezer"
kind = "freezer"
probe = "walkin"
[station.walkin.ceiling]
limit = "-15 C"

[channel.pages]
browser = true

[person.ada]
name = "Ada"
channels = ["pages"]

[[callout]]
priorities = ["high", "critical"]
[[callout.steps]]
people = ["ada"]
"""

SHEET = """\
[sheet]
name = "Barley custard"

[[role]]
id = "pan"
name = "Pan"

[[stage]]
id = "cook"
name = "Cook"
kind = "cook"
role = "pan"
target = "83 C"
hold = "15 s"

[[stage]]
id = "age"
name = "Age"
kind = "age"
role = "pan"
"""


def kitchen_at(folder, kitchen=KITCHEN, **sheets):
    (folder / "sheets").mkdir(exist_ok=True)
    for name, text in (sheets or {"custard": SHEET}).items():
        (folder / "sheets" / f"{name}.toml").write_text(text)
    path = folder / "kitchen.toml"
    path.write_text(kitchen)
    return path


def said(folder, kitchen=KITCHEN, *, seen=(), **sheets):
    """What ``check`` says, a text for each problem, with the test's folder written as FOLDER."""
    problems = check(kitchen_at(folder, kitchen, **sheets), seen=lambda: list(seen))
    return [str(p).replace(str(folder), "FOLDER") for p in problems]


def changed(text, old, new):
    assert old in text
    return text.replace(old, new, 1)
