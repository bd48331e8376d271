"""Cutting lines: chunk sizes don't matter, over-long lines cost nothing, memory is bounded."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.decoding.framing import Line, LineFramer, TooLong
from rimekeeper.core.decoding.lines import text_of


def frames(stream: bytes, cuts: list[int], terminator: bytes, longest: int):
    framer = LineFramer(terminator, longest)
    found = []
    place = 0
    for cut in [*sorted(c % (len(stream) + 1) for c in cuts), len(stream)]:
        found += framer.feed(stream[place:cut])
        place = cut
        assert framer.held <= longest + len(terminator)
    return found


@given(
    st.text(alphabet="ab\r\n", max_size=80).map(str.encode),
    st.lists(st.integers(0, 1000), max_size=20),
    st.sampled_from([b"\n", b"\r\n", b"\r", b"aa", b"a\na"]),
    st.integers(1, 6),
)
def test_lines_do_not_depend_on_chunks(stream, cuts, terminator, longest):
    whole = LineFramer(terminator, longest).feed(stream)
    byte_by_byte = frames(stream, list(range(len(stream))), terminator, longest)
    assert frames(stream, cuts, terminator, longest) == whole == byte_by_byte


@given(st.lists(st.binary(max_size=5).map(lambda b: b.replace(b"\n", b"")), max_size=20))
def test_short_lines_all_arrive(lines):
    stream = b"".join(line + b"\n" for line in lines)
    assert LineFramer(b"\n", 5).feed(stream) == [Line(line) for line in lines]


def test_a_line_of_exactly_the_bound_is_kept_and_one_byte_more_is_not():
    framer = LineFramer(b"\r\n", 4)
    assert framer.feed(b"1234\r") == []
    assert framer.feed(b"\n12345\r\n6\r\n") == [Line(b"1234"), TooLong(b"1234", 4), Line(b"6")]


def test_ten_megabytes_without_terminator_are_refused_once_and_then_it_goes_on():
    framer = LineFramer(b"\n", 256)
    found = []
    for _ in range(2560):
        found += framer.feed(b"x" * 4096)
        assert framer.held <= 257
    assert len(found) == 1
    assert "longer than 256 bytes" in found[0].refused.why
    assert len(found[0].refused.text) <= 200
    assert framer.feed(b"x\n72.5\n") == [Line(b"72.5")]


def test_clear_forgets_half_a_line():
    framer = LineFramer()
    framer.feed(b"12")
    framer.clear()
    assert framer.feed(b"3\n") == [Line(b"3")]


def test_a_framer_without_terminator_is_refused():
    with pytest.raises(ValueError, match="terminator"):
        LineFramer(b"", 10)


def test_bytes_that_are_no_text_are_refused_with_the_setting_to_look_at():
    assert text_of(b"72.5", "ascii") == "72.5"
    refused = text_of(b"7\xf82.5", "ascii")
    assert refused.why == "byte 2 is not ascii text; is the baud rate right? (baud, encoding)"
    assert refused.text == "7ø2.5"
