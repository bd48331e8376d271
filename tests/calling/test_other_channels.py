"""Call-outs by program, by MQTT topic and on the pages, with real programs and a real broker."""

import json
import sys
import threading
import time
from pathlib import Path

import pytest
from paho.mqtt import subscribe
from paho.mqtt.client import MQTTv311

from calling.calls import message
from rimekeeper.calling import KINDS, build_channels
from rimekeeper.calling.mqtt import payload_of
from rimekeeper.calling.wording import spoken
from rimekeeper.config.edges import MqttSettings
from rimekeeper.config.kitchen import ChannelSettings
from rimekeeper.core.alarms.call import Attempt, Verdict
from rimekeeper.core.errors import ConfigError
from rimekeeper.intake.mqtt import MqttIntake
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.runtime.inbox import Inbox
from support.mosquitto import Broker


def program(*argv):
    return build_channels({"speaker": ChannelSettings(command=argv)}, {})["speaker"]


WRITE = "import sys; open(sys.argv[1], 'w').write(repr(sys.argv[2:]) + sys.stdin.read())"


def test_a_program_gets_the_text_as_argument_and_on_its_input(tmp_path):
    out = tmp_path / "said"
    to = program(sys.executable, "-c", WRITE, str(out), "{text}", "--{title}", "{link}", "{other}")
    assert to.attempt(message(), 20) == Attempt(Verdict.DELIVERED)
    text = spoken(message())
    assert out.read_text() == (repr([text, f"--{message().title}", message().link, "{other}"]) + text + "\n")


def test_no_shell_reads_the_text(tmp_path):
    out, bait = tmp_path / "said", tmp_path / "bait"
    to = program(sys.executable, "-c", WRITE, str(out), "{text}")
    assert to.attempt(message(where=f"$(touch {bait}); `touch {bait}`\0"), 20).verdict is Verdict.DELIVERED
    assert not bait.exists()
    assert "touch" in out.read_text()


def test_a_program_that_fails_says_why():
    to = program(sys.executable, "-c", "import sys; sys.exit('the speaker is off')")
    assert to.attempt(message(), 20) == Attempt(
        Verdict.RETRY, f'The program "{sys.executable}" ended with code 1: the speaker is off.'
    )


def test_a_program_that_does_not_read_its_input_is_no_trouble():
    assert (
        program(sys.executable, "-c", "").attempt(message(action="x" * 200_000), 20).verdict
        is Verdict.DELIVERED
    )


def test_a_program_that_hangs_is_ended_with_all_it_started(tmp_path):
    pid = tmp_path / "pid"
    hang = (
        "import subprocess, sys, time; p = subprocess.Popen(['sleep', '60']); "
        f"open({str(pid)!r}, 'w').write(str(p.pid)); time.sleep(60)"
    )
    began = time.monotonic()
    failed = program(sys.executable, "-c", hang).attempt(message(), 2)
    assert time.monotonic() - began < 8
    assert failed.verdict is Verdict.RETRY
    assert failed.detail == f'The program "{sys.executable}" was not done after 2 s and was ended.'
    stat = Path(f"/proc/{pid.read_text()}/stat")
    end = time.monotonic() + 3
    while stat.exists() and stat.read_text().split()[2] != "Z" and time.monotonic() < end:
        time.sleep(0.02)
    assert not stat.exists() or stat.read_text().split()[2] == "Z"


def test_a_program_that_is_not_there_or_may_not_be_run(tmp_path):
    assert program("/nowhere/speak").attempt(message(), 1) == Attempt(
        Verdict.GIVE_UP, 'The program "/nowhere/speak" is not on this machine.'
    )
    assert program(str(tmp_path)).attempt(message(), 1) == Attempt(
        Verdict.GIVE_UP, f'The program "{tmp_path}" may not be run by this user.'
    )


def test_the_pages_show_every_alarm():
    to = build_channels({"pages": ChannelSettings(browser=True)}, {})["pages"]
    assert to.attempt(message(), 1).verdict is Verdict.DELIVERED


def test_the_payload_has_the_facts_for_programs():
    facts = json.loads(payload_of(message()))
    assert facts == {
        "call": "call-17",
        "kind": "raised",
        "priority": "high",
        "alarm": "station/walkin/ceiling",
        "raise": "alarm-9",
        "person": "ada",
        "where": "Walk-in freezer",
        "what": "too warm",
        "celsius": -11.34,
        "limit_celsius": -15.0,
        "since": "2026-11-25T02:06:00Z",
        "at": "2026-11-25T02:26:00Z",
        "action": "Close the door and look at the compressor.",
        "title": message().title,
        "text": message().body,
        "link": message().link,
    }


@pytest.fixture
def broker(tmp_path):
    with Broker(tmp_path) as running:
        yield running


@pytest.fixture
def siren(broker):
    house = MqttIntake(
        MqttSettings(name="house", host=broker.host, port=broker.port),
        Inbox(),
        SystemClock(),
        kitchen="Slipway",
    )
    house.start()
    try:
        yield build_channels(
            {"siren": ChannelSettings(mqtt="house", topic="kitchen/siren")}, {"house": house}
        )["siren"]
    finally:
        house.stop()


def test_a_siren_hears_it(broker, siren):
    heard = []

    def listen():
        heard.append(
            subscribe.simple(
                "kitchen/siren", hostname=broker.host, port=broker.port, protocol=MQTTv311, qos=1
            )
        )

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    end = time.monotonic() + 15
    while not heard and time.monotonic() < end:
        assert siren.attempt(message(), 10).verdict is Verdict.DELIVERED
        thread.join(0.3)
    assert json.loads(heard[0].payload)["call"] == "call-17"
    assert not heard[0].retain


def test_without_a_broker_it_is_tried_again(broker, siren):
    assert siren.attempt(message(), 10).verdict is Verdict.DELIVERED
    broker.stop()
    failed = siren.attempt(message(), 0.5)
    assert failed == Attempt(Verdict.RETRY, 'The broker did not take the message for "kitchen/siren".')
    broker.start()
    assert siren.attempt(message(), 15).verdict is Verdict.DELIVERED


def test_a_channel_of_an_unknown_broker_is_refused():
    with pytest.raises(ConfigError) as refused:
        build_channels({"siren": ChannelSettings(mqtt="gone", topic="x")}, {})
    assert str(refused.value) == "A channel publishes on [mqtt.gone], which is not there. Add that table."


def test_every_kind_of_the_kitchen_file_has_a_channel():
    kinds = {
        ChannelSettings(apprise="json://x").kind,
        ChannelSettings(apprise_file="x").kind,
        ChannelSettings(mqtt="x", topic="y").kind,
        ChannelSettings(browser=True).kind,
        ChannelSettings(command=("x",)).kind,
    }
    assert kinds == set(KINDS)
