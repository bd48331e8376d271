"""``rimekeeper calibrate`` and ``rimekeeper plunge``: a probe under test, guided from the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from rimekeeper.cli_batch import login, whole_column
from rimekeeper.cli_common import DataOption, complain, console, daemon_folder, misused, say
from rimekeeper.cli_trace import Bench, View, follow
from rimekeeper.config.quantities import difference, temperature
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.sensing.calibration.correction import LARGEST_OFFSET
from rimekeeper.core.sensing.calibration.reference import boiling, boiling_at_altitude, compared, ice_point
from rimekeeper.core.sensing.lag import SMALLEST_STEP
from rimekeeper.remote import ask, find_contact

CAUTIONS = (
    "Boiling water and steam burn. Clean and disinfect the probe before it goes back into food. "
    "A probe in a running batch is not tested; its station is not watched meanwhile: look after it by hand."
)
ALTITUDE = (
    "CAUTION: the altitude alone is a weak reference. The weather moves the boiling point by about 0.8 K either way, "
    "and the uncertainty of this calibration will say so. Measure the pressure if you can (--boiling-kpa)."
)

WhoOption = Annotated[str, typer.Option("--who", help="Who does this; your login name by default.")]
NoteOption = Annotated[str, typer.Option("--note", help="A note for the record.")]
YesOption = Annotated[
    bool,
    typer.Option("--yes", "-y", help="Ask nothing: wait for each bath in turn, and keep what isn't refused."),
]
WithinOption = Annotated[
    float, typer.Option("--within", metavar="MINUTES", help="How long to wait for each point.", min=0.1)
]


@dataclass(frozen=True, slots=True)
class Bath:
    """One point to be taken: what the probe is put into, what that is, and how it is posted."""

    words: str
    celsius: float
    body: dict[str, Any]


def calibrate(
    probe: Annotated[
        str, typer.Argument(help="The probe's id; without it, the state of all is listed.")
    ] = "",
    ice: Annotated[bool, typer.Option("--ice", help="Take the ice point.")] = False,  # noqa: FBT002
    boiling_kpa: Annotated[
        float | None,
        typer.Option(
            "--boiling-kpa", metavar="KPA", help="Take the boiling point at this pressure, measured here."
        ),
    ] = None,
    altitude: Annotated[
        float | None,
        typer.Option("--altitude", metavar="M", help="Take the boiling point at this altitude: weak."),
    ] = None,
    reference: Annotated[
        list[str] | None,
        typer.Option(
            "--reference", help='Compare with a reference that shows this, such as "82.1 C" (again for more).'
        ),
    ] = None,
    reference_uncertainty: Annotated[
        list[str] | None,
        typer.Option(
            "--reference-uncertainty",
            help='Its expanded uncertainty (k = 2), such as "0.1 K"; once, or for each.',
        ),
    ] = None,
    certificate: Annotated[str, typer.Option("--certificate", help="The reference's certificate.")] = "",
    note: NoteOption = "",
    yes: YesOption = False,  # noqa: FBT002
    within: WithinOption = 30.0,
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """Calibrate a probe at the ice point, the boiling point or beside a reference, against the running daemon.

    Waits at each point until the probe is steady, shows correction and uncertainty (k = 2), asks, and keeps it.
    Ctrl-C ends the test and keeps nothing. Exit codes as for all commands; 1 when it is refused or never steady.
    """
    if not probe:
        _list(data)
        return
    named = _baths(
        boil=boiling_kpa,
        altitude=altitude,
        shows=reference or [],
        unsure=reference_uncertainty or [],
        certificate=certificate,
        ice=ice,
    )
    if yes and not named:
        misused("Say which points: --ice, --boiling-kpa, --altitude or --reference.")
    bench = _bench(probe, who, data)
    say(CAUTIONS)
    if altitude is not None:
        complain(ALTITUDE)
    with bench.tested("calibration"):
        points = []
        for bath in named or _asked_for():
            points.append(_point(bench, bath, yes=yes, patience=within * 60.0))
            _show(bench.offer("calibration", points=points)["preview"])
        if not yes and not typer.confirm("Keep this calibration?"):
            say("Nothing was kept.")
            return
        kept = bench.offer("calibration", points=points, note=note, keep=True)
        say(kept["sentence"])
        say(f"To print: {bench.contact.address}/certificates/{kept['number']}")
        if not yes:
            _put_back()


def plunge(
    probe: Annotated[str, typer.Argument(help="The probe's id.")],
    medium: Annotated[str, typer.Option("--medium", help="What it is plunged into.")] = "stirred water",
    note: NoteOption = "",
    yes: YesOption = False,  # noqa: FBT002
    within: WithinOption = 30.0,
    who: WhoOption = "",
    data: DataOption = None,
) -> None:
    """Measure how fast a probe follows: hold it steady, plunge it once, leave it until it has settled.

    Ctrl-C ends the test and keeps nothing. Exit codes as for all commands; 1 when it shows no step.
    """
    bench = _bench(probe, who, data)
    say(CAUTIONS)
    with bench.tested("plunge test"):
        began = int(bench.look()["now"])
        say(f"Hold it still for ten seconds, then plunge it in one go into: {medium}. Leave it there.")
        view = follow(
            lambda: bench.look(since=began), _settled, within * 60.0, f"{probe} did not settle after a plunge"
        )
        stretch = {"since": view["times"][0], "until": view["times"][-1], "medium": medium}
        shown = bench.offer("plunge", **stretch)["preview"]
        say(
            f"Time constant {shown['words']} (k = 2) in {medium}, from {shown['began_shown']} to "
            f"{shown['ended_shown']}; the fit leaves {shown['residual_shown']}. {shown['remark']}".rstrip()
        )
        if not yes and not typer.confirm("Keep this plunge test?"):
            say("Nothing was kept.")
            return
        say(bench.offer("plunge", **stretch, note=note, keep=True)["sentence"])
        if not yes:
            _put_back()


# --- points -------------------------------------------------------------------------------------------------


def _baths(
    *,
    ice: bool,
    boil: float | None,
    altitude: float | None,
    shows: list[str],
    unsure: list[str],
    certificate: str,
) -> list[Bath]:
    """The points asked for on the command line, the coldest first."""
    if boil is not None and altitude is not None:
        misused("Give --boiling-kpa or --altitude, not both.")
    if len(unsure) not in ({1, len(shows)} if shows else {0}):
        misused(
            "Each --reference needs its --reference-uncertainty (one for all will do), from its certificate."
        )
    found = [_ice()] if ice else []
    try:
        if boil is not None:
            found.append(_boiling(boil))
        if altitude is not None:
            found.append(
                Bath(
                    "boiling water",
                    boiling_at_altitude(altitude).celsius,
                    {"method": "boiling point", "metres": altitude},
                )
            )
        for text, width in zip(
            shows, unsure if len(unsure) == len(shows) else unsure * len(shows), strict=True
        ):
            found.append(_compared(text, width, certificate))
    except (OutOfRangeError, ValueError) as fault:
        misused(str(fault))
    return sorted(found, key=lambda bath: bath.celsius)


def _ice() -> Bath:
    return Bath("crushed ice of clean water, stirred", ice_point().celsius, {"method": "ice point"})


def _boiling(kilopascal: float) -> Bath:
    return Bath(
        "boiling water", boiling(kilopascal).celsius, {"method": "boiling point", "kilopascal": kilopascal}
    )


def _compared(text: str, width: str, certificate: str) -> Bath:
    known = compared(temperature(text).celsius, difference(width).kelvin)
    body = {
        "method": "comparison",
        "celsius": known.celsius,
        "expanded": 2.0 * known.u,
        "certificate": certificate,
    }
    return Bath(f"the bath of the reference ({text})", known.celsius, body)


def _asked_for() -> Iterator[Bath]:
    """Points as the person at the terminal names them, one after the other."""
    first = True
    while first or typer.confirm("Another point?", default=False):
        first = False
        kind = (
            typer.prompt("What is the probe held in? (ice, boiling, reference)", default="ice")
            .strip()
            .lower()
        )
        try:
            if kind.startswith("i"):
                yield _ice()
            elif kind.startswith("b"):
                yield _boiling(float(typer.prompt("Air pressure measured here, in kPa")))
            elif kind.startswith("r"):
                yield _compared(
                    typer.prompt('What does the reference show? Such as "82.1 C"'),
                    typer.prompt('Its expanded uncertainty (k = 2)? Such as "0.1 K"'),
                    typer.prompt("Its certificate", default=""),
                )
            else:
                complain(f'"{kind}" is none of ice, boiling, reference.')
                first = True
        except (OutOfRangeError, ValueError) as fault:
            complain(str(fault))
            first = True


def _point(bench: Bench, bath: Bath, *, yes: bool, patience: float) -> dict[str, Any]:
    """Wait until the probe is steady in that bath; the point as it is posted."""
    say(f"Put {bench.probe} into {bath.words} ({bath.celsius:.2f} °C) and hold it still.")
    if not yes:
        typer.prompt("Press Enter when it is there", default="", show_default=False)
    began = int(bench.look()["now"])

    def missing(view: View) -> str:
        if view["mean"] is not None and abs(view["last"] - bath.celsius) > LARGEST_OFFSET:
            return f"Not there yet: {bath.celsius:.2f} °C is awaited."
        return "" if view["steady"] else str(view["why"])

    view = follow(
        lambda: bench.look(after=began),
        missing,
        patience,
        f"{bench.probe} was not steady near {bath.celsius:.2f} °C",
    )
    say(f"Steady: mean {view['mean_shown']} of {view['readings']} readings over {view['seconds']:.0f} s.")
    return {**bath.body, "since": view["since"], "until": view["until"]}


def _settled(view: View) -> str:
    if view["range_kelvin"] < SMALLEST_STEP:
        return "Waiting for the plunge."
    return "" if view["steady"] else f"Plunged. {view['why']}"


# --- shown ----------------------------------------------------------------------------------------------------


def _show(preview: dict[str, Any]) -> None:
    points = Table("point", "reference", "probe shows", "as found", "as left", "U (k = 2)", box=None)
    for one in preview["points"]:
        points.add_row(
            one["method"], one["reference_shown"], one["shown_shown"], one["as_found_shown"],
            one["as_left_shown"], one["unsure_shown"],
        )  # fmt: skip
    places = Table("at", "reading moves by", f"U before ({preview['before_words']})", "U with this", box=None)
    for one in preview["places"]:
        places.add_row(one["where"], one["moves_shown"], one["before_shown"], one["after_shown"])
    console.print(points, places, crop=False)


def _list(data: Path | None) -> None:
    found = ask(find_contact(daemon_folder(data)), "/api/probes")["measured"]
    table = Table(
        whole_column("probe", [one["probe"] for one in found]),
        "calibration",
        "due",
        "U (k = 2) now",
        "lag",
        box=None,
    )
    for one in found:
        calibration = one["calibration"]
        number = f", No. {calibration['number']}" if calibration["number"] else ""
        table.add_row(
            one["probe"], f"{calibration['state']}{number}", calibration["due_shown"], one["counted_shown"],
            one["lag"]["words"],
        )  # fmt: skip
    console.print(table if found else "There is no probe.", crop=False)


def _bench(probe: str, who: str, data: Path | None) -> Bench:
    bench = Bench(find_contact(daemon_folder(data)), probe, who or login())
    bench.known()
    return bench


def _put_back() -> None:
    typer.prompt(
        "Clean the probe, put it back in its place, then press Enter", default="", show_default=False
    )
