"""Reading the kitchen file and its sheets: everything that is wrong at once, or everything the house needs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rimekeeper.config.edge_checks import EDGE_CHECKS, ports_there
from rimekeeper.config.edges import ModbusSettings, MqttSettings, SerialSettings
from rimekeeper.config.kitchen import ChannelSettings, KitchenFile, WebSettings, is_id
from rimekeeper.config.kitchen_checks import KITCHEN_CHECKS, KitchenUnderCheck
from rimekeeper.config.planning import (
    beside,
    channel_settings,
    kitchen_plan,
    modbus_settings,
    mqtt_settings,
    serial_settings,
    sheet_plan,
)
from rimekeeper.config.problems import KitchenFileError, Problem
from rimekeeper.config.sheet import SheetFile
from rimekeeper.config.sheet_checks import SHEET_CHECKS, SheetUnderCheck
from rimekeeper.config.toml_text import read_toml
from rimekeeper.config.validation import Validated, validate
from rimekeeper.core.model import SheetId
from rimekeeper.core.plan import ButtonPlan, KitchenPlan, SheetPlan

__all__ = ["Button", "KitchenFileError", "Loaded", "Problem", "check", "load", "load_sheet"]

_KITCHEN_STAND_INS = {"kitchen": {"name": "?", "zone": "UTC"}}
_SHEET_STAND_INS = {"sheet": {"name": "?"}}


@dataclass(frozen=True, slots=True)
class Button:
    """A button and the broker (name of its ``[mqtt.NAME]``) on which it is heard."""

    mqtt: str
    plan: ButtonPlan


@dataclass(frozen=True, slots=True)
class Loaded:
    """Everything the files say. ``serial``, ``modbus`` and ``mqtt`` carry their table's name in ``.name`` and full file paths."""

    plan: KitchenPlan
    serial: Mapping[str, SerialSettings]
    modbus: Mapping[str, ModbusSettings]
    mqtt: Mapping[str, MqttSettings]
    channels: Mapping[str, ChannelSettings]
    web: WebSettings
    buttons: tuple[Button, ...]
    data_folder: Path | None
    path: Path
    sheet_paths: Mapping[SheetId, Path]
    file: KitchenFile
    problems: tuple[Problem, ...] = ()
    """Warnings, and the sheets that were left out with their reasons."""


@dataclass(frozen=True)
class _Sheet:
    path: Path
    plan: SheetPlan | None
    problems: tuple[Problem, ...]


def load(path: Path, *, leave_out_bad_sheets: bool = True) -> Loaded:
    """Read the kitchen file and its sheets.

    Raises:
        KitchenFileError: with every problem; with ``leave_out_bad_sheets`` those of sheets only stand in
            ``Loaded.problems`` and the kitchen runs with the others.
    """
    source = validate(read_toml(path, path.name), KitchenFile, _KITCHEN_STAND_INS)
    problems, sheets = _kitchen_problems(source, path), _sheets(source, path)
    of_sheets = [problem for sheet in sheets for problem in sheet.problems]
    grave = [] if leave_out_bad_sheets else of_sheets
    if source.model is None or any(p.severity == "error" for p in [*problems, *grave]):
        raise KitchenFileError([*problems, *of_sheets])
    file, folder = source.model, path.parent.absolute()
    plans = {sheet.plan.id: sheet.plan for sheet in sheets if sheet.plan is not None}
    return Loaded(
        plan=kitchen_plan(file, plans),
        serial=serial_settings(file),
        modbus=modbus_settings(file),
        mqtt=mqtt_settings(file, folder),
        channels=channel_settings(file, folder),
        web=file.web,
        buttons=tuple(Button(b.mqtt, ButtonPlan(topic=b.topic, does=b.does)) for b in file.button),
        data_folder=None if file.kitchen.data is None else Path(beside(folder, file.kitchen.data)),
        path=path,
        sheet_paths={sheet.plan.id: sheet.path for sheet in sheets if sheet.plan is not None},
        file=file,
        problems=(*problems, *of_sheets),
    )


def check(
    path: Path, *, look_at_ports: bool = True, seen: Callable[[], Sequence[str]] | None = None
) -> tuple[Problem, ...]:
    """Every problem and warning of the kitchen file and all its sheets, in order of file and line.

    Args:
        path: the kitchen file.
        look_at_ports: whether a serial port that is not there now counts as a problem.
        seen: the device paths of this machine's ports; asked of the system by default.
    """
    source = validate(read_toml(path, path.name), KitchenFile, _KITCHEN_STAND_INS)
    problems = list(_kitchen_problems(source, path))
    if look_at_ports and source.model is not None:
        under_check = KitchenUnderCheck(source, source.model, path.parent.absolute())
        problems += ports_there(under_check, lambda port: Path(port).exists(), seen or _ports_seen)
    sheets = [problem for sheet in _sheets(source, path) for problem in sheet.problems]
    return (*sorted(problems, key=_line), *sheets)


def load_sheet(path: Path) -> SheetPlan:
    """One batch sheet by itself.

    Raises:
        KitchenFileError: something in it is wrong; warnings are no reason.
    """
    sheet = _sheet(path, str(path), {})
    if sheet.plan is None:
        raise KitchenFileError(sheet.problems)
    return sheet.plan


def _line(problem: Problem) -> int:
    return problem.line or 0


def _ports_seen() -> list[str]:
    from serial.tools import list_ports  # noqa: PLC0415  only asked when a port is missing

    return sorted(port.device for port in list_ports.comports())


def _kitchen_problems(source: Validated[KitchenFile], path: Path) -> tuple[Problem, ...]:
    found = list(source.problems)
    if source.model is not None:
        under_check = KitchenUnderCheck(source, source.model, path.parent.absolute())
        for find in (*KITCHEN_CHECKS, *EDGE_CHECKS):
            found += find(under_check)
        found += _folder(source, path)
    return tuple(sorted(found, key=_line))


def _folder(source: Validated[KitchenFile], path: Path) -> list[Problem]:
    if source.model is None:
        return []
    folder = path.parent / source.model.kitchen.sheets
    if "sheets" in source.model.kitchen.model_fields_set and not folder.is_dir():
        return [
            source.text.problem(
                ("kitchen", "sheets"),
                f'the folder "{source.model.kitchen.sheets}" is not there',
                f"Looked for {folder}.",
            )
        ]
    if not list(_sheet_files(folder)):
        return [
            source.text.problem(
                ("kitchen",),
                f"there is no batch sheet in {folder}",
                "Put one there to start batches; stations are watched all the same.",
                warning=True,
            )
        ]
    return []


def _sheet_files(folder: Path) -> list[Path]:
    return sorted(file for file in folder.glob("*.toml") if not file.name.startswith((".", "~", "#")))


def _sheets(source: Validated[KitchenFile], kitchen: Path) -> list[_Sheet]:
    named = source.text.document.get("kitchen")
    folder = named.get("sheets", "sheets") if isinstance(named, dict) else "sheets"
    if not isinstance(folder, str):
        return []
    taken: dict[SheetId, Path] = {}
    return [_sheet(path, f"{folder}/{path.name}", taken) for path in _sheet_files(kitchen.parent / folder)]


def _sheet(path: Path, name: str, taken: dict[SheetId, Path]) -> _Sheet:
    source = validate(read_toml(path, name), SheetFile, _SHEET_STAND_INS)
    problems = list(source.problems)
    if source.model is None:
        return _Sheet(path, None, tuple(problems))
    for find in SHEET_CHECKS:
        problems += find(SheetUnderCheck(source, source.model))
    sheet = SheetId(source.model.sheet.id or path.stem)
    problems += _id_problems(source, path, sheet, taken)
    problems.sort(key=_line)
    if any(problem.severity == "error" for problem in problems):
        return _Sheet(path, None, tuple(problems))
    taken[sheet] = path
    return _Sheet(path, sheet_plan(source.model, sheet), tuple(problems))


def _id_problems(
    source: Validated[SheetFile], path: Path, sheet: SheetId, taken: Mapping[SheetId, Path]
) -> list[Problem]:
    if sheet in taken:
        return [
            source.text.problem(
                ("sheet", "id"),
                f'the sheet in {taken[sheet].name} has the id "{sheet}" already',
                "Give it another id.",
            )
        ]
    if source.model is not None and source.model.sheet.id is None and not is_id(path.stem):
        return [
            source.text.problem(
                ("sheet",),
                f"the file's name \"{path.stem}\" can't be an id",
                'Add id = "..." or rename the file with plain letters, digits and "-".',
            )
        ]
    return []
