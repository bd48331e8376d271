"""A small real kitchen: an instrument on a pseudo-terminal, Mosquitto, a mail and a web receiver."""

from __future__ import annotations

import os
import pty
import threading
import tty

import pytest

from support.daemon import write
from support.mosquitto import Broker
from support.ports import free_port
from support.receivers import MailReceiver, WebReceiver

SHEET = """
[sheet]
name = "Quick custard"
allergens = ["milk", "egg"]

[[role]]
id = "pan"
name = "Pan"

[[stage]]
id = "cook"
name = "Cook"
kind = "cook"
role = "pan"
target = "82 C"
band = "0.5 K"
settle = "1 s"
hold = "2 s"
heads_up = "30 s"
advance = "target"
do = "Take the pan off."
[stage.ceiling]
limit = "85 C"
action = "Off the heat, now."

[[stage]]
id = "chill"
name = "Chill"
kind = "chill"
role = "pan"
target = "5 C"
reach_within = "4 h"
do = "Into the mix fridge."
"""

KITCHEN = """
[kitchen]
name = "Slipway Ices"
zone = "Europe/Copenhagen"

[web]
port = {web}

[serial.stove]
port = "{pty}"
channels = [{{ name = "pan", field = 1 }}]
silent_after = "5 s"

[mqtt.house]
host = "127.0.0.1"
port = {broker}
user = "rimekeeper"
password = "stir"
say_topic = "kitchen/say"
[[mqtt.house.topics]]
filter = "kitchen/+/celsius"
payload = "number"
channel_level = 2

[probe.pan]
name = "Pan"
source = "stove"
silent_after = "10 s"

[probe.walkin]
name = "Walk-in air"
source = "house"

[station.walkin]
name = "Walk-in freezer"
kind = "freezer"
probe = "walkin"
[station.walkin.ceiling]
limit = "-15 C"
on_delay = "1 s"
priority = "high"
action = "Close the door."

[channel.ada-mail]
apprise = "{mail}"

[channel.bo-hook]
apprise = "{hook}"

[channel.siren]
mqtt = "house"
topic = "kitchen/siren"

[person.ada]
name = "Ada"
channels = ["ada-mail", "siren"]

[person.bo]
name = "Bo"
channels = ["bo-hook"]

[[callout]]
priorities = ["high", "critical"]
repeat_every = "10 min"
[[callout.steps]]
people = ["ada"]
wait = "2 s"
[[callout.steps]]
people = ["bo"]

[[button]]
mqtt = "house"
topic = "kitchen/button/next"
does = "advance"
"""


class Instrument:
    """Writes a line twice a second to the master side of a pseudo-terminal."""

    def __init__(self):
        self.master, self._slave = pty.openpty()
        tty.setraw(self.master)
        self.path = os.ttyname(self._slave)
        self.celsius = 20.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._talk)

    def _talk(self):
        while not self._stop.wait(0.25):
            os.write(self.master, f"{self.celsius:.1f}\n".encode())

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()
        os.close(self.master)
        os.close(self._slave)


class Kitchen:
    """Everything that a daemon is started on."""

    def __init__(self, folder, instrument, broker, mail, hook):
        self.instrument, self.broker, self.mail, self.hook = instrument, broker, mail, hook
        self.port = free_port()
        self.data = folder / "data"
        write(folder / "sheets" / "quick-custard.toml", SHEET)
        self.file = write(
            folder / "kitchen.toml",
            KITCHEN.format(
                web=self.port, pty=instrument.path, broker=broker.port, mail=mail.address, hook=hook.address
            ),
        )

    @property
    def run(self):
        return ("run", "--kitchen", self.file, "--data", self.data)


@pytest.fixture
def kitchen(tmp_path):
    users = {"rimekeeper": "stir", "probes": "whisk"}
    with (
        Instrument() as instrument,
        Broker(tmp_path, users=users) as broker,
        MailReceiver() as mail,
        WebReceiver() as hook,
    ):
        yield Kitchen(tmp_path, instrument, broker, mail, hook)
