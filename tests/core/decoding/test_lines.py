"""Line decoders: fields, pattern, JSON; each channel stands or falls by itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.decoding import LINE_DECODERS, LineRule
from rimekeeper.core.decoding.found import Found
from rimekeeper.core.decoding.lines import LinePlace, fields_decoder, json_line_decoder, pattern_decoder
from rimekeeper.core.model import Scale


def whys(decoded):
    return [r.why for r in decoded.refused]


def test_fields_by_position():
    decode = fields_decoder([LinePlace("pan", field=2), LinePlace("base", field=3)])
    assert decode("S1, 72.5 ,-18.2C\r").found == (Found("pan", 72.5), Found("base", -18.2, Scale.CELSIUS))


def test_one_bad_field_leaves_the_other_channels():
    decode = fields_decoder(
        [LinePlace("pan", field=1), LinePlace("base", field=2), LinePlace("core", field=9)]
    )
    decoded = decode("ERR,180 °F")
    assert decoded.found == (Found("base", 180.0, Scale.FAHRENHEIT),)
    assert whys(decoded) == [
        'channel "pan": field 1, "ERR" is text, not a number',
        'channel "core": field 9 is needed, but the line has 2',
    ]


def test_blank_separator_takes_any_run_of_blanks():
    decode = fields_decoder([LinePlace("a", field=2)], " ")
    assert decode("  T1    4.25  ").found == (Found("a", 4.25),)


def test_a_single_channel_needs_no_position_but_several_do():
    assert fields_decoder([LinePlace("a")])("3.5").found == (Found("a", 3.5),)
    with pytest.raises(ValueError, match='channel "a" needs field'):
        fields_decoder([LinePlace("a"), LinePlace("b", field=2)])


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("nan", "is not a number: the instrument has no value to give"),
        ("-Inf", "is not a number: the instrument has no value to give"),
        ("", "is empty, not a number"),
        ("72,5", "decimal comma"),
        ("1_000", "is text, not a number"),
        ("٣", "is text, not a number"),
        ("1e999", "is too large to be a number"),
        ('"72.5"', "is quoted text, not a number"),
        ("9" * 65, "is too long to be a number"),
        ("72.5 X", "is text, not a number"),
    ],
)
def test_what_is_no_number(text, why):
    decoded = fields_decoder([LinePlace("a")], ";")(text or " ; ")
    assert decoded.found == ()
    assert why in whys(decoded)[0]


def test_absurd_but_finite_numbers_pass_to_be_judged_later():
    assert fields_decoder([LinePlace("a")])("1e308").found == (Found("a", 1e308),)


def test_pattern_groups():
    decode = pattern_decoder(
        [LinePlace("pan"), LinePlace("base", group="b")], r"P=(?P<pan>\S+)(?: B=(?P<b>\S+))?"
    )
    assert decode("> P=82.1F B=4").found == (Found("pan", 82.1, Scale.FAHRENHEIT), Found("base", 4.0))
    decoded = decode("P=82.1")
    assert decoded.found == (Found("pan", 82.1),)
    assert whys(decoded) == ['channel "base": "" is empty, not a number']
    assert whys(decode("boot ok")) == ["the line does not fit the pattern"]


def test_pattern_trouble_is_found_when_it_is_built():
    with pytest.raises(ValueError, match="lacks"):
        pattern_decoder([LinePlace("pan")], r"(?P<other>\d+)")
    with pytest.raises(ValueError, match="no named group"):
        pattern_decoder([], r"\d+")
    with pytest.raises(ValueError, match="regular expression"):
        pattern_decoder([], r"(")


def test_json_by_path():
    decode = json_line_decoder([LinePlace("pan", path="t[1].c"), LinePlace("base")])
    assert decode('{"t": [1, {"c": 82.5}], "base": -4}').found == (Found("pan", 82.5), Found("base", -4.0))
    assert whys(decode('{"t": [1, {"c": "82.5"}], "base": true}')) == [
        'channel "pan": the value at "t[1].c" is text, not a number',
        'channel "base": the value at "base" is true or false, not a number',
    ]
    assert whys(decode('{"base": NaN}')) == [
        'channel "pan": there is nothing at "t[1].c"',
        'channel "base": the value at "base" is NaN, not a number',
    ]
    assert "nothing at" in whys(decode('{"t": [1, 2], "base": 1}'))[0]
    assert "nothing at" in whys(decode('{"t": [1], "base": 1}'))[0]
    assert "is infinite" in whys(decode('{"base": 1e999}'))[1]
    assert "too large" in whys(decode('{"base": %s}' % ("9" * 400)))[1]
    assert whys(decode("{")) == [
        "this is not JSON: Expecting property name enclosed in double quotes at character 2"
    ]
    assert whys(decode("[" * 100_000)) == ["this JSON is nested too deeply"]
    assert whys(decode("9" * 5_000)) == ["this JSON has a number with too many digits"]


@pytest.mark.parametrize("path", [".a", "a..b", "a[", "a[x]", "[]"])
def test_paths_that_are_none(path):
    with pytest.raises(ValueError, match="is not a path"):
        json_line_decoder([LinePlace("a", path=path)])


def test_without_channels_every_number_is_shown():
    assert LINE_DECODERS["fields"](LineRule())("S1,72.5,4").found == (Found("2", 72.5), Found("3", 4.0))
    assert LINE_DECODERS["json"](LineRule())('{"a": {"b": [1, "x"]}, "c": 2}').found == (
        Found("a.b[0]", 1.0),
        Found("c", 2.0),
    )
    pattern = LINE_DECODERS["pattern"](LineRule(pattern=r"(?P<p>\S+) (?P<q>\S+)"))
    assert pattern("1 x").found == (Found("p", 1.0),)
    assert whys(LINE_DECODERS["fields"](LineRule())("hello")) == ["there is no number in it"]
    assert whys(LINE_DECODERS["json"](LineRule())("{}")) == ["there is no number in it"]
    assert whys(LINE_DECODERS["json"](LineRule())("[" * 12 + "1" + "]" * 12)) == ["there is no number in it"]
    assert LINE_DECODERS["json"](LineRule())('{"a\\u0000": 1, "b": 2}').found == (Found("b", 2.0),)


def test_an_empty_line_is_nothing_at_all():
    for name in LINE_DECODERS:
        decoded = LINE_DECODERS[name](LineRule(pattern="(?P<a>x)"))(" \r")
        assert (decoded.found, decoded.refused) == ((), ())


PLACES = [LinePlace("a", field=1, group="a", path="a[0]"), LinePlace("b", field=2, group="b", path="b")]
RULES = [
    LineRule(places, separator, r"(?P<a>[^,]*),(?P<b>.*)")
    for places in (PLACES, [])
    for separator in (",", " ", "\t")
]
LINES = st.text() | st.from_regex(r"[-+0-9.eEnaifNF,; \"{}:\[\]ab]*", fullmatch=True)


@pytest.mark.parametrize("name", LINE_DECODERS)
@given(LINES)
def test_no_line_makes_a_decoder_raise(name, line):
    for rule in RULES:
        decoded = LINE_DECODERS[name](rule)(line)
        for refused in decoded.refused:
            assert len(refused.text) <= 200
            assert refused.text.isprintable()
        for found in decoded.found:
            assert abs(found.value) < float("inf")
