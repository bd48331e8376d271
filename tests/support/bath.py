"""Probes over a real broker whose surroundings a test chooses: in the room, in melting ice, plunged into hot water."""

from __future__ import annotations

import json
import math
import threading
import time

from paho.mqtt import client as paho

from support.daemon import write
from support.ports import free_port

KITCHEN = """
[kitchen]
name = "Slipway Ices"
zone = "Europe/Copenhagen"

[web]
port = {web}

[mqtt.house]
host = "127.0.0.1"
port = {broker}
[[mqtt.house.topics]]
filter = "bench/+/stamped"
payload = "json"
value_path = "c"
time_path = "at"
time_unit = "ms"
channel_level = 2
[[mqtt.house.topics]]
filter = "bench/+/plain"
payload = "number"
channel_level = 2

[probe.dip]
name = "Dipping probe"
source = "house"
clock = "probe"
silent_after = "2 min"
resolution = "0.01 K"

[probe.ice]
name = "Probe in ice"
source = "house"

[probe.plunger]
name = "Probe to plunge"
source = "house"
"""


class Bath:
    """Publishes what the probes show."""

    def __init__(self, port: int):
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._over = threading.Event()
        self._threads: list[threading.Thread] = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._over.set()
        for thread in self._threads:
            thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def held(self, probe: str, celsius: float, seconds: int = 70, wobble: float = 0.01):
        """The stamped readings of the last so many seconds, all at once: it was held there all the time."""
        now = time.time_ns() // 1_000_000
        for second in range(seconds, -1, -1):
            value = celsius + wobble * math.sin(second * 1.7)
            body = json.dumps({"c": round(value, 3), "at": now - second * 1000})
            self._client.publish(f"bench/{probe}/stamped", body, qos=1)
        self._client.publish(f"bench/{probe}/none", b"", qos=1).wait_for_publish(5)

    def plunged(self, probe: str, cold: float, hot: float, tau: float, seconds: int = 90, still: int = 15):
        """The stamped readings of a plunge that is over."""
        now = time.time_ns() // 1_000_000
        for half in range(seconds * 2, -1, -1):
            since = seconds - half / 2 - still
            value = cold if since < 0 else hot + (cold - hot) * math.exp(-since / tau)
            body = json.dumps({"c": round(value, 2), "at": now - half * 500})
            self._client.publish(f"bench/{probe}/stamped", body, qos=1)
        self._client.publish(f"bench/{probe}/none", b"", qos=1).wait_for_publish(5)

    def go_on(self, probe: str, celsius_at):
        """Publish ``celsius_at(seconds)`` twice a second from now on, dated by their arrival."""
        began = time.monotonic()

        def talk():
            while not self._over.wait(0.5):
                value = celsius_at(time.monotonic() - began)
                self._client.publish(f"bench/{probe}/plain", f"{value:.1f}", qos=1)

        thread = threading.Thread(target=talk)
        self._threads.append(thread)
        thread.start()


class BenchKitchen:
    """A kitchen file and a folder for a daemon that listens to a bath."""

    def __init__(self, folder, broker):
        self.port, self.data = free_port(), folder / "data"
        self.file = write(folder / "kitchen.toml", KITCHEN.format(web=self.port, broker=broker.port))

    @property
    def run(self):
        return ("run", "--kitchen", self.file, "--data", self.data)
