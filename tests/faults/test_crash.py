"""Kill -9 at random moments under load: every reading exactly once, every alarm with its call-out, the batch as it was.

``RIMEKEEPER_KILLS=200 pytest tests/faults/test_crash.py`` is the long form.
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.keeping.reader import Reader
from support.mosquitto import Broker
from support.which_engine import real_engine_steps

from .crash_child import HOT, PLAIN, STAMPED, TOO_WARM

KILLS = int(os.environ.get("RIMEKEEPER_KILLS", "20"))
PER_SECOND = 500
ALL_TIME = (Instant(0), Instant(2**60))
ENGINE = "real" if real_engine_steps() else "small"


class Publisher:
    """Sends ``PER_SECOND`` QoS 1 messages a second and remembers every one."""

    def __init__(self, port):
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id="probes")
        self.client.max_inflight_messages_set(0)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        self.sent = {name: [] for name in STAMPED + PLAIN + HOT}
        self.stamps = {}
        self.last = None
        self.began = time.monotonic()
        self.stopping = threading.Event()
        self.hot = threading.Event()
        self.thread = threading.Thread(target=self.run)
        self.thread.start()

    def put(self, name, value):
        self.sent[name].append(value)
        if name in STAMPED:
            # Instants of the probe's own, never two alike, so that each reading can be told apart.
            stamp = self.stamps[name] = max(self.stamps.get(name, 0) + 1, time.time_ns() // 1_000_000)
            self.last = self.client.publish(f"stamped/{name}", json.dumps({"v": value, "t": stamp}), qos=1)
        else:
            self.last = self.client.publish(f"plain/{name}", str(value), qos=1)

    def run(self):
        names, number, hot = STAMPED + PLAIN, 0, list(HOT)
        while not self.stopping.is_set():
            while number < (time.monotonic() - self.began) * PER_SECOND:
                number += 1
                self.put(names[number % len(names)], number / 1_000)
            if self.hot.is_set() and hot:
                self.hot.clear()
                self.put(hot.pop(), TOO_WARM + 20)
            time.sleep(0.002)

    def finish(self):
        self.stopping.set()
        self.thread.join()
        self.last.wait_for_publish(10)
        self.seconds = time.monotonic() - self.began
        self.client.disconnect()
        self.client.loop_stop()


class Child:
    def __init__(self, folder, port):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "faults.crash_child", str(folder), str(port), ENGINE],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": "tests"},
        )
        self.found = json.loads(self.process.stdout.readline())

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.process.stdout.close()


def stored_count(reader):
    return sum(Counter(r.probe for p in reader.probe_ids() for r in reader.readings(p, *ALL_TIME)).values())


@pytest.mark.timeout(60 + 6 * KILLS)
def test_killed_again_and_again(tmp_path):
    chance = random.Random(int.from_bytes(os.urandom(4), "big"))
    folder = tmp_path / "data"
    started = time.monotonic()
    with Broker(tmp_path, persist=False, extra="max_queued_messages 0") as broker:
        first = Child(folder, broker.port)
        reader = Reader(folder / "rimekeeper.db")
        ends = time.monotonic() + 15
        while not reader.batches() and time.monotonic() < ends:
            time.sleep(0.05)
        time.sleep(0.5)
        publisher = Publisher(broker.port)
        child, alarms = first, set()
        for n in range(KILLS):
            if n % max(1, KILLS // len(HOT)) == 0:
                publisher.hot.set()
            time.sleep(chance.uniform(0.02, 1.2))
            child.kill()
            child = Child(folder, broker.port)
            assert list(child.found["batches"].values()) == [["running", ["cook"]]]
            assert alarms <= set(child.found["alarms"]), "an alarm that stood is gone"
            alarms = set(child.found["alarms"])
        publisher.finish()
        total = sum(map(len, publisher.sent.values()))
        ends = time.monotonic() + 30
        while stored_count(reader) < total and time.monotonic() < ends:
            time.sleep(0.3)
        time.sleep(0.5)
        child.kill()

    wrong = {}
    for name, values in publisher.sent.items():
        stored = Counter(round(r.raw, 3) for r in reader.readings(ProbeId(name), *ALL_TIME))
        wanted = Counter(values)
        if stored != wanted:
            wrong[name] = (sorted((wanted - stored).elements())[:5], sorted((stored - wanted).elements())[:5])
    print(
        f"\n{KILLS} kills, {ENGINE} engine, {total} readings published at {total / publisher.seconds:.0f} a second, "
        f"{stored_count(reader)} stored; {time.monotonic() - started:.0f} s"
    )
    assert not wrong, f"(missing, too many): {wrong}"

    found = reader.alarms(*ALL_TIME)
    calls = Counter(call.call.alarm_id for call in reader.calls(limit=10_000))
    warm = Counter(a.alarm.probe for a in found if a.alarm.probe in HOT)
    assert warm == Counter(name for name in HOT if publisher.sent[name])
    assert all(calls[a.alarm.alarm_id] >= 1 for a in found), "an alarm without its call-out"
    assert set(calls) == {a.alarm.alarm_id for a in found}
    (batch,) = reader.batches()
    assert {(t.batch, t.stage) for t in reader.tagged(ProbeId("p0"), *ALL_TIME)} == {(batch.batch, "cook")}
    assert {(t.batch, t.stage) for t in reader.tagged(ProbeId("p1"), *ALL_TIME)} == {(None, None)}
    assert {(s.batch, s.stage, s.probe) for s in reader.spans(batch.batch)} == {(batch.batch, "cook", "p0")}
    assert reader.verify_chain() is None
    entries = reader.entries(kinds=["daemon.started"], limit=10_000)
    # One that was killed before its first commit left no entry; its time is in the next one's.
    assert KILLS // 2 < len(entries) <= KILLS + 1
    missed = [(e.facts["from"], e.facts["to"]) for e in entries[1:]]
    assert all(begins is not None and begins <= ends for begins, ends in missed)
