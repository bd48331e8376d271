"""Real faults of the disk and the file: full, locked, read-only, taken, of a later version. Nothing is lost."""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import sqlite3
import subprocess
import sys
import textwrap
import time
from contextlib import closing

import pytest

from rimekeeper.core import engine as core_engine
from rimekeeper.core.errors import StoreBusyError, StoreFullError, StoreNewerError
from rimekeeper.core.model import ProbeId
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.runtime.logs import set_up_log
from support.parts import NOON, CountedReceipt, Daemon, delivery, kinds, sample


def turn_later(daemon, seconds=10):
    daemon.steady.at += seconds
    daemon.pipeline.turn()


def flood(daemon, count, receipts, start=0):
    for n in range(start, start + count):
        receipts.append(CountedReceipt())
        daemon.give(delivery(sample("pan", n / 10, NOON + n), receipt=receipts[-1], token=f"{n}:x"))


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if shutil.which("mount") is None or os.getuid() != 0:
        pytest.skip("mounting a small disk takes root; the page limit below tests the same refusal")
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(disk)], check=False).returncode:
        pytest.skip("this machine lets nobody mount a disk; the page limit below tests the same refusal")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def full_and_free_again(daemon, make_room):
    receipts = []
    settled_before = 0
    for group in range(400):
        flood(daemon, 200, receipts, start=200 * group)
        turn_later(daemon)
        if daemon.pipeline.glance().pulse.store_trouble:
            break
        settled_before = len(receipts)
    trouble = daemon.pipeline.glance().pulse.store_trouble
    assert trouble == (
        f"there is no space left for {daemon.store.database}. Free some space on that disk; "
        "Rimekeeper tries again by itself."
    )
    assert [r.settled for r in receipts] == [1] * settled_before + [0] * (len(receipts) - settled_before)
    assert daemon.pipeline.glance().state.probes[ProbeId("pan")].celsius == (len(receipts) - 1) / 10
    make_room()
    turn_later(daemon)
    assert daemon.pipeline.glance().pulse.store_trouble == ""
    assert [r.settled for r in receipts] == [1] * len(receipts)
    assert daemon.values() == [n / 10 for n in range(len(receipts))]
    assert daemon.reader.verify_chain() is None


def test_disk_full(small_disk):
    ballast = small_disk / "ballast"
    with Daemon(small_disk / "data") as daemon:
        daemon.pipeline.turn()
        ballast.write_bytes(b"x" * 200_000)
        full_and_free_again(daemon, ballast.unlink)


def test_no_room_in_the_file(tmp_path):
    with Daemon(tmp_path) as daemon:
        daemon.pipeline.turn()
        pages = daemon.store._connection.execute("PRAGMA page_count").fetchone()[0]
        daemon.store._connection.execute(f"PRAGMA max_page_count = {pages + 20}")
        full_and_free_again(
            daemon, lambda: daemon.store._connection.execute("PRAGMA max_page_count = 1000000").fetchone()
        )


def test_no_room_at_the_start(small_disk):
    (small_disk / "ballast").write_bytes(b"x" * 1_020_000)
    with pytest.raises(StoreFullError, match=r"there is no space left for|the disk failed while"):
        Store(small_disk / "data")


def test_a_disk_that_is_full_to_the_last_byte(small_disk, capsys):
    folder = small_disk / "data"
    folder.mkdir()
    set_up_log(folder / "rimekeeper.log")
    with (small_disk / "ballast").open("wb", buffering=0) as ballast, contextlib.suppress(OSError):
        while ballast.write(b"x" * 4096):
            pass
    try:
        logging.getLogger("rimekeeper.test").warning("the walk-in warms")
        with pytest.raises(StoreFullError) as refusal:
            Store(folder)
    finally:
        log = logging.getLogger("rimekeeper")
        for handler in list(log.handlers):
            log.removeHandler(handler)
            handler.close()
        log.propagate = True
        log.setLevel(logging.NOTSET)
    assert str(refusal.value) == (
        f"the data folder {folder} can't be used (No space left on device). "
        "Free some space on that disk, or choose another folder with --data."
    )
    said = capsys.readouterr().err
    assert "the walk-in warms" in said
    assert "Traceback" not in said


LOCKER = """
import sqlite3, sys, time
other = sqlite3.connect(sys.argv[1], isolation_level=None)
other.execute("BEGIN EXCLUSIVE")
print("locked", flush=True)
sys.stdin.readline()
other.execute("ROLLBACK")
print("free", flush=True)
sys.stdin.readline()
"""


def other_program(code, *words):
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), *map(str, words)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def end(program):
    program.stdin.close()
    program.wait(10)
    program.stdout.close()


def test_locked_by_another_program(tmp_path):
    receipts = []
    with Daemon(tmp_path, busy_seconds=0.1) as daemon:
        daemon.pipeline.turn()
        locker = other_program(LOCKER, daemon.store.database)
        assert locker.stdout.readline() == "locked\n"
        flood(daemon, 50, receipts)
        began = time.monotonic()
        turn_later(daemon)
        assert time.monotonic() - began < 2
        glance = daemon.pipeline.glance()
        assert glance.pulse.store_trouble == (
            f"{daemon.store.database} is locked by another program. Close whatever has it open "
            "(a database browser, a backup); Rimekeeper tries again by itself."
        )
        assert glance.state.probes[ProbeId("pan")].celsius == 4.9
        assert not any(r.settled for r in receipts)
        locker.stdin.write("\n")
        locker.stdin.flush()
        assert locker.stdout.readline() == "free\n"
        turn_later(daemon)
        assert all(r.settled == 1 for r in receipts)
        assert len(daemon.values()) == 50
        end(locker)


def test_locked_at_the_start(tmp_path):
    with Daemon(tmp_path) as daemon:
        daemon.pipeline.turn()
    locker = other_program(LOCKER, tmp_path / "rimekeeper.db")
    assert locker.stdout.readline() == "locked\n"
    with Daemon(tmp_path) as daemon:
        daemon.pipeline.turn()
        assert "is locked by another program" in daemon.pipeline.glance().pulse.store_trouble
        end(locker)
        turn_later(daemon)
        assert daemon.pipeline.glance().pulse.store_trouble == ""


HOLDER = """
import sys, pathlib
from rimekeeper.keeping.store import Store
store = Store(pathlib.Path(sys.argv[1]))
print("open", flush=True)
sys.stdin.readline()
"""


def test_two_daemons_on_one_folder(tmp_path):
    holder = other_program(HOLDER, tmp_path)
    assert holder.stdout.readline() == "open\n"
    with pytest.raises(StoreBusyError) as refusal:
        Store(tmp_path)
    assert str(refusal.value) == (
        f"the data folder {tmp_path} is in use by another Rimekeeper (process {holder.pid}). "
        "Stop that one first, or give this one a folder of its own with --data."
    )
    holder.kill()
    end_killed = holder.wait(10)
    assert end_killed < 0
    holder.stdin.close()
    holder.stdout.close()
    with Store(tmp_path):
        pass


def as_nobody(work):
    """Run ``work`` in a child without root's rights; its text, or the name and text of what it raised."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if os.getuid() == 0:
                os.setgid(65534)
                os.setuid(65534)
            said = work()
        except BaseException as fault:
            said = f"{type(fault).__name__}: {fault}"
        os.write(writing, said.encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        said = pipe.read()
    os.waitpid(child, 0)
    return said


def open_up(folder):
    """Let everybody come as far as the folder (test folders are their owner's only)."""
    for place in (folder, *folder.parents):
        if str(place) == "/tmp":
            break
        place.chmod(0o755)


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_a_folder_that_can_not_be_written(tmp_path):
    with Store(tmp_path / "data"):
        pass
    open_up(tmp_path / "data")
    (tmp_path / "data").chmod(0o555)
    (tmp_path / "data" / "rimekeeper.lock").chmod(0o444)
    said = as_nobody(lambda: str(Store(tmp_path / "data")))
    assert said == (
        f"StoreFullError: the data folder {tmp_path}/data can't be used (Permission denied). "
        "Give Rimekeeper the right to write there, or choose another folder with --data."
    )


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_a_file_that_can_not_be_written(tmp_path):
    folder = tmp_path / "data"
    with Store(folder):
        pass
    open_up(folder)
    folder.chmod(0o777)
    (folder / "rimekeeper.lock").chmod(0o666)
    (folder / "rimekeeper.db").chmod(0o444)

    def work():
        with Daemon(folder) as daemon:
            daemon.give(delivery(sample("pan", 1.0, NOON), receipt=CountedReceipt()))
            daemon.pipeline.turn()
            return daemon.pipeline.glance().pulse.store_trouble

    said = as_nobody(work)
    assert "can't be written: the file, its folder or its disk is read-only" in said


def test_a_later_versions_file(tmp_path):
    with Store(tmp_path):
        pass
    with closing(sqlite3.connect(tmp_path / "rimekeeper.db")) as file:
        file.execute("PRAGMA user_version = 99")
    with pytest.raises(
        StoreNewerError, match=r"its version is 99, this one knows \d+\)\. Nothing was changed"
    ):
        Store(tmp_path)


class Machine:
    def __init__(self):
        self.wall, self.steady = NOON, 0

    def passes(self, millis):
        self.wall += millis
        self.steady += millis


@pytest.mark.parametrize("by", [3_600_000, -3_600_000])
def test_the_clock_is_set_by_an_hour(tmp_path, by):
    """Readings dated on arrival: all are kept, also those that fall on instants already taken."""
    machine = Machine()
    clock = SystemClock(lambda: machine.wall, lambda: machine.steady)
    with Daemon(tmp_path, clock=clock) as daemon:
        clock.on_step = daemon.inbox.put
        for n in range(7_200):
            if n == 3_700:
                machine.wall += by
            machine.passes(1_000)
            daemon.give(delivery(sample("pan", n / 100, clock.now())))
            if n % 100 == 0:
                daemon.pipeline.turn()
        daemon.pipeline.turn()
        assert sorted(daemon.values()) == [n / 100 for n in range(7_200)]
        (step,) = daemon.engine.stepped
        assert step.by == by
        nudged = [r for r in daemon.reader.readings(ProbeId("pan"), 0, 2**60) if r.nudged]
        assert len(nudged) == (0 if by > 0 else 3_500)
        machine.passes(1_000)
        daemon.pipeline.turn()
        assert daemon.pipeline.glance().at == machine.wall
        assert Reader(daemon.store.database).verify_chain() is None


def test_a_step_stands_between_what_came_before_and_after(tmp_path):
    machine = Machine()
    clock = SystemClock(lambda: machine.wall, lambda: machine.steady)
    with Daemon(tmp_path, clock=clock) as daemon:
        daemon.pipeline.turn()
        clock.on_step = daemon.inbox.put
        daemon.give(delivery(sample("pan", 1.0, clock.now())))
        machine.wall += 3_600_000
        daemon.give(delivery(sample("pan", 2.0, clock.now())))
        kinds = [type(item).__name__ for item in daemon.inbox.drain(100)]
    assert kinds == ["Delivery", "ClockStepped", "Delivery"]


@pytest.mark.parametrize("by", [3_600_000, -3_600_000])
def test_a_step_that_the_pipeline_itself_sees_goes_before_its_tick(tmp_path, by):
    """Else every probe would be called silent for an hour, and time would be an hour ahead from then on."""
    machine = Machine()
    clock = SystemClock(lambda: machine.wall, lambda: machine.steady)
    with Daemon(tmp_path, clock=clock, engine=core_engine) as daemon:
        clock.on_step = daemon.inbox.put
        daemon.give(delivery(sample("pan", 20.0, clock.now())))
        daemon.pipeline.turn()
        machine.passes(1_000)
        machine.wall += by
        for _ in range(3):
            daemon.pipeline.turn()
            machine.passes(100)
        state = daemon.pipeline.glance().state
        assert state.clock.now == machine.wall - 100
        assert not state.probes[ProbeId("pan")].silent
        said = kinds(daemon.reader.entries())
    assert said.count("clock.stepped") == 1
    assert said.count("probe.health") == 1  # heard for the first time, and not silent since
