"""Registers to numbers: numbers with a published encoding, round trips, and any words at all."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.decoding.registers import (
    NUMBER_TYPES,
    RegisterPlace,
    decode_registers,
    number_of,
)

# An independent encoder: numpy's own types, big-endian, against the struct of the code.
DTYPES = {
    "int16": ">i2",
    "uint16": ">u2",
    "int32": ">i4",
    "uint32": ">u4",
    "float32": ">f4",
    "float64": ">f8",
}
WORD = st.integers(0, 0xFFFF)
KINDS = st.sampled_from(sorted(NUMBER_TYPES))
ORDERS = st.sampled_from(["big", "little"])


def words_of(number, kind, order):
    words = [int(word) for word in np.array([number], DTYPES[kind]).view(">u2")]
    return words if order == "big" else words[::-1]


@pytest.mark.parametrize(
    ("words", "kind", "order", "number"),
    [
        # The register of the worked example of function 3: 02 2B is 555
        # (MODBUS Application Protocol Specification V1.1b3, section 6.3).
        ([0x022B], "int16", "big", 555.0),
        # IEEE 754-2019, binary32 and binary64 interchange formats: 1.0, -2.0, the smallest subnormal.
        ([0x3F80, 0x0000], "float32", "big", 1.0),
        ([0x0000, 0xC000], "float32", "little", -2.0),
        ([0x0000, 0x0001], "float32", "big", 2.0**-149),
        ([0x3FF0, 0, 0, 0], "float64", "big", 1.0),
        ([1, 0, 0, 0], "float64", "little", 2.0**-1074),
        # Two's complement, by definition.
        ([0xFFFF], "int16", "big", -1.0),
        ([0xFFFF], "uint16", "big", 65_535.0),
        ([0x8000, 0x0000], "int32", "big", -(2.0**31)),
        ([0x0001, 0x0000], "uint32", "little", 1.0),
        ([0x7F80, 0x0000], "float32", "big", math.inf),
    ],
)
def test_published_encodings(words, kind, order, number):
    assert number_of(words, kind, order) == number


def test_what_is_not_a_number_comes_through():
    assert math.isnan(number_of([0x7FC0, 0x0000], "float32"))


@given(KINDS, ORDERS, st.data())
def test_a_number_comes_back_from_its_registers(kind, order, data):
    dtype = np.dtype(DTYPES[kind])
    if dtype.kind == "f":
        number = data.draw(st.floats(width=8 * dtype.itemsize))
    else:
        bounds = np.iinfo(dtype)
        number = data.draw(st.integers(int(bounds.min), int(bounds.max)))
    back = number_of(words_of(number, kind, order), kind, order)
    assert back == number or (math.isnan(number) and math.isnan(back))


@given(st.lists(st.one_of(WORD, st.integers()), max_size=6), st.one_of(KINDS, st.text(max_size=8)), ORDERS)
def test_no_words_make_it_raise(words, kind, order):
    number = number_of(words, kind, order)
    fits = kind in NUMBER_TYPES and len(words) == NUMBER_TYPES[kind].words
    assert (number is not None) == (fits and all(0 <= word <= 0xFFFF for word in words))


PLACES = st.builds(
    RegisterPlace, st.text(max_size=5), st.integers(0, 20), st.one_of(KINDS, st.just("?")), ORDERS
)


@given(st.integers(0, 20), st.lists(WORD, max_size=30), st.lists(PLACES, max_size=5))
def test_every_place_is_found_or_refused(first, words, places):
    decoded = decode_registers(first, words, places)
    assert len(decoded.found) + len(decoded.refused) == len(places)
    for found in decoded.found:
        assert found.channel in [place.channel for place in places]
    for place in places:
        inside = first <= place.register and place.register + place.words <= first + len(words)
        if not inside or not place.words:
            assert f"register {place.register} does not hold a whole {place.kind}" in [
                r.why for r in decoded.refused
            ]


def test_channels_of_one_answer():
    places = [RegisterPlace("pan", 100), RegisterPlace("air", 101, "float32"), RegisterPlace("far", 104)]
    decoded = decode_registers(100, [725, 0xC192, 0x0000], places)
    assert [(found.channel, found.value) for found in decoded.found] == [("pan", 725.0), ("air", -18.25)]
    assert [(r.text, r.why) for r in decoded.refused] == [
        ("far: ", "register 104 does not hold a whole int16")
    ]
