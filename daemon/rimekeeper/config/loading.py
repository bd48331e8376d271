"""Reading the kitchen file and its sheets: everything that is wrong at once, or everything the house needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from rimekeeper.config.edges import MqttSettings, SerialSettings
from rimekeeper.config.kitchen import ChannelSettings, KitchenFile, WebSettings
from rimekeeper.config.problems import KitchenFileError, Problem
from rimekeeper.core.model import SheetId
from rimekeeper.core.plan import ButtonPlan, KitchenPlan

__all__ = ["Button", "KitchenFileError", "Loaded", "Problem", "check", "load"]


@dataclass(frozen=True, slots=True)
class Button:
    """A button and the broker (name of its ``[mqtt.NAME]``) on which it is heard."""

    mqtt: str
    plan: ButtonPlan


@dataclass(frozen=True, slots=True)
class Loaded:
    """Everything the files say. ``serial`` and ``mqtt`` carry their table's name in ``.name`` and full file paths."""

    plan: KitchenPlan
    serial: Mapping[str, SerialSettings]
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


def load(path: Path, *, leave_out_bad_sheets: bool = True) -> Loaded:
    """Read the kitchen file and its sheets.

    Raises:
        KitchenFileError: with every problem; with ``leave_out_bad_sheets`` those of sheets only stand in
            ``Loaded.problems`` and the kitchen runs with the others.
    """
    raise NotImplementedError


def check(path: Path, *, look_at_ports: bool = True) -> tuple[Problem, ...]:
    """Every problem and warning of the kitchen file and all its sheets, in order of file and line."""
    raise NotImplementedError
