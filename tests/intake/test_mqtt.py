"""The MQTT intake against real brokers: Mosquitto from Debian, and amqtt, which knows only MQTT 3.1.1."""

import contextlib
import json
import os
import random
import select
import socket
import ssl
import threading
import time

import pytest
from paho.mqtt import client as paho

from rimekeeper.config.edges import MqttSettings, TopicSettings
from rimekeeper.core.errors import ConfigError
from rimekeeper.core.model import Health
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.mqtt import MqttIntake
from rimekeeper.intake.mqtt_buttons import Buttons, Heard
from support.inbox import KeepingInbox, WallClock
from support.mosquitto import Broker
from support.old_broker import OldBroker

PROBES = TopicSettings(filter="kitchen/+/temp", channel_level=2)
STATUS = "rimekeeper/slipway-ices/status"


@pytest.fixture
def inbox():
    return KeepingInbox()


@pytest.fixture
def broker(tmp_path):
    with Broker(tmp_path, persist=False) as broker:
        yield broker


def intake_for(broker, inbox, **settings):
    settings = {"name": "cold", "host": "127.0.0.1", "port": broker.port, "topics": (PROBES,), **settings}
    return MqttIntake(
        MqttSettings(**settings),
        inbox,
        WallClock(),
        kitchen="Slipway Ices",
        backoff=Backoff(0.05, 0.2, random.Random(1)),
    )


@contextlib.contextmanager
def running(intake):
    intake.start()
    try:
        yield intake
    finally:
        began = time.monotonic()
        intake.stop()
        assert time.monotonic() - began < 2.0
        assert not [t for t in threading.enumerate() if t.name in ("mqtt cold", "buttons cold")]


@contextlib.contextmanager
def connected(broker, inbox, **settings):
    with running(intake_for(broker, inbox, **settings)) as intake:
        inbox.wait_health(Health.NORMAL)
        yield intake


class Watcher:
    """A plain client that keeps what it hears on some topics."""

    def __init__(self, broker, *filters):
        self.heard = []
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        if broker.tls:
            self._client.tls_set(str(broker.ca_file), tls_version=ssl.PROTOCOL_TLS_CLIENT)
        if broker.users:
            self._client.username_pw_set(*next(iter(broker.users.items())))
        self._client.on_connect = lambda c, *rest: c.subscribe([(f, 1) for f in filters])
        self._client.on_message = lambda c, u, m: self.heard.append((m.topic, m.payload, m.retain))
        self._client.connect(broker.host, broker.port)

    def __enter__(self):
        self._client.loop_start()
        return self

    def __exit__(self, *fault):
        self._client.disconnect()
        self._client.loop_stop()

    def wait(self, holds, timeout=4.0):
        end = time.monotonic() + timeout
        while not holds(self.heard):
            assert time.monotonic() < end, self.heard
            time.sleep(0.01)


def settle(inbox):
    for delivery in list(inbox.deliveries):
        if delivery.receipt is not None:
            delivery.receipt.settle()


def test_wildcards_and_channels(broker, inbox):
    topics = (
        PROBES,
        TopicSettings(filter="lab/#", payload="json", channel_path="id", value_path="t", time_path="at"),
        TopicSettings(filter="senml", payload="senml"),
        TopicSettings(filter="two", payload="json", channel="pan", value_path="pan"),
        TopicSettings(filter="two", payload="json", channel="base", value_path="base"),
    )
    with connected(broker, inbox, topics=topics):
        for topic, payload in [
            ("kitchen/fz1/temp", "-18.2"),
            ("kitchen/fz1/door", "open"),
            ("lab/a/b", json.dumps({"id": "x9", "t": 4.5, "at": 1_700_000_000})),
            ("senml", '[{"bn":"k:","bu":"Cel","n":"fz2","v":-20}]'),
            ("two", '{"pan": 82.5, "base": -4}'),
        ]:
            broker.publish(topic, payload)
        inbox.wait(lambda: len(inbox.samples) == 5)
        assert [(s.channel, s.value, s.taken_at) for s in inbox.samples] == [
            ("fz1", -18.2, None),
            ("x9", 4.5, 1_700_000_000_000),
            ("k:fz2", -20.0, None),
            ("pan", 82.5, None),
            ("base", -4.0, None),
        ]
        assert all(not s.retained and s.source == "cold" for s in inbox.samples)


def test_the_first_fitting_filter_reads_the_message(broker, inbox):
    topics = (
        TopicSettings(filter="k/odd", channel="odd"),
        TopicSettings(filter="k/#", channel_level=2),
    )
    with connected(broker, inbox, topics=topics):
        broker.publish("k/even", "1")
        broker.publish("k/odd", "2")
        inbox.wait(lambda: len(inbox.samples) >= 2)
        time.sleep(0.1)
        assert {(s.channel, s.value) for s in inbox.samples} == {("even", 1.0), ("odd", 2.0)}


def test_a_bad_payload_is_handed_over_with_its_receipt(broker, inbox):
    with connected(broker, inbox):
        broker.publish("kitchen/fz1/temp", b"\xff\x00\x01")
        broker.publish("kitchen/fz1/temp", "warm")
        inbox.wait(lambda: len(inbox.deliveries) == 2)
        assert [r.why for r in inbox.rejected] == [
            "these bytes are not text (UTF-8)",
            '"warm" is text, not a number',
        ]
        assert all(d.receipt is not None for d in inbox.deliveries)
        settle(inbox)
    again = KeepingInbox()
    with connected(broker, again):
        time.sleep(0.2)
    assert again.deliveries == []


@pytest.mark.parametrize("how", ["unsettled", "settled"])
def test_what_was_not_settled_comes_again_after_a_death(broker, inbox, how):
    # The connection is cut as a kill would: no goodbye, nothing acknowledged after it.
    intake = intake_for(broker, inbox)
    with running(intake):
        inbox.wait_health(Health.NORMAL)
        for number in range(5):
            broker.publish("kitchen/fz1/temp", str(number))
        inbox.wait(lambda: len(inbox.deliveries) == 5)
        if how == "settled":
            settle(inbox)
            time.sleep(0.2)
        intake._connection._client.socket().shutdown(2)
        inbox.wait_health(Health.FAILURE, "lost")
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)
        if how == "settled":
            time.sleep(0.2)
            assert len(inbox.deliveries) == 5
            return
        inbox.wait(lambda: len(inbox.deliveries) == 10)
        first, second = inbox.deliveries[:5], inbox.deliveries[5:]
        assert [d.token for d in first] == [d.token for d in second]
        assert [d.again for d in first] == [False] * 5
        assert [d.again for d in second] == [True] * 5


def test_a_receipt_of_an_earlier_connection_acknowledges_nothing(broker, inbox):
    intake = intake_for(broker, inbox)
    with running(intake):
        inbox.wait_health(Health.NORMAL)
        broker.publish("kitchen/fz1/temp", "1")
        inbox.wait(lambda: len(inbox.deliveries) == 1)
        intake._connection._client.socket().shutdown(2)
        inbox.wait(lambda: len(inbox.deliveries) == 2)
        inbox.deliveries[0].receipt.settle()
        time.sleep(0.2)
    with connected(broker, inbox):
        inbox.wait(lambda: len(inbox.deliveries) == 3)
        assert inbox.deliveries[2].again
        inbox.deliveries[2].receipt.settle()
        time.sleep(0.2)
    with connected(broker, inbox):
        time.sleep(0.3)
        assert len(inbox.deliveries) == 3


def test_settling_from_many_threads(broker, inbox):
    with connected(broker, inbox):
        broker.publish_all([("kitchen/fz1/temp", str(n), 1, False) for n in range(300)])
        inbox.wait(lambda: len(inbox.deliveries) == 300)
        parts = [
            threading.Thread(target=lambda n=n: [d.receipt.settle() for d in inbox.deliveries[n::4]])
            for n in range(4)
        ]
        for part in parts:
            part.start()
        for part in parts:
            part.join()
        time.sleep(0.3)
    again = KeepingInbox()
    with connected(broker, again):
        time.sleep(0.3)
    assert again.deliveries == []


def test_messages_while_away_are_kept_by_the_broker(tmp_path, inbox):
    with Broker(tmp_path) as broker:
        with connected(broker, inbox):
            pass
        broker.publish("kitchen/fz1/temp", "7")
        broker.restart(kill=True)
        with connected(broker, inbox):
            inbox.wait(lambda: inbox.values == [7.0])
            settle(inbox)


def test_retained_messages_are_marked_and_not_repeated_on_reconnect(broker, inbox):
    broker.publish("kitchen/fz1/temp", "-18", retain=True)
    intake = intake_for(broker, inbox)
    with running(intake):
        inbox.wait(lambda: inbox.values == [-18.0])
        assert inbox.samples[0].retained
        settle(inbox)
        time.sleep(0.1)
        intake._connection._client.socket().shutdown(2)
        inbox.wait_health(Health.FAILURE, "lost")
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)
        broker.publish("kitchen/fz1/temp", "-17")
        inbox.wait(lambda: len(inbox.values) == 2)
        assert inbox.values == [-18.0, -17.0]
        assert not inbox.samples[1].retained


def test_qos_0_needs_no_receipt(broker, inbox):
    with connected(broker, inbox, topics=(TopicSettings(filter="q/#", channel="q", qos=0),)):
        broker.publish("q/1", "5")
        inbox.wait(lambda: inbox.values == [5.0])
        (delivery,) = inbox.deliveries
        assert (delivery.receipt, delivery.token, delivery.again) == (None, None, False)


def test_status_is_online_then_offline_and_the_will_speaks_for_the_dead(broker, inbox):
    with Watcher(broker, "rimekeeper/#") as watcher:
        with connected(broker, inbox):
            watcher.wait(lambda heard: heard == [(STATUS, b"online", False)])
        watcher.wait(lambda heard: heard[-1] == (STATUS, b"offline", False))
        assert len(watcher.heard) == 2
        intake = intake_for(broker, inbox, keepalive="1 s")
        with running(intake):
            watcher.wait(lambda heard: len(heard) == 3)
            intake._stop.set()  # the thread below must not come back and say "online"
            intake._connection._client.socket().shutdown(2)
            watcher.wait(lambda heard: heard[-1] == (STATUS, b"offline", False))
    with Watcher(broker, STATUS) as late:
        late.wait(lambda heard: heard == [(STATUS, b"offline", True)])


def test_a_refused_password(tmp_path, inbox):
    with Broker(tmp_path, users={"ada": "cone"}, persist=False) as broker:
        with running(intake_for(broker, inbox, user="ada", password="wafer")):
            why = inbox.wait_health(Health.FAILURE)
            assert why == (
                f'broker 127.0.0.1:{broker.port} refuses user "ada" (Not authorized); check user and password in [mqtt.cold]'
            )
        with running(intake_for(broker, inbox)):
            inbox.wait_health(Health.FAILURE, "refuses a client without user")


def test_a_password_file_is_read_anew_at_each_attempt(tmp_path, inbox):
    secret = tmp_path / "secret"
    broker = Broker(tmp_path, users={"ada": "cone"}, persist=False)
    with broker, running(intake_for(broker, inbox, user="ada", password_file=str(secret))):
        assert f'password_file "{secret}" can\'t be read' in inbox.wait_health(Health.FAILURE)
        secret.write_text("wafer\n")
        inbox.wait_health(Health.FAILURE, "refuses user")
        secret.write_text("cone\n")
        inbox.wait_health(Health.NORMAL)


def test_tls(tmp_path, inbox):
    with Broker(tmp_path, users={"ada": "cone"}, tls=True, persist=False) as broker:
        with connected(broker, inbox, user="ada", password="cone", tls=True, ca_file=str(broker.ca_file)):
            broker.publish_all([("kitchen/fz1/temp", str(n), 1, False) for n in range(200)])
            inbox.wait(lambda: len(inbox.samples) == 200)
            settle(inbox)
        with running(intake_for(broker, inbox, tls=True)):
            inbox.wait_health(Health.FAILURE, "shows a certificate that is not trusted")
        with running(intake_for(broker, inbox, tls=True, ca_file=str(tmp_path / "none"))):
            inbox.wait_health(Health.FAILURE, "[mqtt.cold]: the certificates can't be used")
        with running(intake_for(broker, inbox)):
            inbox.wait_health(Health.FAILURE, f"broker 127.0.0.1:{broker.port}:")


def test_broker_down_at_start_then_up(tmp_path, inbox):
    broker = Broker(tmp_path, persist=False)
    with running(intake_for(broker, inbox)):
        why = inbox.wait_health(Health.FAILURE)
        assert why.startswith(f"broker 127.0.0.1:{broker.port} can't be reached: ")
        with broker:
            inbox.wait_health(Health.NORMAL)
            broker.publish("kitchen/fz1/temp", "1")
            inbox.wait(lambda: inbox.values == [1.0])


def test_broker_restarted_without_its_memory(broker, inbox):
    with connected(broker, inbox):
        broker.restart(kill=True)
        inbox.wait_health(Health.FAILURE, "trying again")
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)
        broker.publish("kitchen/fz1/temp", "3")
        inbox.wait(lambda: inbox.values == [3.0])


def test_a_broker_that_hangs_is_noticed(broker, inbox):
    with connected(broker, inbox, keepalive="1 s"):
        broker.freeze()
        inbox.wait_health(Health.FAILURE)
        broker.thaw()
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)


def test_an_address_that_speaks_something_else(inbox, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        broker = Broker(tmp_path, port=server.getsockname()[1])
        with running(intake_for(broker, inbox)):
            for _ in range(4):
                peer, _ = server.accept()
                peer.recv(100)
                peer.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")
                peer.close()
            inbox.wait_health(Health.FAILURE)


def test_a_full_inbox_holds_messages_and_loses_none(broker, inbox):
    with connected(broker, inbox):
        inbox.full = True
        broker.publish_all([("kitchen/fz1/temp", str(n), 1, False) for n in range(100)])
        inbox.wait(lambda: inbox.refusals > 2)
        assert inbox.deliveries == []
        inbox.full = False
        inbox.wait(lambda: len(inbox.deliveries) == 100)
        assert inbox.values == [float(n) for n in range(100)]


def test_an_unfit_filter_left_in_the_session_is_said_and_quarantined(broker, inbox):
    with connected(broker, inbox):
        pass
    with connected(broker, inbox, topics=(TopicSettings(filter="other/#", channel="o"),)):
        broker.publish("kitchen/fz1/temp", "3")
        inbox.wait(lambda: inbox.rejected)
        assert inbox.rejected[0].why == (
            'no filter of [mqtt.cold] reads "kitchen/fz1/temp"; an earlier configuration asked for it'
        )
        settle(inbox)


def test_publishing_waits_for_the_broker_and_knows_what_became_of_it(tmp_path, inbox):
    acl = "user ada\ntopic readwrite kitchen/#\ntopic readwrite rimekeeper/#"
    with Broker(tmp_path, users={"ada": "cone"}, acl=acl, persist=False) as broker:
        intake = intake_for(broker, inbox, user="ada", password="cone")
        assert intake.publish("kitchen/say", "early") is True
        assert intake.publish("kitchen/say", "nobody there", wait=0.1) is False
        with Watcher(broker, "kitchen/#") as watcher, running(intake):
            inbox.wait_health(Health.NORMAL)
            assert intake.publish("kitchen/say", "take the pan off", wait=3.0) is True
            assert intake.publish("kitchen/say", b"\x01", qos=0, retain=True, wait=3.0) is True
            watcher.wait(lambda heard: len(heard) == 3)
            assert [payload for _, payload, _ in watcher.heard] == [b"early", b"take the pan off", b"\x01"]
            assert intake.publish("elsewhere", "x", wait=3.0) is False
            assert 'does not let us write on "elsewhere"' in inbox.wait_health(Health.MAINTENANCE)
            assert intake.publish("no/+/wildcards", "x", wait=3.0) is False


def test_the_outgoing_queue_is_bounded(broker, inbox):
    intake = intake_for(broker, inbox)
    assert [intake.publish("a", "x") for _ in range(501)].count(False) == 1


def test_queued_messages_survive_a_broken_connection(broker, inbox):
    with Watcher(broker, "house/#") as watcher, connected(broker, inbox) as intake:
        broker.freeze()
        for number in range(30):
            intake.publish("house/say", str(number))
        time.sleep(0.2)
        intake._connection._client.socket().shutdown(2)
        inbox.wait_health(Health.FAILURE)
        broker.thaw()
        watcher.wait(
            lambda heard: {payload for _, payload, _ in heard} == {str(n).encode() for n in range(30)}
        )


def test_buttons_are_acknowledged_after_they_were_acted_on(broker, inbox):
    heard, go = [], threading.Event()

    def press(message):
        heard.append(message)
        assert go.wait(5)

    broker.publish("button/ack", "old", retain=True)
    intake = intake_for(broker, inbox)
    intake.listen("button/#", press)
    with running(intake):
        inbox.wait_health(Health.NORMAL)
        inbox.wait(lambda: inbox.rejected)
        assert "an old press" in inbox.rejected[0].why
        settle(inbox)
        broker.publish("button/ack", "now")
        inbox.wait(lambda: heard)
        broker.publish("kitchen/fz1/temp", "1")
        inbox.wait(lambda: inbox.values == [1.0])  # readings go on while the button is slow
        settle(inbox)
        time.sleep(0.1)
        intake._connection._client.socket().shutdown(2)  # dies before the press was acted on
        inbox.wait_health(Health.FAILURE, "lost")
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)
        go.set()
        inbox.wait(lambda: len(heard) == 2)
        assert (heard[0].payload, heard[0].again) == (b"now", False)
        assert heard[1].again
        assert heard[1].token == heard[0].token
    with running(intake):
        time.sleep(0.3)
    assert len(heard) == 2


def test_a_button_whose_action_fails_is_said_and_does_not_come_again(broker, inbox):
    def press(message):
        raise RuntimeError("no batch is running")

    with connected(broker, inbox) as intake:
        intake.listen("button/advance", press)
        time.sleep(0.2)
        broker.publish("button/advance", "x")
        inbox.wait(lambda: inbox.rejected)
        assert (
            inbox.rejected[0].why == 'button topic "button/advance": acting on it failed: no batch is running'
        )


def test_more_presses_than_can_wait_are_refused_and_the_rest_is_left_for_later():
    failed, acted, settled, go = [], [], [], threading.Event()

    class Receipt:
        def __init__(self, number):
            self.number = number

        def settle(self):
            settled.append(self.number)

    def act(heard):
        acted.append(heard.payload)
        go.wait(5)

    buttons = Buttons("cold", lambda heard, why: failed.append((heard.payload, why)))
    buttons.start()
    for number in range(102):
        buttons.press(act, Heard("b", b"%d" % number), Receipt(number))
        while not acted:
            time.sleep(0.001)
    assert failed == [(b"101", "more than 100 messages wait to be acted on")]
    threading.Timer(0.1, go.set).start()
    buttons.stop(5)
    # The press under way is finished; those that waited were neither acted on nor acknowledged: they come again.
    assert acted == [b"0"]
    assert settled == [101, 0]


class Doorman:
    """Stands before a broker and hangs up on MQTT 5 without a word, as some old brokers do."""

    def __init__(self, broker):
        self._broker = broker
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve)

    def _serve(self):
        while True:
            try:
                peer, _ = self._server.accept()
            except OSError:
                return
            with peer:
                peer.settimeout(2)
                first = peer.recv(4096)
                if b"MQTT\x05" not in first and first:
                    self._relay(peer, first)

    def _relay(self, peer, first):
        with socket.create_connection(("127.0.0.1", self._broker.port)) as inner:
            inner.sendall(first)
            while True:
                for ready in select.select([peer, inner], [], [])[0]:
                    data = ready.recv(65_536)
                    if not data:
                        return
                    (inner if ready is peer else peer).sendall(data)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *fault):
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join()


def test_falls_back_to_mqtt_3_where_the_broker_hangs_up_and_keeps_the_session(broker, inbox):
    with Doorman(broker) as doorman:
        with running(intake_for(doorman, inbox)):
            note = "connected with MQTT 3.1.1, because the broker hangs up on MQTT 5"
            assert inbox.wait_health(Health.NORMAL) == note
        broker.publish("kitchen/fz1/temp", "7")
        again = KeepingInbox()
        with running(intake_for(doorman, again)):
            again.wait(lambda: again.values == [7.0])
            settle(again)
            time.sleep(0.1)


def test_settings_that_can_not_be_meant(broker, inbox):
    with pytest.raises(ConfigError) as fault:
        intake_for(broker, inbox, topics=(TopicSettings(filter="a", value_path="v"),))
    assert str(fault.value).startswith('[mqtt.cold], topic 1 ("a"): payload = "number" has no paths')


def test_falls_back_to_mqtt_3_where_the_broker_knows_no_better(inbox):
    with OldBroker() as broker, running(intake_for(broker, inbox)):
        assert (
            inbox.wait_health(Health.NORMAL) == "connected with MQTT 3.1.1, because the broker refuses MQTT 5"
        )
        assert [r.health for r in inbox.reports] == [Health.NORMAL]
        broker.publish_all([("kitchen/fz1/temp", str(n), 1, False) for n in range(50)])
        inbox.wait(lambda: len(inbox.samples) == 50)
        settle(inbox)
        time.sleep(0.2)


def test_the_broker_sends_no_more_than_the_bound_ahead_of_what_is_settled(broker, inbox):
    with connected(broker, inbox):
        broker.publish_all([("kitchen/fz1/temp", str(n), 1, False) for n in range(2_100)])
        inbox.wait(lambda: len(inbox.deliveries) == 2_000)
        time.sleep(0.2)
        assert len(inbox.deliveries) == 2_000
        settle(inbox)
        inbox.wait(lambda: len(inbox.deliveries) == 2_100)
        assert inbox.values == [float(n) for n in range(2_100)]


def test_connections_that_come_and_go_leave_nothing_open(broker, inbox):
    def descriptors():
        return len(os.listdir("/proc/self/fd"))

    with connected(broker, inbox):
        pass
    before = descriptors()
    for _ in range(5):
        again = KeepingInbox()
        with connected(broker, again):
            pass
    with running(intake_for(broker, inbox, port=1)):
        time.sleep(0.5)
    assert descriptors() == before
