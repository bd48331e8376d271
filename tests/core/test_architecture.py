"""The arrows between the rooms of the house, and what the core must not know, read from the syntax trees."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

import rimekeeper

HOUSE = Path(rimekeeper.__file__).parent
ALL = frozenset(
    {"core", "config", "intake", "keeping", "calling", "forwarding", "simulation", "runtime", "review", "web"}
)
"""The rooms: folders of the package. What lies beside them (app, cli, ...) composes and commands."""
MAY_IMPORT = {
    "core": {"core"},
    "config": {"config", "core"},
    "intake": {"intake", "core", "config"},
    "keeping": {"keeping", "core", "config"},
    "calling": {"calling", "core", "config"},
    "forwarding": {"forwarding", "core", "config"},
    "simulation": {"simulation", "core", "config"},
    "runtime": {"runtime", "core", "config"},
    "review": {"review", "core", "config", "keeping"},
    "web": {"web", "core", "config", "review", "keeping"},
}
RUNTIME_SEAM = {"review": {"runtime.ports"}, "web": {"runtime.ports"}, "*": {"runtime.ports"}}
"""The small protocols of the runtime are for everybody outside of core and config."""
PURE_LIBRARIES = {"numpy"}
BANNED_IN_CORE = {
    "asyncio",
    "io",
    "logging",
    "multiprocessing",
    "os",
    "pathlib",
    "random",
    "secrets",
    "select",
    "selectors",
    "shutil",
    "signal",
    "socket",
    "sqlite3",
    "ssl",
    "subprocess",
    "sys",
    "tempfile",
    "threading",
    "time",
    "uuid",
    "zoneinfo",
}
BANNED_CALLS = {"open", "print", "input", "eval", "exec", "breakpoint"}


def sources(room):
    return sorted((HOUSE / room).rglob("*.py"))


def imported(path):
    """Every module that a file imports, with its line."""
    package = ".".join(("rimekeeper", *path.relative_to(HOUSE).parent.parts))
    for node in ast.walk(ast.parse(path.read_text(), str(path))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = ".".join([*package.split(".")[: -node.level + 1 or None], base]).rstrip(".")
            yield base, node.lineno
            yield from ((f"{base}.{alias.name}", node.lineno) for alias in node.names)


def room_of(module):
    parts = module.split(".")
    return parts[1] if parts[0] == "rimekeeper" and len(parts) > 1 else None


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_arrows_run_one_way(room):
    seam = RUNTIME_SEAM.get(room, set() if room in ("core", "config") else RUNTIME_SEAM["*"])
    wrong = [
        f"{path.relative_to(HOUSE)}:{line} imports {module}"
        for path in sources(room)
        for module, line in imported(path)
        if (target := room_of(module)) in ALL
        and target not in MAY_IMPORT[room]
        and not any(f"{module}.".startswith(f"rimekeeper.{allowed}.") for allowed in seam)
        and not (module == "rimekeeper.runtime" and seam)
    ]
    assert wrong == []


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_no_room_knows_who_composes_it(room):
    composers = {path.stem for path in HOUSE.glob("*.py") if path.stem != "__init__"}
    wrong = [
        f"{path.relative_to(HOUSE)}:{line} imports {module}"
        for path in sources(room)
        for module, line in imported(path)
        if room_of(module) in composers
    ]
    assert wrong == []


def test_every_folder_is_a_known_room():
    folders = {path.parent.name for path in HOUSE.glob("*/__init__.py")}
    assert folders == set(MAY_IMPORT)


def test_the_core_is_the_standard_library_numpy_and_itself():
    wrong = [
        f"{path.relative_to(HOUSE)}:{line} imports {module}"
        for path in sources("core")
        for module, line in imported(path)
        if (top := module.split(".")[0]) != "rimekeeper"
        and (top in BANNED_IN_CORE or (top not in sys.stdlib_module_names and top not in PURE_LIBRARIES))
    ]
    assert wrong == []


def test_the_core_opens_and_prints_nothing():
    wrong = [
        f"{path.relative_to(HOUSE)}:{node.lineno} calls {node.func.id}"
        for path in sources("core")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in BANNED_CALLS
    ]
    assert wrong == []


def test_the_core_looks_at_no_clock():
    """Parsing a date is pure; asking for today's is not."""
    wrong = [
        f"{path.relative_to(HOUSE)}:{node.lineno} uses {ast.unparse(node)}"
        for path in sources("core")
        for node in ast.walk(ast.parse(path.read_text()))
        if (
            isinstance(node, ast.Attribute)
            and node.attr in ("utcnow", "today", "monotonic", "perf_counter", "time_ns")
        )
        or (
            isinstance(node, ast.Attribute)
            and node.attr == "now"
            and ast.unparse(node.value) in ("datetime", "datetime.datetime")
        )
    ]
    assert wrong == []


def test_the_core_has_no_chance_in_it():
    """numpy brings its own dice and its own files."""
    wrong = [
        f"{path.relative_to(HOUSE)}:{node.lineno} uses {ast.unparse(node)}"
        for path in sources("core")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id in ("np", "numpy")
        and node.attr in ("random", "load", "save", "savez", "memmap", "fromfile", "loadtxt", "savetxt")
    ]
    assert wrong == []


def test_the_walk_finds_what_it_bans(tmp_path, monkeypatch):
    """So that a test that looks at nothing can't pass."""
    assert len(sources("core")) > 30
    room = tmp_path / "core"
    room.mkdir()
    (room / "odd.py").write_text("import time\nfrom rimekeeper.web import api\nfrom ..keeping import store\n")
    monkeypatch.setattr(f"{__name__}.HOUSE", tmp_path)
    found = {module for module, _ in imported(room / "odd.py")}
    assert {"time", "rimekeeper.web", "rimekeeper.web.api", "rimekeeper.keeping"} <= found
    with pytest.raises(AssertionError, match=r"odd.py:2 imports rimekeeper\.web"):
        test_arrows_run_one_way("core")
    with pytest.raises(AssertionError, match=r"odd.py:1 imports time"):
        test_the_core_is_the_standard_library_numpy_and_itself()
