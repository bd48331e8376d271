"""``rimekeeper mix``: the freezing curve of a sheet's mix in words, numbers and a plot; two mixes side by side."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from rimekeeper.cli_common import KitchenOption, console, misused, say
from rimekeeper.cli_curve import plotted
from rimekeeper.config.quantities import temperature
from rimekeeper.core.errors import OutOfRangeError, RefusedError
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan, SheetPlan, StageKind
from rimekeeper.core.process.freezing import initial_freezing_point, temperature_for, water_frozen
from rimekeeper.core.process.freezing_doubt import (
    ColligativeCheck,
    colligative_check,
    fraction_uncertainty,
    freezing_point_uncertainty,
    temperature_uncertainty,
)
from rimekeeper.core.process.ingredients import INGREDIENTS, PARTS
from rimekeeper.core.process.scooping import SERVED_AT, Scoop, scoop, scooping_range
from rimekeeper.core.process.solutes import outsiders

_SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.65, 0.7, 0.75, 0.8)
_SHEETS = "sheets"


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A churn stage's target: how much is frozen there, and how far that may be off."""

    stage: str
    celsius: float
    fraction: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class _Seen:
    """All that is said about one sheet's mix."""

    name: str
    mix: MixPlan
    freezing_point: float
    off: float
    check: ColligativeCheck
    drawn: tuple[_Drawn, ...]
    served: Scoop
    scoops: tuple[Temperature, Temperature] | None
    curve: tuple[tuple[float, float, float], ...]
    """Frozen share, °C, uncertainty in K."""


def mix(
    sheet: Annotated[str, typer.Argument(help="Sheet: a file, or its name in the sheets folder.")] = "",
    other: Annotated[str, typer.Argument(help="Another one to compare with.")] = "",
    kitchen: KitchenOption = Path("kitchen.toml"),
    serve: Annotated[
        str, typer.Option("--serve", metavar="TEMPERATURE", help="Where it is served, such as -12C or 10F.")
    ] = f"{SERVED_AT.celsius:g} C",
    as_json: Annotated[bool, typer.Option("--json", help="Answer as JSON.")] = False,  # noqa: FBT002
) -> None:
    """Freezing curve of a sheet's mix, or of two beside each other; without a sheet, the ingredients built in."""
    if not sheet:
        _ingredients(as_json=as_json)
        return
    try:
        served_at = temperature(serve)
    except ValueError as fault:
        misused(f"--serve: {fault}.")
    seen = [_look(find_sheet(name, kitchen), served_at) for name in (sheet, other) if name]
    if as_json:
        say(json.dumps({"mixes": [_as_json(one) for one in seen]}, ensure_ascii=False))
        return
    _show(seen)


def find_sheet(name: str, kitchen: Path) -> Path:
    """The file of a sheet given by its path or by its name in the kitchen's sheets folder.

    Raises:
        RefusedError: there is none.
    """
    places = (Path(name), Path(f"{name}.toml"), kitchen.parent / _SHEETS / f"{name}.toml")
    for place in places:
        if place.is_file():
            return place
    raise RefusedError(f'There is no sheet "{name}". Looked for {", ".join(map(str, places))}.')


def _look(path: Path, served_at: Temperature) -> _Seen:
    from rimekeeper.config.loading import load_sheet  # noqa: PLC0415  other commands answer without it

    plan = load_sheet(path)
    if plan.mix is None:
        raise RefusedError(f"{path} has no [mix]. Add its composition, in percent or by ingredients.")
    try:
        return _seen(plan, plan.mix, served_at)
    except OutOfRangeError as refused:
        raise RefusedError(f"{path}: {refused}") from refused


def _seen(plan: SheetPlan, mix_of_it: MixPlan, served_at: Temperature) -> _Seen:
    return _Seen(
        plan.name,
        mix_of_it,
        initial_freezing_point(mix_of_it).celsius,
        freezing_point_uncertainty(mix_of_it),
        colligative_check(mix_of_it),
        tuple(
            _Drawn(
                stage.name,
                stage.target.celsius,
                water_frozen(mix_of_it, stage.target),
                fraction_uncertainty(mix_of_it, stage.target),
            )
            for stage in plan.stages
            if stage.kind is StageKind.CHURN and stage.target is not None
        ),
        scoop(mix_of_it, served_at),
        scooping_range(mix_of_it),
        tuple(_points(mix_of_it)),
    )


def _points(mix_of_it: MixPlan) -> Sequence[tuple[float, float, float]]:
    found = []
    for share in _SHARES:
        try:
            celsius = temperature_for(mix_of_it, share).celsius
        except OutOfRangeError:
            break
        found.append((share, celsius, temperature_uncertainty(mix_of_it, share)))
    return found


def _show(seen: Sequence[_Seen]) -> None:
    for one in seen:
        _words(one)
    say("")
    for row in plotted([(one.name, one.mix) for one in seen], console.width):
        say(row)
    say("")
    table = Table(
        "Frozen", *(f"{one.name}" for one in seen), title="Temperature for a share of the water frozen"
    )
    for share in _SHARES:
        cells = [next((f"{c:.1f} ± {u:.1f} °C" for s, c, u in one.curve if s == share), "-") for one in seen]
        table.add_row(f"{share:.0%}", *cells)
    console.print(table, markup=False, highlight=False)
    if len(seen) > 1:
        _compared(seen[0], seen[1])


def _words(one: _Seen) -> None:
    say(one.name)
    parts = (
        f"{part.replace('_', ' ')} {getattr(one.mix, part):.1f}" for part in PARTS if getattr(one.mix, part)
    )
    say(f"  per 100 g: {', '.join(parts)}")
    say(f"  begins to freeze at {one.freezing_point:.2f} ± {one.off:.2f} °C")
    agrees = "" if one.check.agrees else "; further apart than usual, look at the composition or doubt both"
    say(
        f"  by the colligative law alone {one.check.by_molar_mass:.2f} °C, "
        f"{one.check.difference:+.2f} K from that{agrees}"
    )
    for outsider, _ in outsiders(one.mix):
        say(f"  {outsider.words}, outside the method: {outsider.basis}")
    for drawn in one.drawn:
        say(
            f"  {drawn.stage}: at {drawn.celsius:.1f} °C {_percent(drawn.fraction, drawn.uncertainty)} "
            "of the water is frozen"
        )
    served = one.served
    say(
        f"  served at {served.celsius:.1f} °C: {_percent(served.fraction, served.uncertainty)} frozen, {served.words}"
    )
    if one.scoops is not None:
        say(f"  65 % to 70 % frozen from {one.scoops[1].celsius:.1f} °C to {one.scoops[0].celsius:.1f} °C")


def _compared(one: _Seen, other: _Seen) -> None:
    apart = one.served.fraction - other.served.fraction
    sure = abs(apart) > (one.served.uncertainty**2 + other.served.uncertainty**2) ** 0.5
    harder, softer = (one, other) if apart > 0 else (other, one)
    at = f"{one.served.celsius:.1f} °C"
    if not sure:
        say(f"At {at} nobody can say which is harder: they differ by less than the method is sure.")
        return
    say(
        f"At {at} {harder.name} is harder than {softer.name}: {abs(100 * apart):.0f} % more of its water is frozen."
    )


def _percent(fraction: float, uncertainty: float) -> str:
    return f"{100 * fraction:.0f} ± {100 * uncertainty:.0f} %"


def _as_json(one: _Seen) -> dict[str, Any]:
    return {
        "name": one.name,
        "composition": {part: getattr(one.mix, part) for part in (*PARTS, "syrup_de", "polyol_molar_mass")},
        "freezing_point": {"celsius": one.freezing_point, "uncertainty": one.off},
        "colligative": {
            "celsius": one.check.by_molar_mass,
            "difference": one.check.difference,
            "agrees": one.check.agrees,
        },
        "outside_the_method": {o.part: o.basis for o, _ in outsiders(one.mix)},
        "drawn": [
            {"stage": d.stage, "celsius": d.celsius, "frozen": d.fraction, "uncertainty": d.uncertainty}
            for d in one.drawn
        ],
        "served": {
            "celsius": one.served.celsius,
            "frozen": one.served.fraction,
            "uncertainty": one.served.uncertainty,
            "verdict": one.served.verdict.value,
            "words": one.served.words,
        },
        "scoops": None
        if one.scoops is None
        else {"coldest_celsius": one.scoops[0].celsius, "warmest_celsius": one.scoops[1].celsius},
        "curve": [{"frozen": s, "celsius": c, "uncertainty": u} for s, c, u in one.curve],
    }


def _ingredients(*, as_json: bool) -> None:
    if as_json:
        listed = [
            {
                "name": one.name,
                "composition": {part: getattr(one.mix, part) for part in PARTS if getattr(one.mix, part)},
                "source": one.source,
            }
            for one in INGREDIENTS.values()
        ]
        say(json.dumps(listed, ensure_ascii=False))
        return
    for one in INGREDIENTS.values():
        parts = (f"{part} {getattr(one.mix, part):g}" for part in PARTS if getattr(one.mix, part))
        say(f"{one.name}: {', '.join(parts)}")
        say(f"  source: {one.source}")
