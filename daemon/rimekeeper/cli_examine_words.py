"""What ``rimekeeper examine`` found, as words and tables or as one JSON document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Any

from rich.table import Table

from rimekeeper.cli_common import console, say
from rimekeeper.cli_examine_plot import drawn
from rimekeeper.core.model import StageId
from rimekeeper.review.examining import Examined, Foreseen, judged_view, known_errors
from rimekeeper.review.wording import Wording

_ROWS_SHOWN = 24
_DEFER = "Your local food code and a licensed authority decide; this only says what the readings show."


def show(file: Path, examined: Examined, notes: Sequence[str], wording: Wording, *, plot: bool) -> None:
    """Everything, for a person."""
    say(
        f"{file}: {len(examined.readings)} readings, {wording.day(examined.begins)} "
        f"{wording.clock(examined.begins, seconds=True)} to {wording.clock(examined.ends, seconds=True)} "
        f"({wording.zone}), by {examined.question.sheet.name}"
    )
    if plot:
        for row in drawn(examined, wording, console.width):
            say(row)
    for one in examined.stages:
        if one.run.began is None:
            say(f"{one.plan.name}: {one.verdict.value}")
        else:
            _stage(judged_view(one, examined, wording), wording)
    say("")
    _events(examined, wording)
    _forecasts(examined, wording)
    for note in notes:
        say(f"Note: {note}")
    say(_DEFER)


def _stage(facts: dict[str, Any], wording: Wording) -> None:
    because = f" ({'; '.join(facts['reasons'])})" if facts["reasons"] else ""
    say(f"{facts['name']}: {facts['verdict']}{because}")
    say(
        f"  from {wording.clock(facts['began'], seconds=True)}, took {facts['took_shown']}; "
        f"{facts['readings']} readings, {facts['good']} good, longest gap {facts['longest_gap_shown']}; "
        f"lowest {facts['lowest_shown']}, highest {facts['highest_shown']}"
    )
    if facts["target_shown"]:
        reached = (
            f"reached {facts['reach_took_shown']}, held {facts['held_shown']}"
            if facts["reached_at"] is not None
            else "not reached"
        )
        wanted = f" of {facts['hold_wanted_shown']}" if facts["hold_wanted_shown"] else ""
        say(f"  target {facts['target_shown']}: {reached}{wanted}")
    if facts["counted_shown"]:
        say(f"  {facts['counted_shown']}")
    if (heat := facts["heat"]) is not None:
        say(f"  {heat['title']}; source: {heat['source']}")
        for row in heat["rows"]:
            say(f"    {row['wanted']}: {row['words']}")
        if heat["lethality_shown"]:
            say(f"    {heat['lethality_shown']}")
    if (cooling := facts["cooling"]) is not None:
        say(f"  {cooling['title']}: {cooling['state']}; source: {cooling['source']}")
        for point in cooling["checkpoints"]:
            say(f"    {point['wanted']}: {point['words']}")


def _events(examined: Examined, wording: Wording) -> None:
    if not examined.events:
        say("No events.")
        return
    table = Table("When", "What", "", "Reading", box=None, title="Events", title_justify="left")
    for event in examined.events:
        when = wording.clock(event.at, seconds=True)
        if event.until is not None and event.until > event.at:
            when += f" to {wording.clock(event.until, seconds=True)}"
        shown = wording.shown(event.celsius) if event.celsius is not None else ""
        table.add_row(when, event.kind, event.sentence, shown)
    console.print(table, markup=False, highlight=False)


def _forecasts(examined: Examined, wording: Wording) -> None:
    groups: dict[tuple[str, str], list[Foreseen]] = {}
    for one in examined.forecasts:
        groups.setdefault((one.stage, one.goal), []).append(one)
    for (stage, goal), made in groups.items():
        plan = examined.question.sheet.stage(StageId(stage))
        arrived = made[0].arrived_at
        came = (
            wording.clock(arrived, seconds=True) if arrived is not None else "never, as far as the curve goes"
        )
        table = Table(
            "At", "Probe", "Says", "Expected", "90 % between", "Off by", "Interval held it",
            box=None, title=f"Forecast of {plan.name if plan else stage}, {goal}: came {came}", title_justify="left",
        )  # fmt: skip
        for one in _thinned(made):
            table.add_row(*_forecast_row(one, wording))
        say("")
        console.print(table, markup=False, highlight=False)
        if (words := _summed(made)) != "":
            say(words)


def _forecast_row(one: Foreseen, wording: Wording) -> tuple[str, ...]:
    made, error = one.forecast, one.error
    between = (
        f"{wording.clock(made.earliest, seconds=True)} and {wording.clock(made.latest, seconds=True)}"
        if made.earliest is not None and made.latest is not None
        else ""
    )
    return (
        wording.clock(made.made_at, seconds=True),
        wording.shown(one.celsius),
        made.outlook.value,
        wording.clock(made.expected, seconds=True) if made.expected is not None else "",
        between,
        "" if error is None else f"{error / 1000:+.0f} s",
        "" if one.covered is None else ("yes" if one.covered else "no"),
    )


def _thinned(made: Sequence[Foreseen]) -> list[Foreseen]:
    """Evenly from the first to the last."""
    if len(made) <= _ROWS_SHOWN:
        return list(made)
    return [made[round(n * (len(made) - 1) / (_ROWS_SHOWN - 1))] for n in range(_ROWS_SHOWN)]


def _summed(made: Sequence[Foreseen]) -> str:
    score = _score(made)
    if score is None:
        return ""
    return (
        f"  {score['forecasts']} forecasts named an arrival; half of them were off by at most "
        f"{score['median_share']:.0%} of the time left; the interval held it in {score['covered']:.0%}."
    )


def _score(made: Sequence[Foreseen]) -> dict[str, Any] | None:
    known = known_errors(made)
    if not known:
        return None
    return {
        "forecasts": len(known),
        "median_share": median(abs(error) / left for error, left, _ in known),
        "median_error_s": median(abs(error) for error, _, _ in known) / 1000,
        "covered": sum(held for _, _, held in known) / len(known),
    }


def as_document(file: Path, examined: Examined, notes: Sequence[str], wording: Wording) -> dict[str, Any]:
    """Everything, for a program."""
    question = examined.question
    groups: dict[tuple[str, str], list[Foreseen]] = {}
    for one in examined.forecasts:
        groups.setdefault((one.stage, one.goal), []).append(one)
    return {
        "file": str(file),
        "sheet": {"id": question.sheet.id, "name": question.sheet.name},
        "bindings": dict(question.bindings),
        "accuracy_kelvin": question.accuracy.kelvin,
        "gap_ms": question.allowed_gap,
        "zone": wording.zone,
        "begins": examined.begins,
        "ends": examined.ends,
        "readings": len(examined.readings),
        "stages": [
            {
                **judged_view(one, examined, wording),
                "hold_met_at": one.run.hold_met_at,
                "longest_in_band_ms": one.run.longest_in_band,
                "lowest": one.run.lowest,
                "highest": one.run.highest,
                "longest_gap_ms": one.evidence.longest_gap,
            }
            for one in examined.stages
        ],
        "events": [
            {
                "at": e.at, "until": e.until, "kind": e.kind, "stage": e.stage, "sentence": e.sentence,
                "celsius": e.celsius, "readings": e.readings,
            }
            for e in examined.events
        ],
        "forecasts": [_forecast_json(one) for one in examined.forecasts],
        "scores": [
            {"stage": stage, "goal": goal, **score}
            for (stage, goal), made in groups.items()
            if (score := _score(made)) is not None
        ],
        "notes": list(notes),
        "caution": _DEFER,
    }  # fmt: skip


def _forecast_json(one: Foreseen) -> dict[str, Any]:
    made = one.forecast
    return {
        "at": made.made_at,
        "stage": one.stage,
        "goal": one.goal,
        "celsius": one.celsius,
        "outlook": made.outlook.value,
        "why": made.why,
        "rate_kelvin_per_minute": made.rate,
        "expected": made.expected,
        "earliest": made.earliest,
        "latest": made.latest,
        "arrived": one.arrived_at,
        "error_ms": one.error,
        "left_ms": one.left,
        "covered": one.covered,
    }
