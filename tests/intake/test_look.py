"""Looking at ports and brokers before anything is configured."""

import os
import threading
import time
import tty

from rimekeeper.config.edges import MqttSettings, SerialSettings, TopicSettings
from rimekeeper.core.model import Health, Scale
from rimekeeper.intake.look import look
from support.inbox import WallClock
from support.mosquitto import Broker
from support.old_broker import OldBroker


def later(seconds, act):
    timer = threading.Timer(seconds, act)
    timer.start()
    return timer


def test_every_number_of_an_unknown_instrument(tmp_path):
    master, slave = os.openpty()
    tty.setraw(master)
    talk = later(0.4, lambda: os.write(master, b"S1,72.5C,4\nS1,73.0C,5\nboot\n"))
    seen = look([SerialSettings(name="stove", port=os.ttyname(slave))], [], 0.8, WallClock())
    talk.join()
    os.close(master)
    os.close(slave)
    assert [(s.source, s.place, s.value, s.scale, s.text, s.count) for s in seen.seen] == [
        ("stove", "", None, None, "boot", 1),
        ("stove", "2", 73.0, Scale.CELSIUS, "S1,73.0C,5", 2),
        ("stove", "3", 5.0, None, "S1,73.0C,5", 2),
    ]
    assert seen.states["stove"].health is Health.NORMAL
    assert all(port.device.startswith("/dev/") for port in seen.ports)


def test_every_topic_of_a_broker_and_no_session_left(tmp_path):
    with Broker(tmp_path, persist=False) as broker:
        broker.publish("kitchen/fz1/temp", "-18.2", retain=True)
        talk = later(0.4, lambda: broker.publish("lab/x", b"\x00\xff"))
        seen = look([], [MqttSettings(name="cold", host=broker.host, port=broker.port)], 0.9, WallClock())
        talk.join()
        assert [(s.place, s.text, s.value, s.why, s.retained) for s in seen.seen] == [
            ("kitchen/fz1/temp", "-18.2", None, "", True),
            ("lab/x", "\\x00ÿ", None, "", False),
        ]
        assert seen.states["cold"].health is Health.NORMAL
        guests = [line for line in broker.log.splitlines() if " as rimekeeper-look-" in line]
        assert len(guests) == 2
        assert all("(p5, c1," in line for line in guests)  # c1: a clean start, nothing is kept


def test_configured_topics_are_decoded(tmp_path):
    topics = (TopicSettings(filter="kitchen/+/temp", channel_level=2),)
    with OldBroker() as broker:
        settings = MqttSettings(name="cold", host=broker.host, port=broker.port, topics=topics)
        talk = later(
            0.5,
            lambda: broker.publish_all(
                [("kitchen/fz1/temp", "-18.2", 1, False), ("kitchen/fz2/temp", "warm", 1, False)]
            ),
        )
        seen = look([], [settings], 1.2, WallClock())
        talk.join()
    assert [(s.place, s.text, s.value, s.why) for s in seen.seen] == [
        ("kitchen/fz1/temp -> fz1", "-18.2", -18.2, ""),
        ("kitchen/fz2/temp", "warm", None, '"warm" is text, not a number'),
    ]


def test_trouble_is_told_and_nothing_raised(tmp_path):
    with Broker(tmp_path, users={"ada": "cone"}, persist=False) as broker:
        began = time.monotonic()
        seen = look(
            [
                SerialSettings(name="stove", port="/dev/not-there"),
                SerialSettings(name="odd", port="/dev/x", decoder="pattern", pattern="x"),
            ],
            [
                MqttSettings(name="cold", host=broker.host, port=broker.port),
                MqttSettings(name="off", host="127.0.0.1", port=1),
                MqttSettings(
                    name="bad", host="127.0.0.1", topics=(TopicSettings(filter="a", value_path="v"),)
                ),
            ],
            0.5,
            WallClock(),
        )
        assert time.monotonic() - began < 2
    assert seen.seen == []
    whys = {name: state.why for name, state in seen.states.items()}
    assert '"/dev/not-there" is not there. Ports seen now' in whys["stove"]
    assert "no named group" in whys["odd"]
    assert whys["cold"] == f"broker 127.0.0.1:{broker.port}: Not authorized"
    assert "can't be reached" in whys["off"]
    assert 'payload = "number" has no paths' in whys["bad"]
    assert all(state.health is Health.FAILURE for state in seen.states.values())
