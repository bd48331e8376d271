"""Commands: parse, call, print. What they do lives in ``app``; no user's mistake ends in a traceback.

Exit codes: 0 done · 1 refused or failed · 2 wrong usage · 3 the kitchen file has problems ·
4 the daemon can't be reached · 5 the store can't be used · 130 interrupted.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from rimekeeper.cli_batch import alarms_app, batch_app
from rimekeeper.cli_calibrate import calibrate, plunge
from rimekeeper.cli_common import DataOption, Exit, KitchenOption, complaints, console
from rimekeeper.cli_compute import compute
from rimekeeper.cli_examine import examine
from rimekeeper.cli_mix import mix
from rimekeeper.core.errors import ConfigError, EdgeError, RimekeeperError, StoreError

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Watches temperature over time in a frozen-dessert kitchen.",
    epilog="Exit codes: 0 done, 1 refused or failed, 2 wrong usage, 3 kitchen file has problems, "
    "4 daemon can't be reached, 5 store can't be used. "
    "Rimekeeper helps you keep a record; your local food code and licensed practice decide.",
)
app.add_typer(batch_app, name="batch")
app.add_typer(alarms_app, name="alarms")
app.command()(compute)
app.command()(mix)
app.command()(examine)
app.command()(calibrate)
app.command()(plunge)

DEFAULT_KITCHEN = Path("kitchen.toml")


@app.command()
def run(
    kitchen: KitchenOption = DEFAULT_KITCHEN,
    data: DataOption = None,
    port: Annotated[
        int | None, typer.Option(help="Port of the pages, instead of the kitchen file's.", min=0, max=65535)
    ] = None,
) -> None:
    """Watch the kitchen described in the kitchen file until stopped."""
    from rimekeeper import app as house  # noqa: PLC0415  the parts are heavy; other commands answer without them

    house.run(kitchen, data, port)


@app.command()
def demo(
    port: Annotated[int, typer.Option(help="Port of the pages.", min=0, max=65535)] = 8321,
    data: Annotated[Path, typer.Option(help="Folder for everything the demo writes.")] = Path("demo-data"),
    seconds: Annotated[
        float | None,
        typer.Option("--for", metavar="SECONDS", help="End by itself after this long.", min=0.0),
    ] = None,
) -> None:
    """Show a simulated kitchen: real ports, a real broker, invented physics."""
    from rimekeeper import app as house  # noqa: PLC0415

    house.demo(port, data, seconds)


@app.command()
def check(kitchen: Annotated[Path, typer.Argument(help="Kitchen file.")] = DEFAULT_KITCHEN) -> None:
    """Check the kitchen file and every sheet; all problems at once, with file, key, line and remedy."""
    from rimekeeper.config.loading import check as find_problems  # noqa: PLC0415

    problems = find_problems(kitchen)
    for problem in problems:
        complaints.print(str(problem), markup=False, highlight=False, soft_wrap=True)
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        raise typer.Exit(Exit.CONFIG)
    warned = f" ({len(problems)} to look at)" if problems else ""
    console.print(
        f"{kitchen} and its sheets are in order{warned}.", markup=False, highlight=False, soft_wrap=True
    )


@app.command()
def probes(
    kitchen: KitchenOption = DEFAULT_KITCHEN,
    seconds: Annotated[
        float, typer.Option("--for", metavar="SECONDS", help="How long to listen.", min=0.0)
    ] = 10.0,
) -> None:
    """Show what the ports and topics say right now, to help write the kitchen file."""
    from rimekeeper import commands  # noqa: PLC0415

    commands.look(kitchen, seconds)


@app.command()
def export(
    kitchen: KitchenOption = DEFAULT_KITCHEN,
    data: DataOption = None,
    probe: Annotated[list[str] | None, typer.Option(help="Only this probe (may be given again).")] = None,
    batch: Annotated[str, typer.Option(help="Only the readings of this batch.")] = "",
    since: Annotated[str, typer.Option(help="From this moment on (2026-11-24 or 2026-11-24T14:10).")] = "",
    until: Annotated[str, typer.Option(help="Up to this moment.")] = "",
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="File to write; the screen by default.")
    ] = None,
) -> None:
    """Write readings as CSV, with the batch and stage each belongs to."""
    from rimekeeper import commands  # noqa: PLC0415

    commands.export(kitchen, data, tuple(probe or ()), batch, since, until, out)


@app.command()
def replay(
    file: Annotated[Path, typer.Argument(help="CSV: time or time_ms, probe, celsius or fahrenheit.")],
    kitchen: KitchenOption = DEFAULT_KITCHEN,
    data: DataOption = None,
    speed: Annotated[float, typer.Option(help="Times real speed; 0 is as fast as it goes.", min=0.0)] = 0.0,
    sheet: Annotated[str, typer.Option(help="Start a batch of this sheet at the first reading.")] = "",
    bind: Annotated[list[str] | None, typer.Option("--bind", "-b", metavar="ROLE=PROBE")] = None,
) -> None:
    """Send recorded readings through the same pipeline into a data folder of their own."""
    from rimekeeper import commands  # noqa: PLC0415

    with Progress(
        TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(), console=complaints,
    ) as progress:  # fmt: skip
        task = progress.add_task(f"Replaying {file.name}", total=1.0)
        summary = commands.replay(
            file, kitchen, data, speed, sheet, tuple(bind or ()),
            lambda share: progress.update(task, completed=share),
        )  # fmt: skip
    console.print(summary, markup=False, highlight=False, soft_wrap=True)


_CODES: tuple[tuple[type[RimekeeperError], Exit], ...] = (
    (ConfigError, Exit.CONFIG),
    (EdgeError, Exit.UNREACHABLE),
    (StoreError, Exit.STORE),
)


def _complain(fault: Exception) -> Exit:
    text = str(fault)
    if isinstance(fault, OSError) and fault.filename:
        text = f"{fault.filename}: {fault.strerror}"
    complaints.print(text, markup=False, highlight=False, soft_wrap=True)
    return next((code for kind, code in _CODES if isinstance(fault, kind)), Exit.REFUSED)


def main() -> int:
    """Entry point; returns the exit code. Usage errors are printed by the command library itself."""
    try:
        app()
    except SystemExit as leave:
        return leave.code if isinstance(leave.code, int) else Exit.OK
    except KeyboardInterrupt:
        return Exit.INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return Exit.OK
    except (RimekeeperError, OSError) as fault:
        return _complain(fault)
    return Exit.OK
