"""SenML against RFC 8428 (Sensor Measurement Lists, August 2018).

Examples marked "working group" were read in the IETF core-wg/senml-spec repository (drafts of RFC 8428, whose
examples differ from the RFC's in separators and bver only); rules marked RFC come with their section number.
"""

import json

import pytest

from rimekeeper.core.decoding.found import Found
from rimekeeper.core.decoding.senml import Resolved, decode_senml, resolve
from rimekeeper.core.model import Instant, Scale

NOW = Instant(1_800_000_000_000)


def pack(*records):
    return json.dumps(records).encode()


def whys(decoded):
    return [r.why for r in decoded.refused]


def test_base_values_and_order_of_time():
    # science.md section 11, worked from RFC 8428 sections 4.5 and 4.6.
    payload = b'[{"bn":"k:","bt":1.7e9,"bu":"Cel","bv":-20,"n":"fz1","v":1.5},{"n":"fz2","v":-0.25,"t":-10}]'
    assert decode_senml(payload, NOW).found == (
        Found("k:fz2", -20.25, Scale.CELSIUS, Instant(1_699_999_990_000)),
        Found("k:fz1", -18.5, Scale.CELSIUS, Instant(1_700_000_000_000)),
    )


def test_single_datapoint():
    # Working group, "Single Datapoint" (RFC 8428 section 5.1.1).
    payload = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert decode_senml(payload, NOW).found == (Found("urn:dev:ow:10e2073a01080063", 23.1, Scale.CELSIUS),)


def test_multiple_datapoints_resolved():
    # Working group, ex3 and its published resolved form (RFC 8428 section 5.1.2).
    base = "urn:dev:ow:10e2073a0108006:"
    payload = pack(
        {"bn": base, "bt": 1.276020076001e09, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
        *({"n": "current", "t": -5 + i, "v": (12 + i) / 10} for i in range(5)),
        {"n": "current", "v": 1.7},
    )
    resolved, refused = resolve(payload)
    assert refused == ()
    expected = [
        ("voltage", "V", 1.276020076001e09, 120.1),
        ("current", "A", 1.276020071001e09, 1.2),
        ("current", "A", 1.276020072001e09, 1.3),
        ("current", "A", 1.276020073001e09, 1.4),
        ("current", "A", 1.276020074001e09, 1.5),
        ("current", "A", 1.276020075001e09, 1.6),
        ("current", "A", 1.276020076001e09, 1.7),
    ]
    in_order = sorted(expected, key=lambda r: r[2])
    assert [(r.name, r.unit, r.value) for r in resolved] == [(base + n, u, v) for n, u, _, v in in_order]
    assert [r.time for r in resolved] == pytest.approx([t for *_, t, _ in in_order], abs=1e-6)
    assert whys(decode_senml(payload, NOW)) == [
        "the pack has no temperature (unit Cel or K); units seen: A, V"
    ]


def test_base_unit_is_overridden_and_other_units_are_passed_over():
    # Working group, ex6 "Collection of Resources" (RFC 8428 section 5.1.5), names without brackets.
    payload = pack(
        {"bn": "2001:db8::2/", "bt": 1.320078429e09, "bver": 5, "n": "temperature", "u": "Cel", "v": 27.2},
        {"n": "humidity", "u": "%RH", "v": 80},
    )
    decoded = decode_senml(payload, NOW)
    assert decoded.found == (
        Found("2001:db8::2/temperature", 27.2, Scale.CELSIUS, Instant(1_320_078_429_000)),
    )
    assert decoded.refused == ()


def test_text_truth_and_data_are_passed_over():
    # Working group, ex7 "Multiple Data Types" (RFC 8428 section 5.1.4).
    payload = pack(
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    )
    decoded = decode_senml(payload, NOW)
    assert decoded.found == (Found("urn:dev:ow:10e2073a01080063:temp", 23.1, Scale.CELSIUS),)
    assert decoded.refused == ()


def test_times_below_two_to_the_28_are_relative_to_now():
    # RFC 8428 section 4.5.3.
    payload = pack(
        {"n": "a", "t": -5, "v": 1},
        {"n": "b", "t": 2**28 - 1, "v": 2},
        {"n": "c", "t": 2**28, "v": 3},
        {"n": "d", "t": 0, "v": 4},
    )
    stamps = {f.channel: f.taken_at for f in decode_senml(payload, NOW).found}
    assert stamps == {"a": NOW - 5_000, "b": NOW + (2**28 - 1) * 1000, "c": 2**28 * 1000, "d": None}


def test_kelvin_is_taken_and_no_unit_leaves_the_scale_open():
    # RFC 8428 section 12.1 registers Cel and K; F is the farad there.
    found = decode_senml(pack({"n": "a", "u": "K", "v": 255.15}, {"n": "b", "v": 1}), NOW).found
    assert found == (Found("a", 255.15, Scale.KELVIN), Found("b", 1.0))
    assert "units seen: F" in whys(decode_senml(pack({"n": "a", "u": "F", "v": 1}), NOW))[0]


def test_a_sum_without_a_value_is_legal_and_no_temperature():
    # RFC 8428 sections 4.2 and 4.5.4: the value may be absent where there is a sum. Absent is not zero.
    resolved, refused = resolve(pack({"bn": "p", "bv": 5, "bs": 10, "s": 2.5}, {"s": 1}))
    assert refused == ()
    assert resolved == (Resolved("p", None, 0.0, None, 12.5), Resolved("p", None, 0.0, None, 11.0))
    decoded = decode_senml(pack({"n": "p", "s": 2.5}), NOW)
    assert (decoded.found, len(decoded.refused)) == ((), 1)


def test_a_record_of_base_fields_only_sets_them():
    assert decode_senml(pack({"bn": "k/", "bu": "Cel"}, {"n": "a", "v": 3}), NOW).found == (
        Found("k/a", 3.0, Scale.CELSIUS),
    )


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        # RFC 8428 section 4.4: a label ending in _ must be understood.
        (pack({"n": "a", "v": 1}, {"n": "b", "v": 2, "scale_": 2}), 'has "scale_", which must be understood'),
        (
            pack({"n": "a", "v": 1, "bver": 11}),
            '"bver" is 11; this reader understands SenML up to version 10',
        ),
        (pack({"n": "a", "v": 1, "bver": True}), '"bver" is not a version number'),
        (pack({"n": "a", "v": 1, "bv": "2"}), 'record 1: "bv" is text, not a number'),
        (pack({"n": "a", "v": 1, "bn": 2}), 'record 1: "bn" is not text'),
        (b'{"n": "a", "v": 1}', "a SenML pack is a JSON array of records"),
        (b"[1]", "record 1 is not an object"),
        (b"[]", "the pack has no temperature (unit Cel or K)"),
        (pack(*[{}] * 10_001), "the pack has more than 10000 records"),
        (b"[", "this is not JSON"),
    ],
)
def test_packs_that_are_refused_whole(payload, why):
    decoded = decode_senml(payload, NOW)
    assert decoded.found == ()
    assert why in whys(decoded)[0]


@pytest.mark.parametrize(
    ("record", "why"),
    [
        ({"n": "a", "v": "72.5"}, 'record 1: "v" is text, not a number'),
        ({"n": "a", "v": True}, 'record 1: "v" is true or false, not a number'),
        ({"n": "a", "v": float("nan")}, 'record 1: "v" is NaN, not a number'),
        ({"n": "a", "v": 1, "vs": "x"}, "record 1: it has more than one value (v, vs)"),
        ({"n": "a"}, "record 1: it has neither a value nor a sum"),
        ({"n": "a", "v": 1, "t": "x"}, 'record 1: "t" is text, not a number'),
        ({"n": 5, "v": 1}, 'record 1: "n" is not text'),
        ({"v": 1}, "the name of the channel is empty"),
        ({"n": "_a", "v": 1}, '"_a" is not a SenML name (letters, digits and - : . / _)'),
        ({"n": "a", "v": 1e308, "bv": 1e308}, 'record 1: "v" with its base value is infinite, not a number'),
    ],
)
def test_bad_records_leave_the_good_ones(record, why):
    decoded = decode_senml(pack(record, {"n": "good", "v": 4, "bv": 0}), NOW)
    assert decoded.found == (Found("good", 4.0),)
    assert whys(decoded) == [why]


def test_unknown_labels_are_ignored():
    # RFC 8428 section 4.4.
    assert decode_senml(pack({"n": "a", "v": 1, "mood": "cold"}), NOW).found == (Found("a", 1.0),)


def test_nameless_records_take_the_channel_of_the_rule():
    assert decode_senml(pack({"v": 1}), NOW, "fz1").found == (Found("fz1", 1.0),)
