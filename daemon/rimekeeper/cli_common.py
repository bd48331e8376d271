"""What the commands share: where the data folder is, how they print, which exit codes they use."""

from __future__ import annotations

import enum
import os
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from rich.console import Console

from rimekeeper.core.errors import RefusedError

console = Console()
complaints = Console(stderr=True)

DataOption = Annotated[
    Path | None,
    typer.Option("--data", help="Data folder of the daemon.", envvar="RIMEKEEPER_DATA", show_envvar=True),
]
KitchenOption = Annotated[
    Path,
    typer.Option("--kitchen", "-k", help="Kitchen file.", envvar="RIMEKEEPER_KITCHEN", show_envvar=True),
]


def say(text: str) -> None:
    """A plain line."""
    console.print(text, markup=False, highlight=False, soft_wrap=True)


def complain(text: str) -> None:
    """A plain line where complaints go."""
    complaints.print(text, markup=False, highlight=False, soft_wrap=True)


def misused(sentence: str) -> NoReturn:
    """The command was given something that it can't take: say so and end."""
    complain(sentence)
    raise typer.Exit(Exit.USAGE)


class Exit(enum.IntEnum):
    """Exit codes, documented in the help text."""

    OK = 0
    REFUSED = 1
    USAGE = 2
    CONFIG = 3
    UNREACHABLE = 4
    STORE = 5
    INTERRUPTED = 130


def data_folder(given: Path | None, from_file: Path | None = None) -> Path:
    """The data folder: as given, as the kitchen file says, or the user's own place for such data."""
    if given is not None:
        return given.expanduser()
    if from_file is not None:
        return from_file
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "rimekeeper"


def daemon_folder(given: Path | None) -> Path:
    """The folder of the daemon that a command speaks to: found as ``rimekeeper run`` finds it from here."""
    kitchen = Path(os.environ.get("RIMEKEEPER_KITCHEN", "kitchen.toml"))
    if given is not None or not kitchen.is_file():
        return data_folder(given)
    try:
        named = tomllib.loads(kitchen.read_text(encoding="utf-8")).get("kitchen", {}).get("data")
    except (OSError, ValueError):
        named = None
    return data_folder(None, kitchen.parent / named if isinstance(named, str) else None)


def bindings_of(pairs: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Role and probe of each ROLE=PROBE.

    Raises:
        RefusedError: one of them is not such a pair.
    """
    found = []
    for pair in pairs:
        role, sign, probe = pair.partition("=")
        if not (role and sign and probe):
            raise RefusedError(f'"{pair}" is not a binding; write ROLE=PROBE, such as pan=stove-pan.')
        found.append((role, probe))
    return tuple(found)
