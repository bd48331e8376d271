"""The daemon as a cook meets it: one process, real wires, commands from outside."""

from __future__ import annotations

import csv
import io
import threading
import time

from paho.mqtt import client as paho

from support.daemon import Daemon, command, write


class Listener:
    """Hears a topic from before the test goes on."""

    def __init__(self, port, topic):
        self.heard, self._ready = [], threading.Event()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._client.username_pw_set("probes", "whisk")
        self._client.on_connect = lambda client, *_: client.subscribe(topic, qos=1)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = lambda _client, _data, message: self.heard.append(message.payload.decode())
        self._client.connect("127.0.0.1", port)

    def __enter__(self):
        self._client.loop_start()
        assert self._ready.wait(5)
        return self

    def __exit__(self, *_):
        self._client.disconnect()
        self._client.loop_stop()


def lane(page):
    return page["batches"][0]["stages"][0] if page["batches"] else {"name": ""}


def told(kitchen, text):
    plain = (mail.get_body(("plain",)).get_content() for mail in kitchen.mail.mails)
    return any(text in " ".join(body.split()) for body in plain)


def test_a_batch_from_cook_to_chill_and_a_freezer_that_warms(kitchen):
    with Daemon(kitchen.port, *kitchen.run) as daemon:
        daemon.until("the first reading of the pan", lambda p: any(q["fresh"] for q in p["probes"]))
        started = command(
            "batch", "start", "quick-custard", "-b", "pan=pan", "--lot", "Q1", "--data", kitchen.data
        )
        assert started.returncode == 0, started.stderr
        again = command("batch", "start", "quick-custard", "-b", "pan=pan", "--data", kitchen.data)
        assert again.returncode == 1
        assert "quick-custard-1" in again.stderr

        for step in range(40):
            kitchen.instrument.celsius = 70.0 + step * 0.3
            time.sleep(0.26)
        # 82 °C, and the 1 K that is counted against a probe without a calibration.
        kitchen.instrument.celsius = 83.2
        page = daemon.until("the chill", lambda p: lane(p)["name"] == "Chill")
        kinds = [prompt["kind"] for prompt in page["prompts"]]
        assert "heads-up" in kinds
        assert kinds.index("heads-up") < kinds.index("target reached")

        kitchen.broker.publish("kitchen/walkin/celsius", "-18.0", user="probes", qos=1)
        kitchen.broker.publish("kitchen/walkin/celsius", "-9.5", user="probes", qos=1)
        kitchen.broker.publish("kitchen/walkin/celsius", "-9.4", user="probes", qos=1)
        page = daemon.until("the freezer's alarm", lambda p: p["alarms"], timeout=40)
        assert page["alarms"][0]["where"] == "Walk-in freezer"
        daemon.until("the mail to Ada", lambda _: told(kitchen, "Close the door."))
        daemon.until("the call to Bo", lambda _: kitchen.hook.posts, timeout=40)

        acknowledged = command("alarms", "ack", "--who", "Ada", "--data", kitchen.data)
        assert acknowledged.returncode == 0, acknowledged.stderr
        page = daemon.get("/api/now")
        assert [alarm["phase"] for alarm in page["alarms"]] == ["acknowledged"]
        assert page["alarms"][0]["acknowledged_by"] == "Ada"
        assert daemon.get("/healthz")["ok"] is True
        assert daemon.end() == 0, daemon.said

    exported = command("export", "--kitchen", kitchen.file, "--data", kitchen.data, "--probe", "pan")
    rows = list(csv.DictReader(io.StringIO(exported.stdout)))
    stages = [row["stage"] for row in rows]
    assert stages[0] == ""
    assert "cook" in stages
    assert stages[-1] == "chill"
    assert stages == sorted(stages, key=["", "cook", "chill"].index)


def test_a_restart_goes_on_where_it_was(kitchen):
    kitchen.instrument.celsius = 60.0
    with Daemon(kitchen.port, *kitchen.run) as daemon:
        daemon.until("the pan", lambda p: any(q["fresh"] for q in p["probes"]))
        assert (
            command("batch", "start", "quick-custard", "-b", "pan=pan", "--data", kitchen.data).returncode
            == 0
        )
        daemon.end()
    with Daemon(kitchen.port, *kitchen.run) as daemon:
        page = daemon.until("the batch", lambda p: lane(p)["name"] == "Cook" and lane(p)["fresh"])
        assert page["batches"][0]["id"] == "quick-custard-1"


def test_a_press_of_the_button_is_answered_aloud(kitchen):
    kitchen.instrument.celsius = 60.0
    with Daemon(kitchen.port, *kitchen.run) as daemon, Listener(kitchen.broker.port, "kitchen/say") as said:
        daemon.until("the pan", lambda p: any(q["fresh"] for q in p["probes"]))
        command("batch", "start", "quick-custard", "-b", "pan=pan", "--data", kitchen.data)
        kitchen.broker.publish("kitchen/button/next", "", user="probes", qos=1)
        # The cook stage is a critical limit that is not met yet: a button can't give the reason that needs.
        daemon.until("the answer", lambda _: any("critical limit" in text for text in said.heard))
        assert lane(daemon.get("/api/now"))["name"] == "Cook"


class TestTrouble:
    def test_port_in_use(self, kitchen):
        with Daemon(kitchen.port, *kitchen.run) as daemon:
            daemon.until("the pages", lambda p: True)
            second = command(*kitchen.run[:-1], kitchen.data.parent / "other")
            assert second.returncode == 4
            assert f"port {kitchen.port} is in use" in second.stderr
            assert "Traceback" not in second.stderr

    def test_two_daemons_on_one_folder(self, kitchen):
        with Daemon(kitchen.port, *kitchen.run) as daemon:
            daemon.until("the pages", lambda p: True)
            second = command(*kitchen.run, "--port", kitchen.port + 1)
            assert second.returncode == 5
            assert str(daemon.process.pid) in second.stderr

    def test_a_bad_kitchen_file(self, tmp_path):
        file = write(tmp_path / "kitchen.toml", '[kitchen]\nname = "K"\nzone = "Nowhere/Land"\nunti = "C"\n')
        found = command("run", "--kitchen", file, "--data", tmp_path / "data")
        assert found.returncode == 3
        assert "line 3" in found.stderr
        assert "line 4" in found.stderr
        checked = command("check", file)
        assert checked.returncode == 3
        assert "Nowhere/Land" in checked.stderr

    def test_no_kitchen_file(self, tmp_path):
        found = command("run", "--kitchen", tmp_path / "none.toml")
        assert found.returncode == 3
        assert "none.toml" in found.stderr
        assert "Traceback" not in found.stderr

    def test_no_daemon(self, tmp_path):
        found = command("batch", "list", "--data", tmp_path)
        assert found.returncode == 4
        assert "No Rimekeeper is running" in found.stderr

    def test_help_names_the_exit_codes(self):
        assert "Exit codes: 0 done" in command("--help").stdout.replace("\n  ", " ")
