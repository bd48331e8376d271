"""Payload decoders: plain numbers and JSON; who, how much, when."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.decoding import PAYLOAD_DECODERS
from rimekeeper.core.decoding.found import Found, delivery_of, shown
from rimekeeper.core.decoding.payloads import PayloadRule, json_decoder, number_decoder, senml_decoder
from rimekeeper.core.model import Instant, Scale, SourceId

NOW = Instant(1_800_000_000_000)


def whys(decoded):
    return [r.why for r in decoded.refused]


def test_number_named_by_topic_level():
    decode = number_decoder(PayloadRule(channel_level=2))
    assert decode("kitchen/fz1/temp", b"-18.2\n", NOW).found == (Found("fz1", -18.2),)
    assert decode("kitchen/fz1", b"0F", NOW).found == (Found("fz1", 0.0, Scale.FAHRENHEIT),)
    assert whys(decode("kitchen", b"1", NOW)) == ['the channel is level 2 of the topic, but "kitchen" has 1']
    assert whys(decode("kitchen//x", b"1", NOW)) == ["the name of the channel is empty"]


def test_number_named_by_itself_or_by_the_whole_topic():
    assert number_decoder(PayloadRule(channel="fz"))("a/b", b"1", NOW).found == (Found("fz", 1.0),)
    assert number_decoder(PayloadRule())("a/b", b"1", NOW).found == (Found("a/b", 1.0),)


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"\xff\xfe", "these bytes are not text (UTF-8)"),
        (b"", '"" is empty, not a number'),
        (b"NaN", '"NaN" is not a number: the instrument has no value to give'),
        (b"warm", '"warm" is text, not a number'),
        (b'"4"', '""4"" is quoted text, not a number'),
        (b"1" * 10_000_000, f'"{"1" * 40}" is too long to be a number'),
    ],
)
def test_payloads_that_are_no_number(payload, why):
    decoded = number_decoder(PayloadRule())("t", payload, NOW)
    assert whys(decoded) == [why]
    assert len(decoded.refused[0].text) <= 200


def test_json_with_channel_value_and_time():
    decode = json_decoder(PayloadRule(channel_path="id", value_path="r[0].t", time_path="at"))
    payload = {"id": "fz1", "r": [{"t": -18.25}], "at": 1_700_000_000.25}
    assert decode("x", json.dumps(payload).encode(), NOW).found == (
        Found("fz1", -18.25, None, Instant(1_700_000_000_250)),
    )
    del payload["at"]
    payload["id"] = 7
    assert decode("x", json.dumps(payload).encode(), NOW).found == (Found("7", -18.25),)


@pytest.mark.parametrize(
    ("unit", "stamp", "instant"),
    [
        ("s", 1, 1_000),
        ("ms", 1_700_000_000_250, 1_700_000_000_250),
        ("iso", "2026-11-25T18:00:00+01:00", 1_795_626_000_000),
        ("iso", "2026-11-25T17:00:00.5Z", 1_795_626_000_500),
        ("iso", "1970-01-01T00:00:00Z", 0),
        ("iso", "2099-12-31T23:59:59Z", 4_102_444_799_000),
        # Unbelievable clocks keep the number; the engine judges the stamp.
        ("s", 1e300, 253_402_300_799_999),
        ("s", -5, 0),
        ("iso", "0001-01-01T00:00:00Z", 0),
    ],
)
def test_times(unit, stamp, instant):
    decode = json_decoder(PayloadRule(channel="a", value_path="v", time_path="t", time_unit=unit))
    assert decode("x", json.dumps({"v": 1, "t": stamp}).encode(), NOW).found[0].taken_at == instant


@pytest.mark.parametrize(
    ("unit", "stamp", "why"),
    [
        ("s", "12", 'the time at "t" is text, not a number'),
        ("ms", None, 'the time at "t" is null, not a number'),
        ("iso", 12, 'the time at "t" is not a time in ISO 8601 such as 2026-11-25T18:00:00Z'),
        ("iso", "yesterday", 'the time at "t" is not a time in ISO 8601 such as 2026-11-25T18:00:00Z'),
        ("iso", "2026-11-25T18:00:00", "has no offset from UTC"),
    ],
)
def test_times_that_are_none(unit, stamp, why):
    decode = json_decoder(PayloadRule(channel="a", value_path="v", time_path="t", time_unit=unit))
    assert why in whys(decode("x", json.dumps({"v": 1, "t": stamp}).encode(), NOW))[0]


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b'{"v": "72.5", "id": "a"}', 'the value at "v" is text, not a number'),
        (b'{"v": Infinity, "id": "a"}', 'the value at "v" is infinite, not a number'),
        (b'{"v": [1], "id": "a"}', 'the value at "v" is a list or an object, not a number'),
        (b'{"id": "a"}', 'there is nothing at "v" (value_path)'),
        (b'{"v": 1}', 'there is nothing at "id" (channel_path)'),
        (b'{"v": 1, "id": {}}', 'the value at "id" (channel_path) is not a name'),
        (b'{"v": 1, "id": "\\ud800"}', "the name of the channel has characters that can't be printed"),
        (b'{"v": 1, "id": "%s"}' % (b"n" * 201), "the name of the channel is longer than 200 characters"),
        (b"\x00\x01", "this is not JSON: Expecting value at character 1"),
        (b"\xff", "these bytes are not text (UTF-8)"),
        (b" " * 300_000, "the message is larger than 262144 bytes"),
    ],
)
def test_json_that_gives_nothing(payload, why):
    decoded = json_decoder(PayloadRule(channel_path="id", value_path="v"))("x", payload, NOW)
    assert decoded.found == ()
    assert whys(decoded) == [why]


def test_absurd_but_finite_numbers_pass_to_be_judged_later():
    decoded = json_decoder(PayloadRule(channel="a"))("x", b"1e308", NOW)
    assert decoded.found == (Found("a", 1e308),)


@pytest.mark.parametrize("build", [number_decoder, senml_decoder])
def test_paths_where_there_are_none_are_refused_when_built(build):
    with pytest.raises(ValueError, match="paths"):
        build(PayloadRule(value_path="v"))


def test_a_delivery_carries_the_start_of_the_text():
    decoded = number_decoder(PayloadRule(channel="a"))("x", b"-1\n", NOW)
    delivery = delivery_of(decoded, b"-1\n", SourceId("m"), NOW, retained=True, token="3:ab", again=True)
    (sample,) = delivery.samples
    assert (sample.text, sample.retained, sample.arrived_at, sample.taken_at) == ("-1\\n", True, NOW, None)
    assert (delivery.token, delivery.again) == ("3:ab", True)


@given(st.text() | st.binary())
def test_what_is_shown_is_short_printable_and_storable(text):
    look = shown(text)
    assert len(look) <= 200
    assert look.isprintable()
    assert look.encode("utf-8").decode() == look


RULES = {
    "number": [PayloadRule(), PayloadRule(channel_level=3)],
    "json": [
        PayloadRule(value_path="v", channel_path="n", time_path="t", time_unit=unit)
        for unit in ("s", "ms", "iso")
    ],
    "senml": [PayloadRule(), PayloadRule(channel="a"), PayloadRule(channel_level=2)],
}
LEAVES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
LABELS = st.sampled_from(
    ["v", "n", "t", "bn", "bt", "bu", "bv", "bs", "bver", "u", "vs", "vb", "vd", "s", "ut", "x_"]
)
DOCUMENTS = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(LABELS, inner, max_size=6),
    max_leaves=20,
)


@pytest.mark.parametrize("name", PAYLOAD_DECODERS)
@given(st.text(max_size=20), st.binary() | DOCUMENTS.map(lambda d: json.dumps(d).encode()))
def test_no_payload_makes_a_decoder_raise(name, topic, payload):
    for rule in RULES[name]:
        decoded = PAYLOAD_DECODERS[name](rule)(topic, payload, NOW)
        for refused in decoded.refused:
            assert len(refused.text) <= 200
            assert (refused.text + refused.why).encode()
        for found in decoded.found:
            assert abs(found.value) < float("inf")
            assert found.channel.encode()
            assert found.taken_at is None or 0 <= found.taken_at <= 253_402_300_799_999
        assert decoded.found or decoded.refused
