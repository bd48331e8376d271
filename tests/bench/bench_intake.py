"""Readings a second from broker to disk, beside a subscriber that only counts; and memory. Run from the repository:

    python tests/bench/bench_intake.py [--messages 30000]

All three read the same messages (QoS 1, about 55 bytes of JSON, one topic) that wait for them in persistent sessions
at a real Mosquitto, so that the publisher's speed does not matter. Ours decodes, decides, and acknowledges each
message after it is on disk (SQLite, synchronous=FULL). Time runs from the first message to the last.
"""

# ruff: noqa: PLC0415 - each part imports only what it measures

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

PROBES = 8
TOPIC = "slipway/readings"
CLIENTS = {"automatic": "bench-automatic", "manual": "bench-manual", "ours": "bench-ours"}


def memory() -> tuple[float, float]:
    """Resident memory now and at its highest, in MB."""
    lines = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    return tuple(int(lines[key].split()[0]) / 1_024 for key in ("VmRSS", "VmHWM"))


def client(name: str, *, manual: bool = False) -> paho.Client:
    return paho.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=paho.MQTTv5, manual_ack=manual)


def connect(made: paho.Client, port: int) -> None:
    wish = Properties(PacketTypes.CONNECT)
    wish.SessionExpiryInterval = 600
    wish.ReceiveMaximum = 2_000
    made.connect("127.0.0.1", port, clean_start=False, properties=wish)


def leave_session(name: str, port: int) -> None:
    """Subscribe and go, so that the broker keeps what comes."""
    done = threading.Event()
    made = client(name)
    made.on_subscribe = lambda *_: done.set()
    made.on_connect = lambda *_: made.subscribe(TOPIC, qos=1)
    connect(made, port)
    made.loop_start()
    assert done.wait(5)
    made.disconnect()
    made.loop_stop()


def publish(port: int, count: int) -> None:
    made = paho.Client(CallbackAPIVersion.VERSION2, client_id="probes")
    made.max_inflight_messages_set(0)
    made.connect("127.0.0.1", port)
    made.loop_start()
    start = time.time_ns() // 1_000_000 - count // PROBES
    last = None
    for n in range(count):
        stamp = start + n // PROBES
        text = json.dumps(
            {"p": f"probe-{n % PROBES}", "v": round(-18 + n % 100 / 10, 1), "t": stamp, "b": 3.6}
        )
        last = made.publish(TOPIC, text, qos=1)
    last.wait_for_publish(120)
    made.disconnect()
    made.loop_stop()


def count_only(name: str, port: int, count: int, *, manual: bool) -> dict[str, float]:
    made = client(name, manual=manual)
    seen = 0
    began = ended = 0.0
    done = threading.Event()

    def on_message(_client, _data, message):
        nonlocal seen, began, ended
        if not seen:
            began = time.perf_counter()
        seen += 1
        if manual:
            made.ack(message.mid, message.qos)
        if seen == count:
            ended = time.perf_counter()
            done.set()

    made.on_message = on_message
    rest = memory()[0]
    connect(made, port)
    made.loop_start()
    assert done.wait(120), f"{seen} of {count}"
    time.sleep(0.3)
    made.disconnect()
    made.loop_stop()
    return {"per_second": count / (ended - began), "rest": rest, "most": memory()[1]}


def ours(port: int, count: int, folder: Path, engine: str) -> dict[str, float]:
    from rimekeeper.config.edges import MqttSettings, TopicSettings
    from rimekeeper.core import engine as real_engine
    from rimekeeper.core.model import ClockTrust, ProbeId, SourceId
    from rimekeeper.core.plan import KitchenPlan, ProbePlan
    from rimekeeper.intake.mqtt import MqttIntake
    from rimekeeper.keeping.reader import Reader
    from rimekeeper.keeping.store import Store
    from rimekeeper.runtime.clock import SystemClock
    from rimekeeper.runtime.inbox import Inbox
    from rimekeeper.runtime.pipeline import Pipeline
    from support.small_engine import SmallEngine

    source = SourceId("bench")
    names = [f"probe-{n}" for n in range(PROBES)]
    plan = KitchenPlan(
        "Slipway Ices",
        "Europe/London",
        probes={
            ProbeId(n): ProbePlan(
                ProbeId(n), n, source, n, clock=ClockTrust.PROBE, max_rate_kelvin_per_second=1e9
            )
            for n in names
        },
    )
    settings = MqttSettings(
        name=source,
        host="127.0.0.1",
        port=port,
        client_id=CLIENTS["ours"],
        topics=(
            TopicSettings(
                filter=TOPIC,
                payload="json",
                channel_path="p",
                value_path="v",
                time_path="t",
                time_unit="ms",
            ),
        ),
    )
    clock, inbox, store = SystemClock(), Inbox(), Store(folder)
    chosen = SmallEngine() if engine == "small" else real_engine
    pipeline = Pipeline(plan, store, Reader(store.database), inbox, clock, engine=chosen)
    first = [0.0]
    take = inbox.deliver

    def deliver(delivery):
        if not first[0]:
            first[0] = time.perf_counter()
        return take(delivery)

    inbox.deliver = deliver
    pipeline.start()
    time.sleep(1.0)
    rest = memory()[0]
    intake = MqttIntake(settings, inbox, clock)
    intake.start()
    ends = time.perf_counter() + 240
    while (stored := pipeline.glance().pulse.readings_stored) < count:
        if time.perf_counter() > ends:
            raise SystemExit(f"only {stored} of {count} were stored: {pipeline.glance().tallies}")
        time.sleep(0.005)
    took = time.perf_counter() - first[0]
    most = memory()[1]
    intake.stop()
    pipeline.stop()
    counted = Reader(store.database).counts()
    store.close()
    assert counted.readings == count
    return {"per_second": count / took, "rest": rest, "most": most}


def run_part(part: str, port: int, count: int, folder: Path, engine: str) -> dict[str, float]:
    """Each part in a process of its own, so that memory is its own."""
    words = [sys.executable, __file__, "--part", part, "--port", str(port), "--messages", str(count)]
    said = subprocess.run(
        [*words, "--folder", str(folder), "--engine", engine], check=True, stdout=subprocess.PIPE, text=True
    )
    return json.loads(said.stdout.splitlines()[-1])


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--messages", type=int, default=30_000)
    words.add_argument("--part", choices=CLIENTS)
    words.add_argument("--port", type=int)
    words.add_argument("--folder", type=Path)
    words.add_argument("--engine", choices=("real", "small"), default="real")
    asked = words.parse_args()
    if asked.part == "ours":
        print(json.dumps(ours(asked.port, asked.messages, asked.folder, asked.engine)))
    elif asked.part:
        manual = asked.part == "manual"
        print(json.dumps(count_only(CLIENTS[asked.part], asked.port, asked.messages, manual=manual)))
    else:
        compare(asked.messages, asked.engine)


def compare(count: int, engine: str) -> None:
    from support.mosquitto import Broker

    with tempfile.TemporaryDirectory() as folder:
        extra = "max_queued_messages 0\nmax_inflight_messages 0"
        with Broker(Path(folder), persist=False, extra=extra) as broker:
            for name in CLIENTS.values():
                leave_session(name, broker.port)
            publish(broker.port, count)
            print(f"{count} messages, QoS 1, one topic, {engine} engine; memory of each process in MB")
            for part, title in (
                ("automatic", "bare paho, automatic acknowledge"),
                ("manual", "bare paho, manual acknowledge"),
                ("ours", "Rimekeeper, on disk, then acknowledged"),
            ):
                found = run_part(part, broker.port, count, Path(folder) / "data", engine)
                print(
                    f"{title:40} {found['per_second']:8.0f} a second   "
                    f"at rest {found['rest']:.0f}, under load {found['most']:.0f}"
                )


if __name__ == "__main__":
    main()
