"""The ``batch`` and ``alarms`` commands: each gives one command to the running daemon and prints its answer."""

from __future__ import annotations

import datetime as dt
import getpass
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer
from rich.table import Column, Table

from rimekeeper.cli_common import DataOption, bindings_of, console, daemon_folder
from rimekeeper.core.errors import RefusedError
from rimekeeper.remote import ask, find_contact, give

batch_app = typer.Typer(no_args_is_help=True, help="Start, advance, hold, undo, note, retime, end a batch.")
alarms_app = typer.Typer(no_args_is_help=True, help="List alarms and acknowledge them.")

BatchArgument = Annotated[str, typer.Argument(help="Batch id as 'batch list' shows it, such as custard-3.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason; it goes into the record.")]
WhoOption = Annotated[str, typer.Option("--who", help="Who does this; your login name by default.")]


def login() -> str:
    """Who is at this terminal."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "command line"


def _give(data: Path | None, who: str, **body: Any) -> None:
    answer = give(find_contact(daemon_folder(data)), {**body, "who": who or login(), "where": "command line"})
    console.print(answer["sentence"], markup=False, highlight=False, soft_wrap=True)


@batch_app.command()
def start(
    sheet: Annotated[str, typer.Argument(help="Sheet id: the name of its file without .toml.")],
    bind: Annotated[
        list[str], typer.Option("--bind", "-b", metavar="ROLE=PROBE", help="Which probe plays which role.")
    ],
    lot: Annotated[str, typer.Option(help="Lot code for the batch.")] = "",
    note: Annotated[str, typer.Option(help="A note for the record.")] = "",
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """Start a batch of a sheet; every role needs a free probe."""
    bindings = dict(bindings_of(bind))
    _give(data, who, command="start", sheet=sheet, bindings=bindings, lot=lot, note=note)


@batch_app.command()
def advance(
    batch: BatchArgument,
    stage: Annotated[str, typer.Option(help="Which stage ends, where two run side by side.")] = "",
    begin: Annotated[str, typer.Option(help="Begin this stage instead of the next (needs --why).")] = "",
    why: WhyOption = "",
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """End the active stage and begin what follows."""
    _give(data, who, command="advance", batch=batch, stage=stage or None, begin=begin or None, why=why)


@batch_app.command()
def hold(batch: BatchArgument, why: WhyOption = "", who: WhoOption = "", data: DataOption = None) -> None:
    """Pause a batch: its timers stand still until it is resumed."""
    _give(data, who, command="hold", batch=batch, why=why)


@batch_app.command()
def resume(batch: BatchArgument, who: WhoOption = "", data: DataOption = None) -> None:
    """Go on after a hold."""
    _give(data, who, command="resume", batch=batch)


@batch_app.command()
def undo(batch: BatchArgument, why: WhyOption = "", who: WhoOption = "", data: DataOption = None) -> None:
    """Take back the last advance."""
    _give(data, who, command="undo", batch=batch, why=why)


@batch_app.command()
def note(
    batch: BatchArgument,
    text: Annotated[str, typer.Argument(help="What to write down.")],
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """Write a note into the batch's record."""
    if not text.strip():
        raise RefusedError('The note is empty. Write it in quotes after the batch, such as "sieved twice".')
    _give(data, who, command="note", batch=batch, text=text)


@batch_app.command()
def scrap(batch: BatchArgument, why: WhyOption, who: WhoOption = "", data: DataOption = None) -> None:
    """Throw a batch away; its probes are free again."""
    _give(data, who, command="scrap", batch=batch, why=why)


@batch_app.command()
def end(batch: BatchArgument, why: WhyOption = "", who: WhoOption = "", data: DataOption = None) -> None:
    """Finish a batch; before its last stage this needs a reason."""
    _give(data, who, command="end", batch=batch, why=why)


@batch_app.command()
def retime(
    batch: BatchArgument,
    stage: Annotated[str, typer.Argument(help="The stage whose beginning was tapped late.")],
    began: Annotated[str, typer.Argument(help="When it really began: 14:10 today, or 2026-11-24T14:10.")],
    why: WhyOption,
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """Say when a stage really began; the curve is tagged anew, its values stay."""
    contact = find_contact(daemon_folder(data))
    zone = ZoneInfo(ask(contact, "/api/now")["kitchen"]["zone"])
    _give(data, who, command="retime", batch=batch, stage=stage, began=_instant(began, zone), why=why)


def _instant(text: str, zone: ZoneInfo) -> int:
    try:
        if len(text) <= len("14:10:00"):
            clock = dt.time.fromisoformat(text)
            moment = dt.datetime.combine(dt.datetime.now(zone).date(), clock, zone)
        else:
            moment = dt.datetime.fromisoformat(text)
            moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    except ValueError:
        raise RefusedError(f'"{text}" is not a time; write 14:10 or 2026-11-24T14:10.') from None
    return round(moment.timestamp() * 1000)


def whole_column(title: str, cells: Iterable[str]) -> Column:
    """A column that is never cut short, because its cells are typed into the next command."""
    return Column(title, no_wrap=True, min_width=max(map(len, (title, *cells))))


@batch_app.command("list")
def list_batches(data: DataOption = None) -> None:
    """Running batches with their stages."""
    now = ask(find_contact(daemon_folder(data)), "/api/now")
    table = Table(
        whole_column("batch", (batch["id"] for batch in now["batches"])),
        "sheet",
        "lot",
        "stage",
        "now",
        "target",
        "what next",
        box=None,
    )
    for batch in now["batches"]:
        for lane in batch["stages"]:
            table.add_row(
                batch["id"], batch["name"], batch["lot"], lane["name"],
                lane["shown"], lane["target_shown"], lane["outlook"],
            )  # fmt: skip
    console.print(table if now["batches"] else "No batch is running.", crop=False)


@alarms_app.command("list")
def list_alarms(data: DataOption = None) -> None:
    """Alarms that stand now."""
    now = ask(find_contact(daemon_folder(data)), "/api/now")
    table = Table(
        whole_column("alarm", (alarm["key"] for alarm in now["alarms"])),
        "priority",
        "state",
        "where",
        "what",
        "since",
        box=None,
    )
    for alarm in now["alarms"]:
        table.add_row(
            alarm["key"],
            alarm["priority"],
            alarm["phase"],
            alarm["where"],
            alarm["what"],
            alarm["since_shown"],
        )
    console.print(table if now["alarms"] else "No alarm stands.", crop=False)


@alarms_app.command()
def ack(
    alarm: Annotated[str, typer.Argument(help="Alarm as 'alarms list' shows it; leave out for all.")] = "",
    note: Annotated[str, typer.Option(help="What you are doing about it.")] = "",
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """Acknowledge: you have seen it and are on it; calling stops."""
    _give(data, who, command="acknowledge", alarm=alarm, note=note)
