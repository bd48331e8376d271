"""The README's snippets, taken out of it as they stand: they must pass ``rimekeeper check`` as written."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest

from rimekeeper.config.loading import check

README = Path(__file__).parents[2] / "README.md"
KITCHEN, SHEET, CALL_OUT = (
    textwrap.dedent(found)
    for found in re.findall(
        r"^ *```toml\n(.*?)^ *```", README.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE
    )
)


@pytest.fixture
def kitchen(tmp_path):
    sheets = tmp_path / "sheets"
    sheets.mkdir()
    (sheets / "plum-buttermilk-sherbet.toml").write_text(SHEET)
    return tmp_path / "kitchen.toml"


def test_the_kitchen_and_the_sheet(kitchen):
    kitchen.write_text(KITCHEN)
    problems = check(kitchen)
    # Nobody is called yet: that is the next chapter of the README.
    assert [(p.severity, "nobody is called" in str(p)) for p in problems] == [("warning", True)]


def test_the_kitchen_with_the_call_out(kitchen):
    kitchen.write_text(KITCHEN + CALL_OUT)
    problems = check(kitchen)
    assert [p for p in problems if p.severity == "error"] == []
    assert "phones in the house" in " ".join(map(str, problems))


def test_the_batch_command_fits_the_snippets():
    sheet, binding = re.search(r"batch start (\S+) --bind (\S+)", README.read_text(encoding="utf-8")).groups()
    role, probe = binding.split("=")
    assert sheet == "plum-buttermilk-sherbet"
    assert f'id = "{role}"' in SHEET
    assert f"[probe.{probe}]" in KITCHEN
