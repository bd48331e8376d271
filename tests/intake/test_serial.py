"""Serial ports with real pseudo-terminals and a real TCP server: every way in which a port can go wrong."""

import contextlib
import os
import random
import select
import socket
import threading
import time
import tty

import pytest

from rimekeeper.config.edges import LineChannel, SerialSettings, UsbIdentity
from rimekeeper.core.errors import ConfigError, EdgeError
from rimekeeper.core.model import Health, Scale
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.ports_seen import PortSeen, device_of, ports_now
from rimekeeper.intake.serial_port import SerialIntake
from support.inbox import KeepingInbox, WallClock

PAN = (LineChannel(name="pan", field=1),)


class Wire:
    """A pseudo-terminal behind a stable name, as a USB adapter behind /dev/serial/by-id."""

    def __init__(self, folder):
        self.name = folder / "stove"
        self.plug()

    def plug(self):
        self.master, self._slave = os.openpty()
        tty.setraw(self.master)
        self.device = os.ttyname(self._slave)
        self.name.symlink_to(self.device)

    def unplug(self):
        self.name.unlink()
        os.close(self._slave)
        os.close(self.master)

    def say(self, data):
        while data:
            data = data[os.write(self.master, data[:4096]) :]

    def hear(self, timeout=2.0):
        ready, _, _ = select.select([self.master], [], [], timeout)
        return os.read(self.master, 1000) if ready else b""


@pytest.fixture
def wire(tmp_path):
    wire = Wire(tmp_path)
    yield wire
    with contextlib.suppress(OSError):
        wire.unplug()


@pytest.fixture
def inbox():
    return KeepingInbox()


@contextlib.contextmanager
def running(inbox, **settings):
    more = {key: settings.pop(key) for key in ("lister",) if key in settings}
    settings = {"name": "stove", "channels": PAN, **settings}
    if "usb" not in settings:
        settings["port"] = str(settings["port"])
    intake = SerialIntake(
        SerialSettings(**settings), inbox, WallClock(), backoff=Backoff(0.05, 0.2, random.Random(1)), **more
    )
    intake.start()
    try:
        yield intake
    finally:
        began = time.monotonic()
        intake.stop()
        assert time.monotonic() - began < 1.0
        assert not [t for t in threading.enumerate() if t.name == "serial stove"]


def opened(inbox):
    inbox.wait_health(Health.UNKNOWN, "waiting for the first line")
    time.sleep(0.15)


def test_reads_lines_and_reports_normal(wire, inbox):
    with running(
        inbox, port=wire.name, channels=(LineChannel(name="pan", field=1), LineChannel(name="base", field=2))
    ):
        opened(inbox)
        wire.say(b"72.5,-4.25C\r\n73.0,")
        wire.say(b"-4.5\r\n")
        inbox.wait(lambda: len(inbox.samples) == 4)
        assert [(s.channel, s.value, s.scale) for s in inbox.samples] == [
            ("pan", 72.5, None),
            ("base", -4.25, Scale.CELSIUS),
            ("pan", 73.0, None),
            ("base", -4.5, None),
        ]
        sample = inbox.samples[0]
        assert (sample.source, sample.text, sample.taken_at) == ("stove", "72.5,-4.25C\\r", None)
        assert abs(sample.arrived_at - WallClock().now()) < 2_000
        assert inbox.wait_health(Health.NORMAL) == ""


def test_half_a_line_at_opening_is_no_reading(wire, inbox):
    # "85.2" cut in front is "5.2": a number that looks right and is wrong.
    stop = threading.Event()

    def talk():
        while not stop.is_set():
            for byte in b"85.2\n":
                wire.say(bytes([byte]))
                time.sleep(0.001)

    talker = threading.Thread(target=talk)
    talker.start()
    try:
        for opening in range(1, 9):
            with running(inbox, port=wire.name):
                inbox.wait(lambda least=2 * opening: len(inbox.samples) >= least)
    finally:
        stop.set()
        talker.join()
    assert set(inbox.values) == {85.2}


def test_unplugged_and_plugged_in_again(wire, inbox):
    with running(inbox, port=wire.name):
        opened(inbox)
        wire.say(b"1\n")
        inbox.wait(lambda: inbox.values == [1.0])
        wire.unplug()
        why = inbox.wait_health(Health.FAILURE, "is not there")
        assert why.startswith(f'[serial.stove]: port "{wire.name}" is not there. Ports seen now: ')
        assert "Plug it in, or change port." in why
        wire.plug()
        deadline = time.monotonic() + 4
        while inbox.values == [1.0] and time.monotonic() < deadline:
            wire.say(b"2\n")
            time.sleep(0.12)
        assert inbox.values[1] == 2.0
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)


def test_a_silent_port_is_a_failure_and_opened_anew(wire, inbox):
    with running(inbox, port=wire.name, silent_after="300 ms"):
        assert inbox.wait_health(Health.FAILURE) == "[serial.stove]: silent for 0.3 s. Is the instrument on?"
        for _ in range(20):
            wire.say(b"5\n")
            time.sleep(0.1)
        inbox.wait(lambda: 5.0 in inbox.values)
        assert inbox.reports[-1].health is Health.NORMAL


def test_a_wrong_baud_rate_is_called_garbage_and_shown(wire, inbox):
    with running(inbox, port=wire.name, baud=9600):
        opened(inbox)
        wire.say(b"\xf8\x80\xe6\n\x1e\xfe\n\x00\x9f\n\xff\xff\n\x86\x98\n")
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        assert why == "garbage: is the baud rate right? baud = 9600 in [serial.stove]"
        inbox.wait(lambda: len(inbox.rejected) == 5)
        assert inbox.rejected[0].text == "ø\\x80æ"
        assert "byte 1 is not ascii text; is the baud rate right?" in inbox.rejected[0].why
        wire.say(b"72.5\n")
        inbox.wait(lambda: inbox.reports[-1].health is Health.NORMAL)


def test_ten_megabytes_without_terminator(wire, inbox):
    with running(inbox, port=wire.name, silent_after="30 s"):
        opened(inbox)
        for _ in range(160):
            wire.say(b"8" * 65_536)
        wire.say(b"\n72.5\n")
        inbox.wait(lambda: inbox.values == [72.5], 10)
        assert [r.why for r in inbox.rejected] == [
            "a line is longer than 256 bytes; is the terminator right? (longest_line, terminator)"
        ]
        assert len(inbox.rejected[0].text) == 200


def test_endless_bytes_without_any_line_are_garbage(wire, inbox):
    with running(inbox, port=wire.name, silent_after="300 ms"):
        opened(inbox)
        deadline = time.monotonic() + 3
        while not any(r.health is Health.OUT_OF_SPECIFICATION for r in inbox.reports):
            assert time.monotonic() < deadline
            wire.say(b"~" * 100)
            time.sleep(0.01)


def test_asks_and_takes_the_answer(wire, inbox):
    with running(inbox, port=wire.name, request="T?\r\n", request_every="150 ms"):
        for number in range(3):
            assert wire.hear() == b"T?\r\n"
            wire.say(b"%d\n" % number)
        inbox.wait(lambda: inbox.values == [0.0, 1.0, 2.0])


def test_a_late_answer_is_not_the_answer_to_the_next_request(wire, inbox):
    with running(inbox, port=wire.name, request="?", request_every="200 ms"):
        assert wire.hear() == b"?"
        time.sleep(0.3)  # the first turn is over; this answer is late
        wire.say(b"11\n")
        assert wire.hear() == b"?"
        wire.say(b"22\n")
        inbox.wait(lambda: inbox.values == [22.0])
        assert [r.why for r in inbox.rejected] == [
            "the answer came too late for its request; is request_every long enough?"
        ]


def test_an_instrument_that_never_answers(wire, inbox):
    with running(inbox, port=wire.name, request="?", request_every="100 ms", silent_after="400 ms"):
        assert "Is the instrument on, and is the request right?" in inbox.wait_health(Health.FAILURE)


def test_a_babbling_port_does_not_disturb_another(wire, inbox, tmp_path):
    (tmp_path / "other").mkdir()
    other = Wire(tmp_path / "other")
    babble = threading.Event()

    def talk():
        os.set_blocking(wire.master, False)
        while not babble.is_set():
            with contextlib.suppress(BlockingIOError):
                os.write(wire.master, b"\xfe\n" * 500)
            time.sleep(0.001)

    talker = threading.Thread(target=talk)
    quiet = KeepingInbox()
    try:
        with running(inbox, port=wire.name):
            intake = SerialIntake(
                SerialSettings(name="base", port=str(other.name), channels=PAN), quiet, WallClock()
            )
            intake.start()
            talker.start()
            opened(quiet)
            for _ in range(10):
                other.say(b"4\n")
                time.sleep(0.02)
            quiet.wait(lambda: len(quiet.values) == 10, 3)
            intake.stop()
    finally:
        babble.set()
        talker.join()
        other.unplug()
    assert inbox.reports[-1].health is Health.OUT_OF_SPECIFICATION


def test_a_full_inbox_drops_without_spinning(wire, inbox):
    inbox.full = True
    with running(inbox, port=wire.name):
        opened(inbox)
        wire.say(b"1\n" * 5)
        inbox.wait(lambda: inbox.refusals >= 3)
        inbox.full = False
        wire.say(b"2\n")
        inbox.wait(lambda: inbox.values and inbox.values[-1] == 2.0)


def test_a_port_of_another_program_is_left_alone(wire, inbox):
    first = KeepingInbox()
    intake = SerialIntake(SerialSettings(name="first", port=str(wire.name), channels=PAN), first, WallClock())
    intake.start()
    try:
        opened(first)
        with running(inbox, port=wire.name):
            assert "is in use by another program" in inbox.wait_health(Health.FAILURE)
            wire.say(b"3\n")
            first.wait(lambda: first.values == [3.0])
    finally:
        intake.stop()


def test_a_serial_server_by_url(inbox):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        with running(inbox, port=f"socket://127.0.0.1:{port}"):
            peer, _ = server.accept()
            with peer:
                time.sleep(0.2)
                peer.sendall(b"21.5\n22.5\n")
                inbox.wait(lambda: inbox.values == [21.5, 22.5])
            inbox.wait_health(Health.FAILURE, "the port was lost")
            peer, _ = server.accept()
            with peer:
                time.sleep(0.2)
                peer.sendall(b"23.5\n")
                inbox.wait(lambda: inbox.values == [21.5, 22.5, 23.5])


def test_a_serial_server_that_is_off(inbox):
    with running(inbox, port="socket://127.0.0.1:1"):
        why = inbox.wait_health(Health.FAILURE)
        assert why.startswith('[serial.stove]: "socket://127.0.0.1:1" can\'t be reached')


def test_found_by_usb_identity_in_whatever_socket(wire, inbox):
    # No USB here: the listing is given, the port behind it is real.
    seen = [PortSeen("/dev/ttyS0")]
    usb = UsbIdentity(vendor="0403", product="6001", serial="A1")
    with running(inbox, usb=usb, lister=lambda: list(seen)):
        assert inbox.wait_health(Health.FAILURE) == (
            "[serial.stove]: the adapter USB 0403:6001, serial A1 is not there. Ports seen now: /dev/ttyS0. Plug it in."
        )
        seen.append(PortSeen(wire.device, "", "0403", "6001", "A1"))
        deadline = time.monotonic() + 4
        while not inbox.values and time.monotonic() < deadline:
            wire.say(b"9\n")
            time.sleep(0.12)
        assert inbox.values[0] == 9.0


def test_two_adapters_of_one_identity():
    usb = UsbIdentity(vendor="0403", product="6001")
    seen = [
        PortSeen("/dev/ttyUSB0", "", "0403", "6001", "A1"),
        PortSeen("/dev/ttyUSB1", "", "0403", "6001", None),
    ]
    with pytest.raises(EdgeError) as fault:
        device_of(usb, seen)
    assert str(fault.value) == (
        "2 adapters are USB 0403:6001: /dev/ttyUSB0 (USB 0403:6001, serial A1), /dev/ttyUSB1 (USB 0403:6001)."
        " Add serial = ... to say which."
    )


def test_this_machine_can_be_asked_for_its_ports():
    assert all(port.device.startswith("/dev/") for port in ports_now())


def test_settings_that_can_not_be_meant(inbox):
    for settings, why in [
        ({"decoder": "pattern", "pattern": "(?P<x>.)"}, '[serial.s]: channel "pan" needs the group'),
        ({"request": "°?"}, "[serial.s]: the request has characters"),
    ]:
        with pytest.raises(ConfigError) as fault:
            SerialIntake(
                SerialSettings(name="s", port="/dev/x", channels=PAN, **settings), inbox, WallClock()
            )
        assert str(fault.value).startswith(why)


def test_backoff_grows_to_its_bound_and_is_never_zero():
    backoff = Backoff(0.5, 4.0, random.Random(3))
    waits = [backoff.wait() for _ in range(8)]
    for wait, full in zip(waits, [0.5, 1, 2, 4, 4, 4, 4, 4], strict=True):
        assert full / 2 <= wait <= full
    backoff.reset()
    assert backoff.wait() <= 0.5
