"""Modbus RTU against a real server on pseudo-terminals, with a meddler in the cable."""

import contextlib
import math
import random
import struct
import threading
import time

import pytest

from rimekeeper.config.edges import ModbusSettings, RegisterChannel
from rimekeeper.core.model import Health
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.look import look
from rimekeeper.intake.modbus_port import ModbusIntake
from support.fieldbus import Line, asks, says, unit
from support.inbox import KeepingInbox, WallClock


def words(form, number):
    packed = struct.pack(form, number)
    return [int.from_bytes(packed[i : i + 2], "big") for i in range(0, len(packed), 2)]


PAN = RegisterChannel(name="pan", unit=3, register=100)
BASE = RegisterChannel(name="base", unit=3, register=200)
WALKIN = RegisterChannel(name="walkin", unit=7, register=10)


@pytest.fixture
def line(tmp_path):
    line = Line(
        tmp_path,
        unit(3, {100: [721, 65_353], 200: [333]}, {5: [412]}),
        unit(
            7,
            {
                10: [65_356],
                20: words(">f", -18.25),
                22: words(">f", -18.25)[::-1],
                24: words(">d", 1.0 / 3.0),
                28: words(">d", 1.0 / 3.0)[::-1],
                32: words(">i", -70_000),
                34: words(">I", 4_000_000_000),
                40: words(">f", math.nan),
            },
        ),
    )
    yield line
    line.close()


@pytest.fixture
def inbox():
    return KeepingInbox()


@contextlib.contextmanager
def running(inbox, line, *channels, **settings):
    # A pseudo-terminal has no parity.
    settings = {"every": "60 ms", "timeout": "150 ms", "silent_after": "20 s", "parity": "none", **settings}
    intake = ModbusIntake(
        ModbusSettings(name="bus", port=str(line.name), channels=channels, **settings),
        inbox,
        WallClock(),
        backoff=Backoff(0.05, 0.2, random.Random(1)),
        longest_rest=0.2,
    )
    intake.start()
    try:
        yield intake
    finally:
        intake.stop()
        assert not [t for t in threading.enumerate() if t.name == "modbus bus"]


def values_of(inbox, channel):
    return [sample.value for sample in inbox.samples if sample.channel == channel]


def healthy(inbox):
    inbox.wait(lambda: inbox.reports and inbox.reports[-1].health is Health.NORMAL)


def test_units_types_word_orders_and_tables(line, inbox):
    def at_7(name, register, kind, order="big"):
        return RegisterChannel(name=name, unit=7, register=register, type=kind, word_order=order)

    channels = (
        PAN,
        RegisterChannel(name="pan as unsigned", unit=3, register=101, type="uint16"),
        RegisterChannel(name="bowl", unit=3, register=5, table="input"),
        at_7("f", 20, "float32"),
        at_7("f little", 22, "float32", "little"),
        at_7("d", 24, "float64"),
        at_7("d little", 28, "float64", "little"),
        at_7("i", 32, "int32"),
        at_7("u", 34, "uint32"),
        at_7("nan", 40, "float32"),
        WALKIN,
    )
    with running(inbox, line, *channels):
        inbox.wait(lambda: len({s.channel for s in inbox.samples}) == len(channels))
        healthy(inbox)
    first = {s.channel: s for s in reversed(inbox.samples)}
    assert {name: s.value for name, s in first.items() if name != "nan"} == {
        "pan": 721.0,
        "pan as unsigned": 65_353.0,
        "bowl": 412.0,
        "f": -18.25,
        "f little": -18.25,
        "d": 1.0 / 3.0,
        "d little": 1.0 / 3.0,
        "i": -70_000.0,
        "u": 4_000_000_000.0,
        "walkin": -180.0,
    }
    assert math.isnan(first["nan"].value)
    assert all(s.scale is None for s in first.values())
    assert first["walkin"].text == "unit 7 holding 10: FF4C"
    assert inbox.rejected == []
    # 3 holding 100-101, 3 input 5, 7 holding 10, 20-35, 40: neighbours share a question.
    assert len({bytes(request) for request in line.requests}) == 5


def test_a_unit_that_is_not_there_does_not_stop_the_others(line, inbox):
    ghost = RegisterChannel(name="ghost", unit=5, register=0)
    with running(inbox, line, ghost, WALKIN):
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        assert why == (
            '[modbus.bus]: unit 5 doesn\'t answer (channel "ghost"). Is it on, is 5 its address, and does it speak '
            "at 19200 baud with parity none?"
        )
        inbox.wait(lambda: len(values_of(inbox, "walkin")) > 6)
    assert set(inbox.values) == {-180.0}
    asked = [request[0] for request in line.requests]
    assert asked.count(5) < asked.count(7)
    assert inbox.rejected[0].why == why
    assert inbox.rejected[0].text == 'unit 5, holding register 0 (channel "ghost"): nothing'


def test_a_register_that_does_not_exist_is_named_and_its_neighbour_is_read(line, inbox):
    beyond = RegisterChannel(name="beyond", unit=3, register=201)
    with running(inbox, line, BASE, beyond):
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        inbox.wait(lambda: len(inbox.values) > 3)
    assert why == (
        '[modbus.bus]: unit 3, holding register 201 (channel "beyond"): there is no such register. Look at the register '
        'and table ("holding") in its manual; many manuals count from 1, or write 40001 or 30001 for register 0.'
    )
    assert {(s.channel, s.value) for s in inbox.samples} == {("base", 333.0)}


def test_a_wrong_checksum_is_no_reading(line, inbox):
    line.meddle = lambda request, answer: answer[:4] + bytes([answer[4] ^ 0x10]) + answer[5:]
    with running(inbox, line, PAN):
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        assert why == (
            '[modbus.bus]: unit 3, holding register 100 (channel "pan"): the answer came damaged (wrong checksum). Are '
            "baud and parity right, is the line terminated at both ends, and does every unit have an address of its own?"
        )
        assert inbox.samples == []
        line.meddle = lambda request, answer: answer
        inbox.wait(lambda: inbox.values)
        healthy(inbox)
    assert set(inbox.values) == {721.0}


def test_a_question_that_is_always_spoilt_does_not_keep_its_neighbours_waiting(line, inbox):
    spoilt = asks(3, 100, 1)
    line.meddle = lambda request, answer: answer[:-1] + b"?" if request == spoilt else answer
    with running(inbox, line, PAN, BASE):
        inbox.wait(lambda: len(values_of(inbox, "base")) > 3)
        inbox.wait_health(Health.OUT_OF_SPECIFICATION, '(channel "pan"): the answer came damaged')
    assert values_of(inbox, "pan") == []


@pytest.mark.parametrize("kept", [1, 3, 6])
def test_half_a_frame_is_no_reading(line, inbox, kept):
    line.meddle = lambda request, answer: answer[:kept]
    with running(inbox, line, PAN):
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        assert f'(channel "pan"): only {kept} bytes of the answer came.' in why
        assert "Is a wire loose, or timeout too short?" in why
        line.meddle = lambda request, answer: answer
        healthy(inbox)
    assert set(inbox.values) == {721.0}


def test_a_lost_byte_in_the_middle_is_no_reading(line, inbox):
    line.meddle = lambda request, answer: answer[:3] + answer[4:] if len(answer) == 7 else answer
    with running(inbox, line, PAN):
        inbox.wait_health(Health.OUT_OF_SPECIFICATION, "only 6 bytes")
        assert inbox.samples == []


def test_stray_bytes_of_a_transceiver_harm_nothing(line, inbox):
    line.meddle = lambda request, answer: b"\x00" + answer
    with running(inbox, line, PAN):
        inbox.wait(lambda: len(inbox.values) > 3)
        healthy(inbox)
    assert set(inbox.values) == {721.0}


def test_an_adapter_that_echoes_harms_nothing(line, inbox):
    line.meddle = lambda request, answer: request + answer
    with running(inbox, line, PAN):
        inbox.wait(lambda: len(inbox.values) > 3)
        healthy(inbox)
    assert set(inbox.values) == {721.0}
    assert inbox.rejected == []


def test_a_late_answer_is_never_taken_for_the_next(line, inbox):
    """Both questions have answers of the same unit, function and length: only the value tells them apart."""
    rng = random.Random(5)
    line.meddle = lambda request, answer: [(rng.choice([0.0, 0.0, 0.2, 0.35, 0.5]), answer)]
    with running(inbox, line, PAN, BASE):
        inbox.wait_health(Health.OUT_OF_SPECIFICATION, "answers later than timeout = 150 ms", 10)
        inbox.wait(lambda: len(values_of(inbox, "base")) > 2, 30)
        line.meddle = lambda request, answer: answer
        count = len(inbox.values)
        inbox.wait(lambda: len(inbox.values) > count + 4, 10)
        healthy(inbox)
    assert not [report for report in inbox.reports if "Somebody else" in report.why]
    assert set(values_of(inbox, "pan")) == {721.0}
    assert set(values_of(inbox, "base")) == {333.0}


@pytest.mark.parametrize("status", [b"\x03\x87\x01\x23\xf0", b""])
def test_a_unit_that_does_not_know_the_status_question_comes_back(line, inbox, status):
    """It may refuse it, as the specification wants, or say nothing at all."""
    silent = threading.Event()
    silent.set()
    line.meddle = lambda request, answer: b"" if silent.is_set() else status if request[1] == 7 else answer
    with running(inbox, line, PAN, timeout="40 ms"):
        inbox.wait_health(Health.OUT_OF_SPECIFICATION, "unit 3 doesn't answer")
        silent.clear()
        inbox.wait(lambda: inbox.values)
        healthy(inbox)
    assert set(inbox.values) == {721.0}


def test_always_too_late_is_said_and_nothing_is_taken(line, inbox):
    line.meddle = lambda request, answer: [(0.25, answer)]
    with running(inbox, line, PAN, BASE):
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION, "later than")
    assert why == (
        '[modbus.bus]: unit 3 answers later than timeout = 150 ms (channels "pan", "base"); such answers are thrown '
        "away. Write a longer timeout."
    )
    assert inbox.samples == []


def test_a_second_master_between_our_questions(line, inbox):
    with running(inbox, line, WALKIN, every="400 ms", silent_after="2 s"):
        inbox.wait(lambda: inbox.values)
        line.speak(asks(9, 50, 2) + says(9, [1, 2]))
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        assert why == (
            '[modbus.bus]: Somebody else is on this line (channel "walkin"): unit 9 answered though we did not ask. A line has one master; '
            "disconnect the other one (a panel, another program), or give us a line of our own."
        )
        healthy(inbox)  # when it has not been heard for silent_after
    assert set(inbox.values) == {-180.0}


def test_a_second_master_that_asks_our_unit_while_we_do(line, inbox):
    """Its answer has our unit, function and length; taking it would be the wrong register."""
    other = asks(3, 200, 1) + says(3, [333])
    line.meddle = lambda request, answer: other + answer
    with running(inbox, line, PAN):
        why = inbox.wait_health(Health.OUT_OF_SPECIFICATION)
        assert "Somebody else is on this line" in why
        assert any('(channel "pan") was not read' in r.why for r in inbox.rejected)
        assert inbox.samples == []


def test_an_answer_to_somebody_elses_question_just_before_ours(line, inbox):
    answered = threading.Event()

    def answer_late():
        line.speak(asks(3, 200, 1))
        time.sleep(0.08)
        line.speak(says(3, [333]))
        answered.set()

    with running(inbox, line, PAN, every="300 ms", timeout="200 ms"):
        inbox.wait(lambda: inbox.values)
        for _ in range(6):
            answered.clear()
            answer_late()
            time.sleep(0.05)
        count = len(inbox.values)
        inbox.wait(lambda: len(inbox.values) > count)
    assert set(inbox.values) == {721.0}


def test_unplugged_in_the_middle_and_back(line, inbox):
    with running(inbox, line, PAN):
        inbox.wait(lambda: inbox.values)
        line.unplug()
        why = inbox.wait_health(Health.FAILURE, "is not there")
        assert why.startswith(f'[modbus.bus]: port "{line.name}" is not there. Ports seen now: ')
        assert "Plug it in, or change port." in why
        count = len(inbox.values)
        line.plug()
        inbox.wait(lambda: len(inbox.values) > count)
        healthy(inbox)
    assert set(inbox.values) == {721.0}


def test_a_dead_line_is_a_failure_and_comes_back(line, inbox):
    line.meddle = lambda request, answer: b""
    with running(inbox, line, PAN, WALKIN, silent_after="700 ms"):
        why = inbox.wait_health(Health.FAILURE)
        assert why.startswith(
            '[modbus.bus]: silent for 0.7 s (units 3, 7; channels "pan", "walkin"). Is the line plugged in, are A and B the right way round, '
            "and are 19200 baud and parity none right?"
        )
        line.meddle = lambda request, answer: answer
        inbox.wait(lambda: set(inbox.values) == {721.0, -180.0})
        healthy(inbox)


def test_endless_noise_is_no_reading_and_the_intake_stops(line, inbox):
    ends, rng = threading.Event(), random.Random(2)

    def babble():
        while not ends.is_set():
            with contextlib.suppress(OSError):
                line.speak(rng.randbytes(40))
            time.sleep(0.002)

    babbler = threading.Thread(target=babble)
    babbler.start()
    try:
        with running(inbox, line, PAN, silent_after="800 ms"):
            inbox.wait_health(Health.FAILURE, "silent for 0.8 s", 15)
    finally:
        ends.set()
        babbler.join()
    assert inbox.samples == []


def test_a_full_inbox_does_not_stop_the_line(line, inbox):
    inbox.full = True
    with running(inbox, line, PAN):
        inbox.wait(lambda: inbox.refusals > 3)
        inbox.full = False
        inbox.wait(lambda: inbox.values)


def test_the_probes_command_asks_the_units(line):
    settings = ModbusSettings(name="bus", port=str(line.name), parity="none", channels=(PAN, WALKIN))
    seen = look([], [], 0.8, WallClock(), [settings])
    assert {(s.source, s.place, s.value) for s in seen.seen} == {
        ("bus", "pan", 721.0),
        ("bus", "walkin", -180.0),
    }
    assert seen.states["bus"].health is Health.NORMAL
