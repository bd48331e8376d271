"""Frames: the published examples, and what is told apart in whatever bytes come."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimekeeper.config.edges import RegisterChannel
from rimekeeper.intake.modbus_blocks import blocks_of
from rimekeeper.intake.modbus_frames import Question, Trouble, frames_in, judge
from support.fieldbus import asks, says

ONE = Question(3, "holding", 100, 1)


def nobody(frame):
    return False


def told(data, question=ONE, owed=nobody, *, ended=True):
    return judge(question, data, owed, ended=ended)


def test_the_worked_examples_of_the_specification():
    # MODBUS Application Protocol Specification V1.1b3, section 6.3: read registers 108 to 110, answer
    # 03 06 02 2B 00 00 00 64; section 6.4: read input register 9, answer 04 02 00 0A. Address and checksum around
    # them as in MODBUS over Serial Line V1.02, section 6.2.2; the unit is 17 (from memory).
    question = Question(17, "holding", 107, 3)
    assert question.frame()[:-2] == bytes.fromhex("11 03 00 6B 00 03")
    assert question.frame()[-2:] == bytes.fromhex("76 87")
    answer = says(17, [0x022B, 0x0000, 0x0064])
    assert answer[:-2] == bytes.fromhex("11 03 06 02 2B 00 00 00 64")
    assert told(answer, question).words == (555, 0, 100)
    assert Question(17, "input", 8, 1).frame()[:-2] == bytes.fromhex("11 04 00 08 00 01")


def test_the_checksum_of_the_serial_line_specification():
    # MODBUS over Serial Line V1.02, section 6.2.2 (CRC generation): 02 07 gives 41 12, low byte first.
    from pymodbus.framer import FramerRTU  # noqa: PLC0415

    assert FramerRTU.check_CRC(bytes.fromhex("02 07"), 0x4112)


@pytest.mark.parametrize(
    ("data", "trouble"),
    [
        (b"", Trouble.SILENT),
        (says(3, [721])[:4], Trouble.HALF),
        (says(3, [721])[:-1] + b"\x00", Trouble.DAMAGED),
        (says(4, [721]), Trouble.STRANGER),
        (says(3, [721, 1]), Trouble.STRANGER),
        (asks(9, 0, 1), Trouble.STRANGER),
        (asks(9, 0, 1) + says(3, [721]), Trouble.STRANGER),
        (says(3, [721]) + says(3, [721]), Trouble.STRANGER),
    ],
)
def test_what_is_no_answer(data, trouble):
    assert told(data).trouble is trouble


def test_an_unfinished_answer_is_waited_for():
    for cut in range(7):
        assert told(says(3, [721])[:cut], ended=False) is None


def test_a_late_answer_before_ours_is_set_aside():
    answer = told(says(7, [5]) + says(3, [721]), owed=lambda frame: frame.unit == 7)
    assert answer.words == (721,)
    assert [frame.unit for frame in answer.late] == [7]


@given(st.binary(max_size=300), st.booleans())
def test_any_bytes_are_told_without_raising(data, ended):
    answer = told(data, ended=ended)
    assert answer is not None or not ended
    frames, rest = frames_in(data)
    assert sum(len(frame.data) for frame in frames) + len(rest) <= len(data)


def test_an_answer_that_begins_like_a_whole_request_is_still_the_answer():
    question = Question(3, "holding", 0, 2)
    answer = says(3, [892, 149])
    assert [frame.is_request for frame in frames_in(answer)[0]] == [
        True
    ]  # its first eight bytes by themselves
    assert told(answer, question).words == (892, 149)
    assert told(answer[:8], question, ended=False) is None


@given(st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=125), st.integers(0, 254), st.integers(1, 255))
@example([892, 149], 0, 1)
def test_one_wrong_byte_is_never_an_answer(words, place, flip):
    question = Question(3, "holding", 0, len(words))
    frame = bytearray(says(3, words))
    assert told(bytes(frame), question).words == tuple(words)
    frame[place % len(frame)] ^= flip
    assert told(bytes(frame), question).words == ()


CHANNELS = st.lists(
    st.builds(
        RegisterChannel,
        name=st.just("x"),
        unit=st.integers(1, 3),
        register=st.integers(0, 400),
        table=st.sampled_from(["holding", "input"]),
        type=st.sampled_from(["int16", "float32", "float64"]),
    ),
    max_size=200,
)


@given(CHANNELS)
def test_every_channel_is_asked_for_once_in_questions_that_fit(channels):
    blocks = blocks_of(channels)
    assert sum(len(block.places) for block in blocks) == len(channels)
    for block in blocks:
        asked = block.question
        assert 1 <= asked.count <= 125
        covered = set()
        for place in block.places:
            assert asked.register <= place.register
            assert place.register + place.words <= asked.register + asked.count
            covered |= set(range(place.register, place.register + place.words))
        assert covered == set(range(asked.register, asked.register + asked.count))
