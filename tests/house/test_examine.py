"""``rimekeeper examine`` as a cook uses it: on our own export, on two columns, and each mistake in a sentence."""

from __future__ import annotations

import json
import math

import pytest

from house.rows import climb
from support.daemon import command, write

BEGIN = 1_795_600_800_000  # 2026-11-25T10:00:00Z
SHEET = """
[sheet]
name = "Quick custard"
allergens = ["milk", "egg"]

[[role]]
id = "pan"
name = "Pan"

[[stage]]
id = "cook"
name = "Cook"
kind = "cook"
role = "pan"
target = "82 C"
band = "0.5 K"
settle = "1 s"
hold = "15 s"
advance = "target"
[stage.ceiling]
limit = "85 C"
action = "Off the heat, now."

[[stage]]
id = "chill"
name = "Chill"
kind = "chill"
role = "pan"
target = "5 C"
"""
KITCHEN = """
[kitchen]
name = "Slipway Ices"
zone = "UTC"
[mqtt.house]
host = "127.0.0.1"
[[mqtt.house.topics]]
filter = "kitchen/+/celsius"
payload = "number"
channel_level = 2
[probe.pan]
name = "Pan"
source = "house"
accuracy = "0.25 K"
"""


@pytest.fixture
def place(tmp_path):
    write(tmp_path / "sheets" / "quick-custard.toml", SHEET)
    write(tmp_path / "kitchen.toml", KITCHEN)
    return tmp_path


def cooked():
    """From 60 °C by 0.1 K/s to 82.2 °C, there for 20 s, then down."""
    return [
        *(round(60.0 + 0.1 * n, 2) for n in range(222)),
        *[82.2] * 20,
        *(round(82.2 * math.exp(-n / 40.0), 2) for n in range(1, 130)),
    ]


def rows(values, header="time_ms,probe,celsius\n", line="{at},pan,{value}\n"):
    return header + "".join(line.format(at=BEGIN + n * 1000, value=v) for n, v in enumerate(values))


SURE = ("--accuracy", "0.25 K")


def examine(place, file, *more):
    return command(
        "examine", file, "--sheet", "quick-custard", "--kitchen", place / "kitchen.toml", *SURE, *more
    )


@pytest.fixture
def exported(place):
    """A batch kept by the real pipeline, given back by the real export."""
    curve = write(place / "run.csv", rows(cooked()))
    kept = command(
        "replay", curve, "--kitchen", place / "kitchen.toml", "--data", place / "data", "--sheet", "quick-custard",
        "--bind", "pan=pan",
    )  # fmt: skip
    assert kept.returncode == 0, kept.stderr
    out = place / "exported.csv"
    told = command("export", "--kitchen", place / "kitchen.toml", "--data", place / "data", "-o", out)
    assert told.returncode == 0, told.stderr
    return out


def test_our_own_export_gives_the_batch_as_it_was(place, exported):
    assert exported.read_text().splitlines()[1].endswith("quick-custard-1,cook,pan,")
    told = examine(place, exported, "--json")
    assert (told.returncode, told.stderr) == (0, "")
    found = json.loads(told.stdout)
    assert found["bindings"] == {"pan": "pan"}
    cook, chill = found["stages"]
    # 81.5 °C and 0.25 K counted against it: reached 218 s after 60 °C at 0.1 K/s; held 15 s from there.
    assert (cook["began"], cook["reached_at"]) == (BEGIN, BEGIN + 218_000)
    assert (cook["hold_met_at"], cook["ended"]) == (BEGIN + 233_000, BEGIN + 233_000)
    assert cook["verdict"] == "passed"
    assert (chill["began"], chill["phase"]) == (BEGIN + 233_000, "active")
    assert chill["verdict"] == "passed"
    assert chill["reasons"] == ["judged up to the last reading: the recording ends before the stage does"]
    kinds = [event["kind"] for event in found["events"]]
    assert {"batch.started", "stage.reached", "stage.held", "stage.advanced"} <= set(kinds)
    known = [one for one in found["forecasts"] if one["stage"] == "cook" and one["error_ms"] is not None]
    assert len(known) > 100
    assert all(one["error_ms"] == one["expected"] - (BEGIN + 218_000) for one in known)
    score = next(one for one in found["scores"] if one["stage"] == "cook")
    assert score["forecasts"] == len(known)
    assert score["median_share"] < 0.05
    assert "local food code" in found["caution"]
    assert not list(place.glob("*.db"))


def test_two_columns_in_words_and_as_a_plot(place):
    file = write(place / "plain.csv", rows(cooked(), "time_ms,celsius\n", "{at},{value}\n"))
    told = examine(place, file, "--plot")
    assert (told.returncode, told.stderr) == (0, "")
    lines = told.stdout.splitlines()
    assert any(line.startswith("Cook: passed") for line in lines)
    assert any("reached after 3 min 38 s" in line for line in lines)
    assert sum(line.count("●") for line in lines) > 60
    assert any("Forecast of Cook, target: came 10:03:38" in line for line in lines)
    assert any("Note: Chill ends by hand" in line for line in lines)
    assert "nan" not in told.stdout


def test_a_stage_begins_when_it_is_said(place):
    file = write(
        place / "plain.csv",
        rows([20.0 - 0.1 * n for n in range(200)], "time_ms,celsius\n", "{at},{value:.1f}\n"),
    )
    told = examine(place, file, "--begin", "chill=2026-11-25T10:00:30", "--json")
    assert told.returncode == 0, told.stderr
    cook, chill = json.loads(told.stdout)["stages"]
    assert chill["began"] == BEGIN + 30_000
    assert cook["verdict"] == "not passed"
    assert chill["reached_at"] == BEGIN + 153_000  # 5 °C and 0.25 K below it


def test_a_doubtful_row_of_the_export_stays_doubtful(place, exported):
    lines = exported.read_text().splitlines(keepends=True)
    lines[223] = lines[223].replace(",good,,", ",uncertain,reads the room: pulled out of the product?,")
    assert "uncertain" in lines[223]
    found = json.loads(examine(place, write(place / "doubt.csv", "".join(lines)), "--json").stdout)
    (event,) = [one for one in found["events"] if one["kind"] == "doubtful"]
    assert event["sentence"] == "pan: 1 doubtful reading, reads the room: pulled out of the product?."
    assert found["stages"][0]["uncertain"] + found["stages"][0]["bad"] == 1
    assert found["stages"][0]["hold_met_at"] is None
    assert found["stages"][0]["verdict"] != "passed"


def test_seldom_readings_are_not_passed_and_say_why(place):
    text = (
        "time_ms,celsius\n"
        + "".join(f"{BEGIN + n * 300_000},{60 + n * 5}\n" for n in range(5))
        + "".join(f"{BEGIN + (5 + n) * 300_000},82.2\n" for n in range(4))
    )
    told = examine(place, write(place / "seldom.csv", text))
    assert "Cook: not proven" in told.stdout
    assert "Readings of curve come every 300 s and --gap is 60 s" in told.stdout


@pytest.mark.parametrize(
    ("text", "more", "code", "says"),
    [
        ("", (), 1, "run.csv is empty"),
        ("time,celsius\n", (), 1, "run.csv has no readings below its first line"),
        ("a,b\n1,2\n", (), 1, "run.csv, line 1: there is no column time or time_ms"),
        ("time,probe\n1,2\n", (), 1, "run.csv, line 1: there is no column celsius or fahrenheit"),
        ("time,celsius\nyesterday,20\n", (), 1, 'run.csv, line 2: the time "yesterday"'),
        (
            "time,celsius\n2026-11-25T10:00:02Z,20\n2026-11-25T10:00:01Z,20\n", (), 1,
            "run.csv, line 3: its time comes before that of the row above it of curve. Sort the rows by time",
        ),
        ("time,celsius\n2026-11-25T10:00:02Z\n", (), 1, "run.csv, line 2: it has 1 cells, the first line names 2"),
        ("time,celsius\n2026-11-25T10:00:02Z,83,2\n", (), 1, "run.csv, line 2: it has 3 cells, the first line names 2"),
        (climb("pan", 20, 0.1, 3), ("--bind", "bowl=pan"), 1, 'Quick custard has no role "bowl". Its roles: pan.'),
        (climb("pan", 20, 0.1, 3), ("--bind", "pan=bowl"), 1, 'has no channel "bowl". Its channels: pan.'),
        (climb("pan", 20, 0.1, 3), ("--begin", "freeze=2026-11-25"), 1,
         'Quick custard has no stage "freeze". Its stages: cook, chill.'),
        (climb("pan", 20, 0.1, 3), ("--begin", "chill=noon"), 1, '--begin chill: the moment "noon"'),
        (climb("pan", 20, 0.1, 3), ("--accuracy", "0.4"), 2, '--accuracy: "0.4" is not a temperature difference'),
        (climb("pan", 20, 0.1, 3), ("--gap", "0 s"), 2, "--gap: no time at all proves nothing"),
        (climb("a", 20, 0.1, 3) + climb("b", 20, 0.1, 3), (), 1, "Say so with --bind ROLE=CHANNEL."),
    ],
)  # fmt: skip
def test_a_mistake_is_a_sentence_with_file_line_and_remedy(place, text, more, code, says):
    head = "" if not text or text[0].isalpha() else "time_ms,probe,celsius\n"
    told = examine(place, write(place / "run.csv", head + text), *more)
    assert (told.returncode, told.stdout) == (code, "")
    assert says in told.stderr
    assert "Traceback" not in told.stderr


def test_a_file_or_a_sheet_that_is_not_there(place):
    told = examine(place, place / "gone.csv")
    assert told.returncode == 1
    assert "gone.csv can't be read: No such file or directory. Is the path right?" in told.stderr
    file = write(place / "run.csv", rows([20.0]))
    told = command("examine", file, "--sheet", "nothing", "--kitchen", place / "kitchen.toml")
    assert told.returncode == 1
    assert 'There is no sheet "nothing". Looked for' in told.stderr
