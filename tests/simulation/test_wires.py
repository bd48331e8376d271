"""The real ends: a pseudo-terminal read by pyserial, the broker by a paho client, the phone by an HTTP request."""

import json
import threading
import time
import urllib.error
import urllib.request

import apprise
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from serial import Serial

from rimekeeper.core.decoding.senml import decode_senml
from rimekeeper.core.errors import EdgeError
from rimekeeper.core.model import Instant
from rimekeeper.simulation.broker import EmbeddedBroker, WirelessProbes, free_port
from rimekeeper.simulation.pager import Pager
from rimekeeper.simulation.ports import Answerer, Line, Talker


@pytest.fixture
def line(tmp_path):
    line = Line(tmp_path / "ports" / "stove")
    yield line
    line.close()


def test_what_the_talker_writes_comes_out_at_the_port(line):
    talker = Talker(line)
    with Serial(str(line.path), 9600, timeout=2.0) as port:
        for celsius in (66.4, -18.25, 83.0):
            talker.say(celsius)
        assert [port.readline() for _ in range(3)] == [b"00001,66.4\n", b"00002,-18.2\n", b"00003,83.0\n"]


def test_it_can_be_unplugged_and_opened_again(line):
    talker = Talker(line)
    for _ in range(2):
        with Serial(str(line.path), 9600, timeout=2.0) as port:
            talker.say(20.0)
            assert port.readline().endswith(b",20.0\n")


def test_a_line_nobody_reads_loses_and_does_not_block(line):
    talker = Talker(line)
    began = time.monotonic()
    for _ in range(20_000):
        talker.say(20.0)
    assert talker.lost > 0
    assert time.monotonic() - began < 5.0


def test_the_answerer_speaks_only_when_asked(tmp_path):
    line = Line(tmp_path / "bench")
    answerer = Answerer(line, lambda: "BOWL 8.4 SHERBET 9.1\r\n")
    answerer.start()
    try:
        with Serial(str(line.path), 9600, timeout=0.4) as port:
            assert port.readline() == b""
            port.timeout = 2.0
            port.write(b"noise\r\nT?\r\n")
            assert port.readline() == b"BOWL 8.4 SHERBET 9.1\r\n"
            port.write(b"T?\r\nT?\r\n")
            assert port.readline() + port.readline() == b"BOWL 8.4 SHERBET 9.1\r\n" * 2
    finally:
        answerer.stop()
        line.close()
    assert not line.path.is_symlink()
    line.close()


@pytest.fixture
def broker():
    broker = EmbeddedBroker()
    broker.start()
    yield broker
    broker.stop()


class Listener:
    """A paho 3.1.1 client at QoS 1."""

    def __init__(self, port):
        self.got = []
        self.more = threading.Condition()
        subscribed = threading.Event()
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
        self.client.on_message = self._keep
        self.client.on_subscribe = lambda *_: subscribed.set()
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        self.client.subscribe("slipway/#", qos=1)
        assert subscribed.wait(5.0)

    def _keep(self, _client, _userdata, message):
        with self.more:
            self.got.append((message.topic, message.payload, message.qos))
            self.more.notify_all()

    def wait_for(self, number):
        with self.more:
            assert self.more.wait_for(lambda: len(self.got) >= number, 10.0), self.got
            return self.got

    def close(self):
        self.client.disconnect()
        self.client.loop_stop()


def test_probes_publish_to_the_embedded_broker(broker):
    listener = Listener(broker.port)
    probes = WirelessProbes(broker.port)
    probes.start()
    try:
        for number in range(50):
            probes.say("walkin-air", -20.5 + number / 16, Instant(1_795_600_000_000 + number))
        probes.say_pack({"fridge-air": 3.25, "cabinet-air": -30.5}, Instant(1_795_600_000_123))
        got = listener.wait_for(51)
    finally:
        probes.stop()
        listener.close()
    assert {qos for _, _, qos in got} == {1}
    assert [json.loads(payload) for _, payload, _ in got[:50]] == [
        {"celsius": -20.5 + number / 16, "at": 1_795_600_000_000 + number} for number in range(50)
    ]
    assert got[0][0] == "slipway/walkin-air/temperature"
    topic, pack, _ = got[50]
    assert topic == "slipway/cold-rooms"
    found = decode_senml(pack, Instant(0)).found
    assert [(f.channel, f.value, f.taken_at) for f in found] == [
        ("slipway:fridge-air", 3.25, 1_795_600_000_123),
        ("slipway:cabinet-air", -30.5, 1_795_600_000_123),
    ]


def test_the_broker_stops_cleanly_and_can_be_had_again(broker):
    port = broker.port
    broker.stop()
    broker.stop()
    assert not [t for t in threading.enumerate() if t.name == "simulated broker"]
    again = EmbeddedBroker(port)
    again.start()
    again.stop()
    with pytest.raises(EdgeError, match="can't be reached"):
        WirelessProbes(port).start()


def test_a_port_in_use_is_said_plainly(broker):
    with pytest.raises(EdgeError, match="The demo's broker can't run"):
        EmbeddedBroker(broker.port).start()


def test_free_ports_are_free():
    assert 1024 < free_port() < 65_536


@pytest.fixture
def pager():
    pager = Pager()
    pager.start()
    yield pager
    pager.stop()


def post(pager, path, data):
    request = urllib.request.Request(f"{pager.address}/{path}", data, {"Content-Type": "application/json"})
    with urllib.request.urlopen(request, timeout=5) as answer:
        return answer.status


def page(pager):
    with urllib.request.urlopen(pager.address, timeout=5) as answer:
        return answer.read().decode()


@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated")
def test_the_phone_shows_what_apprise_sends(pager):
    assert "No call-out yet" in page(pager)
    assert "Simulated" in page(pager)
    service = apprise.Apprise()
    assert service.add(f"{pager.apprise}/ada")
    assert service.notify(title="Walk-in freezer", body="above its ceiling <since> 14:03 & rising")
    (arrived,) = pager.pages
    assert (arrived.to, arrived.title) == ("Ada", "Walk-in freezer")
    assert "above its ceiling &lt;since&gt; 14:03 &amp; rising" in page(pager)


def test_the_phone_refuses_what_is_no_call_out(pager):
    for data in (b"", b"[1]", b"\xff\xfe", b"{"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            post(pager, "ada", data)
        assert refused.value.code == 400
        refused.value.close()
    assert pager.pages == ()
    assert post(pager, "bo", b'{"title": "x", "message": "y"}') == 200
