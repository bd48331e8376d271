"""Whatever a file says, checking it ends in messages: each one line, in words of ours, at a line that exists."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.files import KITCHEN, SHEET, kitchen_at
from rimekeeper.config.loading import KitchenFileError, check, load

VALUES = st.sampled_from(
    ["1", "-5", "1.5", "nan", "inf", "true", '""', '"x"', '"82 C"', '"15 min"', "[]", "[1]", '["a"]', "[[1]]",
     "[{}]", "{}", "{ a = 1 }", "{ name = 2 }", "2026-11-25", "07:00:00", '"\\u0000"', '"' + "x" * 500 + '"']
)  # fmt: skip
EXTRA = st.sampled_from(
    ["kitchen = 1", "[probe]", "[probe.x]", "[probe.pan.sensor]\nkind = 3", '[probe.pan.sensor]\nkind = "pt100"\nlead = {}', 'sensor = "loop"', "[[probe]]", "[station.pan.ceiling]", "[[stage]]", "[mix]", "[[role]]",
     "[serial]\nx = 1", "[mqtt.house.tls]", "[callout]", "[[button]]", "[sheet.x]", "web = []", 'serial."" = {}']
)  # fmt: skip


@st.composite
def spoiled(draw, text):
    """A right file in which some values and lines are something else."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.integers(0, 3)):
            case 0 if " = " in lines[at]:
                lines[at] = lines[at].split(" = ")[0] + " = " + draw(VALUES)
            case 1:
                del lines[at]
            case 2:
                lines.insert(at, draw(EXTRA))
            case _:
                lines.insert(
                    at, draw(st.sampled_from(["odd = ", "channel = ", "limit = ", "id = "])) + draw(VALUES)
                )
    return "\n".join(lines) + "\n"


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spoiled(KITCHEN), spoiled(SHEET))
def test_a_spoiled_file_gives_messages(tmp_path, kitchen, sheet):
    path = kitchen_at(tmp_path, kitchen, custard=sheet)
    problems = check(path, look_at_ports=False)
    sizes = {"kitchen.toml": kitchen.count("\n"), "sheets/custard.toml": sheet.count("\n")}
    for problem in problems:
        assert "\n" not in str(problem)
        assert "can't be used: " not in str(problem)
        assert "this can't be read (" not in str(problem)
        assert problem.line is None or 1 <= problem.line <= sizes[problem.file]
    grave = [p for p in problems if p.severity == "error" and p.file == "kitchen.toml"]
    if grave:
        with pytest.raises(KitchenFileError) as refused:
            load(path)
        assert [p for p in refused.value.problems if p in grave] == grave
    else:
        sheets = load(path).plan.sheets
        assert (sheets == {}) == any(p.severity == "error" for p in problems)
