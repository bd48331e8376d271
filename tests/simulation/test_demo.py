"""The demo's folder and wires: real intakes hear every probe that the kitchen file names."""

import threading
import time

import pytest

from rimekeeper.config.loading import check, load
from rimekeeper.core.commit import Commit
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.model import Instant
from rimekeeper.core.state import EngineState
from rimekeeper.intake.mqtt import MqttIntake
from rimekeeper.intake.serial_port import SerialIntake
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.simulation.demo import MARK, prepare
from rimekeeper.simulation.following import Follower
from rimekeeper.simulation.history import Opening
from rimekeeper.simulation.playing import Player
from rimekeeper.simulation.workshop import PAN
from simulation.kitchens import demo_plan, scene
from support.inbox import KeepingInbox


def test_its_files_are_in_order(tmp_path):
    kitchen = prepare(tmp_path / "demo", 8321)
    try:
        problems = [p for p in check(kitchen.kitchen_file) if p.severity == "error"]
        assert problems == []
        loaded = load(kitchen.kitchen_file, leave_out_bad_sheets=False)
        assert loaded.data_folder == kitchen.data_folder
        assert loaded.web.port == 8321
        assert {str(s.port) for s in loaded.serial.values()} == {
            str(tmp_path / "demo" / "ports" / name) for name in ("stove", "bench")
        }
    finally:
        kitchen.stop()


def test_it_leaves_nothing_open_and_nothing_outside(tmp_path):
    threads = set(threading.enumerate())
    kitchen = prepare(tmp_path / "demo", 8321)
    kitchen.start()
    kitchen.stop()
    kitchen.stop()
    assert set(threading.enumerate()) <= threads
    assert [path.name for path in tmp_path.iterdir()] == ["demo"]
    assert sorted(p.name for p in (tmp_path / "demo").iterdir()) == ["kitchen.toml", "ports", "sheets", MARK]
    assert list((tmp_path / "demo" / "ports").iterdir()) == []


def test_an_earlier_demo_is_cleared_away_and_nothing_else_is(tmp_path):
    folder = tmp_path / "demo"
    prepare(folder, 8321).stop()
    (folder / "store").mkdir()
    (folder / "store" / "old").write_text("x")
    prepare(folder, 8322).stop()
    assert not (folder / "store").exists()
    other = tmp_path / "mine"
    other.mkdir()
    (other / "recipes.txt").write_text("plum")
    with pytest.raises(RefusedError, match="is not empty and was not made by the demo"):
        prepare(other, 8321)
    assert (other / "recipes.txt").read_text() == "plum"
    assert [path.name for path in other.iterdir()] == ["recipes.txt"]


def test_two_demos_cannot_share_a_folder(tmp_path):
    kitchen = prepare(tmp_path / "demo", 8321)
    try:
        with pytest.raises(RefusedError, match="A demo runs in"):
            prepare(tmp_path / "demo", 8322)
        assert "8321" in kitchen.kitchen_file.read_text()
    finally:
        kitchen.stop()
    prepare(tmp_path / "demo", 8322).stop()


def test_history_and_scene_need_an_opening(tmp_path):
    kitchen = prepare(tmp_path / "demo", 8321)
    try:
        with pytest.raises(RefusedError, match="no opening"):
            kitchen.history(demo_plan())
    finally:
        kitchen.stop()


class Seen:
    """What the crew sees."""

    state = EngineState()


def test_real_intakes_hear_every_probe(tmp_path, monkeypatch):
    plan = demo_plan()
    live = scene()
    kitchen = prepare(tmp_path / "demo", 8321)
    monkeypatch.setattr(
        kitchen,
        "_opening",
        Opening(
            Commit(), EngineState(), live.workshop, Follower(plan, live.workshop), live._crew, Instant(0)
        ),
    )
    loaded = load(kitchen.kitchen_file)
    inbox, clock = KeepingInbox(), SystemClock()
    given = []
    try:
        kitchen.start()
        intakes = [SerialIntake(s, inbox, clock) for s in loaded.serial.values()]
        intakes += [MqttIntake(s, inbox, clock, kitchen=plan.name) for s in loaded.mqtt.values()]
        for intake in intakes:
            intake.start()
        time.sleep(1.5)
        kitchen.follow(plan, Seen, lambda command, actor: given.append((command, actor)))
        wanted = {(probe.source, probe.channel) for probe in plan.probes.values()}
        inbox.wait(lambda: wanted <= {(s.source, s.channel) for s in inbox.samples}, 25.0)
        for intake in intakes:
            intake.stop()
    finally:
        kitchen.stop()
    assert {(s.source, s.channel) for s in inbox.samples} == wanted
    assert inbox.rejected == []
    stamped = [s for s in inbox.samples if s.source == "house"]
    assert all(s.taken_at is not None and abs(s.taken_at - s.arrived_at) < 5_000 for s in stamped)


def test_a_fault_of_the_crew_is_logged_and_the_scene_goes_on(caplog):
    live = scene()
    asked = threading.Semaphore(0)

    def look():
        asked.release()
        raise ValueError("a fault of ours")

    class Mute:
        def say(self, *_):
            pass

        say_pack = say

    player = Player(live, Mute(), Mute())
    player.start(look, lambda *_: None)
    assert asked.acquire(timeout=5)
    assert asked.acquire(timeout=5)
    player.stop()
    assert "a fault in the simulated crew" in caplog.text
    assert live.workshop.truth(PAN) == pytest.approx(21.0, abs=1.0)
