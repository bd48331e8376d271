"""``rimekeeper mix`` as a cook uses it: words, plot, comparison, JSON, and each mistake in a sentence."""

import json

import pytest

from rimekeeper.core.process.ingredients import INGREDIENTS
from support.daemon import command

SHEET = """\
[sheet]
name = "{name}"
[mix]
water = 60.5
fat = {fat}
msnf = 9
sucrose = {sucrose}
{more}
[[role]]
id = "base"
name = "Base"
[[stage]]
id = "churn"
name = "Churn"
kind = "churn"
role = "base"
target_frozen = "55 %"
"""


@pytest.fixture
def sheets(tmp_path):
    folder = tmp_path / "sheets"
    folder.mkdir()
    (folder / "custard.toml").write_text(SHEET.format(name="Barley custard", fat=14.5, sucrose=16, more=""))
    (folder / "rum.toml").write_text(
        SHEET.format(name="Rum custard", fat=11.5, sucrose=16, more="alcohol = 3")
    )
    (folder / "bad.toml").write_text(SHEET.format(name="Bad", fat=4.5, sucrose=16, more=""))
    return folder


def test_the_curve_in_words_and_as_a_plot(sheets):
    """MSNF 9, sucrose 16, water 60.5: -2.476 °C, by hand from the table of Goff and Hartel."""
    told = command("mix", sheets / "custard.toml", "--serve", "-12 C")
    assert (told.returncode, told.stderr) == (0, "")
    lines = told.stdout.splitlines()
    assert lines[0] == "Barley custard"
    assert "  begins to freeze at -2.48 ± 0.10 °C" in lines
    assert any(line.startswith("  Churn: at -5.9 °C 55 ± 2 %") for line in lines)
    assert any(line.startswith("  served at -12.0 °C: 75 ± 2 % frozen, firm") for line in lines)
    assert sum(line.count("●") for line in lines) > 60
    assert not any("nan" in line for line in lines)


def test_two_mixes_beside_each_other(sheets):
    told = command("mix", sheets / "custard.toml", sheets / "rum.toml")
    assert told.returncode == 0
    assert (
        "  alcohol, outside the method: ethanol, 46.07 g/mol, 1 particle, ±15 %" in told.stdout.splitlines()
    )
    assert told.stdout.splitlines()[-1].startswith("At -12.0 °C Barley custard is harder than Rum custard: ")
    same = command("mix", sheets / "custard.toml", sheets / "custard.toml")
    assert "nobody can say which is harder" in same.stdout.splitlines()[-1]


def test_it_fits_a_narrow_terminal(sheets):
    told = command("mix", sheets / "custard.toml", COLUMNS="60")
    plot = [line for line in told.stdout.splitlines() if "┤" in line or "│" in line[:7] or "└" in line[:7]]
    assert plot
    assert max(map(len, plot)) <= 60


def test_json(sheets):
    told = json.loads(command("mix", sheets / "rum.toml", "--serve", "10 F", "--json").stdout)
    (one,) = told["mixes"]
    assert one["composition"]["alcohol"] == 3.0
    assert one["freezing_point"]["uncertainty"] > 0.2
    assert one["drawn"][0]["frozen"] == pytest.approx(0.55)
    assert one["served"]["celsius"] == pytest.approx(-12.222, abs=1e-3)
    assert [point["frozen"] for point in one["curve"]][:3] == [0.1, 0.2, 0.3]
    temperatures = [point["celsius"] for point in one["curve"]]
    assert temperatures == sorted(temperatures, reverse=True)


def test_without_a_sheet_the_ingredients_with_their_sources():
    lines = command("mix").stdout.splitlines()
    assert [line.partition(":")[0] for line in lines[::2]] == list(INGREDIENTS)
    assert all(line.startswith("  source: ") for line in lines[1::2])
    listed = json.loads(command("mix", "--json").stdout)
    assert [one["name"] for one in listed] == list(INGREDIENTS)


def test_a_sheet_by_its_name_beside_the_kitchen_file(sheets):
    told = command("mix", "custard", "--kitchen", sheets.parent / "kitchen.toml")
    assert told.stdout.startswith("Barley custard\n")


@pytest.mark.parametrize(
    ("given", "code", "says"),
    [
        (["custard.toml", "--serve", "cold"], 2, '--serve: "cold" is not a temperature; write a number and its scale, such as "82 C" or "180 F".'),
        (["custard.toml", "--serve", "-60 C"], 1, "The freezing curve is known down to -40 °C, not at -60.0 °C."),
        (["bad.toml"], 3, "line 3, mix: the parts add up to 90.0 %, not to 100 %"),
        (["none.toml"], 1, 'There is no sheet "'),
    ],
)  # fmt: skip
def test_a_mistake_is_a_sentence(sheets, given, code, says):
    told = command("mix", sheets / given[0], *given[1:])
    assert (told.returncode, told.stdout) == (code, "")
    assert says in told.stderr
    assert "Traceback" not in told.stderr
