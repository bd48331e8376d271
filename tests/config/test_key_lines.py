"""Where keys stand: held against documents whose lines are known because they were written here."""

import string
import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.config.key_lines import key_lines

EXAMPLE = '''# a comment with [brackets] and "quotes"
[kitchen]
name = "Slipway # Ices"   # not a comment inside quotes
note = """
[not.a.table]
key = "not a key"
"""
"odd key" = 1

[[callout]]
priorities = [
  "high",   # a comment, with a comma
  "critical",
]
  [[callout.steps]]
  people = ["ada"]
  [[callout.steps]]
  people = ["bo"]
  wait = "5 min"
[[callout]]
  [[callout.steps]]
  people = ["ada"]
[serial.stove]
usb = { vendor = "0403", product = "6001" }
channels = [{ name = "pan", field = 1 },
            { name = "bowl", field = 2 }]
web.port = 1
path = 'C:\\dir'
[station."walk in".ceiling]
limit = "-15 C"
'''


def test_every_kind_of_key_is_found():
    lines = key_lines(EXAMPLE).lines
    assert {path: lines[path] for path in WANTED} == WANTED


WANTED = {
    ("kitchen",): 2,
    ("kitchen", "name"): 3,
    ("kitchen", "note"): 4,
    ("kitchen", "odd key"): 8,
    ("callout", 0): 10,
    ("callout", 0, "priorities"): 11,
    ("callout", 0, "priorities", 1): 13,
    ("callout", 0, "steps", 0, "people"): 16,
    ("callout", 0, "steps", 1): 17,
    ("callout", 0, "steps", 1, "wait"): 19,
    ("callout", 1): 20,
    ("callout", 1, "steps", 0, "people", 0): 22,
    ("serial", "stove", "usb", "product"): 24,
    ("serial", "stove", "channels", 0, "name"): 25,
    ("serial", "stove", "channels", 1, "field"): 26,
    ("serial", "stove", "web", "port"): 27,
    ("serial", "stove", "path"): 28,
    ("station", "walk in", "ceiling", "limit"): 30,
}


def paths_of(value, at=()):
    yield at
    if isinstance(value, dict):
        for key, inside in value.items():
            yield from paths_of(inside, (*at, key))
    elif isinstance(value, list):
        for number, inside in enumerate(value):
            yield from paths_of(inside, (*at, number))


def test_every_path_of_the_example_has_a_line_of_its_own():
    found = key_lines(EXAMPLE)
    for path in paths_of(tomllib.loads(EXAMPLE)):
        assert path == () or path in found.lines


def test_the_nearest_table_stands_in_for_a_key_that_is_missing():
    found = key_lines(EXAMPLE)
    assert found.line_of(("serial", "stove", "baud")) == 23
    assert found.line_of(("nowhere",)) is None


def test_what_is_written_twice():
    found = key_lines("[a]\nx = 1\nx = 2\n[b]\n[a]\n")
    assert found.twice == [(("a", "x"), 2, 3), (("a",), 1, 5)]


def test_no_false_twice_in_a_right_document():
    assert key_lines(EXAMPLE).twice == []
    assert key_lines("[a.b]\nx = 1\n[a]\ny = 2\n[c]\nd.e = 1\nd.f = 2\n").twice == []


names = st.text(string.ascii_lowercase + string.digits + "-_", min_size=1, max_size=6)
quoted = st.text(max_size=12).map(lambda t: '"' + "".join(f"\\U{ord(c):08x}" if not c.isalnum() else c for c in t
                                                          if not 0xD800 <= ord(c) <= 0xDFFF) + '"')  # fmt: skip
scalars = st.one_of(
    st.integers(-999, 999).map(str), quoted, st.just("true"), st.just("2026-11-25"), st.just('"""\n[x]\ny = 1\n"""'),
    st.just("'''\n#no\n'''"), st.just("1.5"), st.just("'it # is'"),
)  # fmt: skip
values = st.recursive(
    scalars,
    lambda inside: st.lists(inside, max_size=4).map(lambda parts: "[ # c\n" + ",\n".join(parts) + "\n]"),
    max_leaves=6,
)


@st.composite
def documents(draw):
    """A document and the line of every key in it."""
    text, lines = "", {}
    counts = {}
    for table in draw(st.lists(names, max_size=5, unique=True)):
        for _ in range(draw(st.integers(1, 3)) if draw(st.booleans()) else 0):
            text += draw(st.sampled_from(["", "\n", "# [c]\n"]))
            path = (table, counts.setdefault(table, 0))
            counts[table] += 1
            lines[path] = text.count("\n") + 1
            text += f"[[{table}]]\n"
            text += keys(draw, path, lines, text)
        if table not in counts:
            lines[(table,)] = text.count("\n") + 1
            text += f"[{table}]\n"
            text += keys(draw, (table,), lines, text)
    return text, lines


def keys(draw, path, lines, before):
    text = ""
    for key in draw(st.lists(names, max_size=4, unique=True)):
        text += draw(st.sampled_from(["", "\n", "  # note = 1\n"]))
        lines[(*path, key)] = (before + text).count("\n") + 1
        text += f"{draw(st.sampled_from(['', '  ']))}{key} = {draw(values)}\n"
    return text


@settings(max_examples=150, deadline=None)
@given(documents(), st.booleans())
def test_lines_of_written_documents(document, windows):
    text, lines = document
    if windows:
        text = text.replace("\n", "\r\n")
    read = tomllib.loads(text)
    found = key_lines(text)
    assert {path: found.lines.get(path) for path in lines} == lines
    assert found.twice == []
    assert all(path == () or path in found.lines for path in paths_of(read))


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.sampled_from("ab.=[]{}\"'\\#,\n\r\t 1") | st.characters(), max_size=80))
def test_no_text_breaks_it(text):
    found = key_lines(text)
    last = text.replace("\r\n", "\n").count("\n") + 1
    assert all(1 <= line <= last for line in found.lines.values())


def test_a_long_and_deep_text_is_done_soon():
    assert key_lines("a = " + "[" * 100_000).lines[("a",)] == 1
    assert key_lines('a = "' + "x" * 500_000).lines[("a",)] == 1
