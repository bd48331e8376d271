"""The test broker itself: what it promises to keep over a sudden death."""

import ssl
import time

import pytest
from paho.mqtt import client as paho

from support.mosquitto import Broker


def first_retained(broker: Broker, topic: str) -> bytes | None:
    got = []
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    if broker.tls:
        client.tls_set(str(broker.ca_file), tls_version=ssl.PROTOCOL_TLS_CLIENT)
    if broker.users:
        client.username_pw_set(*next(iter(broker.users.items())))
    client.on_message = lambda c, u, m: got.append(m.payload)
    client.on_connect = lambda c, *rest: c.subscribe(topic, 1)
    client.connect(broker.host, broker.port)
    end = time.monotonic() + 3
    while not got and time.monotonic() < end:
        client.loop(0.05)
    client.disconnect()
    client.loop(0.05)
    return got[0] if got else None


@pytest.mark.parametrize("tls", [False, True])
def test_keeps_retained_messages_over_a_kill(tmp_path, tls):
    with Broker(
        tmp_path, users={"ada": "cone"}, acl="user ada\ntopic readwrite kitchen/#", tls=tls
    ) as broker:
        broker.publish("kitchen/walk-in", "-18.2", retain=True)
        broker.restart(kill=True)
        assert first_retained(broker, "kitchen/walk-in") == b"-18.2"


def test_access_list_holds(tmp_path):
    with Broker(tmp_path, users={"ada": "cone"}, acl="user ada\ntopic readwrite kitchen/#") as broker:
        broker.publish("elsewhere/x", "1", retain=True)
        broker.publish("kitchen/y", "2", retain=True)
        assert first_retained(broker, "#") == b"2"
