"""``rimekeeper compute``: every conversion by name, and one of them with the numbers given."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Annotated

import typer

from rimekeeper.cli_common import complaints, misused, say
from rimekeeper.config.declared_inputs import quantity
from rimekeeper.config.validation import suggestion
from rimekeeper.core.computations import COMPUTATIONS, Answer, Computation
from rimekeeper.core.sensing.sensors.contract import Input


def compute(
    name: Annotated[str, typer.Argument(help="Which one; without it, all are listed.")] = "",
    given: Annotated[list[str] | None, typer.Argument(metavar="KEY=VALUE …", help="Its inputs.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Answer as JSON.")] = False,  # noqa: FBT002
) -> None:
    """List every conversion with inputs, units, validity and source, or run one: compute pt100 resistance=110.2."""
    if not name:
        _list(COMPUTATIONS.values(), as_json=as_json)
        return
    chosen = COMPUTATIONS.get(name)
    if chosen is None:
        misused(
            f'There is no computation "{name}". {suggestion(name, COMPUTATIONS, "There are")}'
            " rimekeeper compute lists them with their inputs."
        )
    if not given:
        _list((chosen,), as_json=as_json)
        return
    # What lies outside the validity raises OutOfRangeError: said by whoever ends the command, exit code 1.
    values = _values(chosen, given)
    _show(chosen, values, chosen.run(values), as_json=as_json)


def _values(chosen: Computation, given: Iterable[str]) -> dict[str, float]:
    known = {one.name: one for one in chosen.inputs}
    found: dict[str, float] = {}
    for written in given:
        key, sign, text = written.partition("=")
        if not sign:
            misused(f'"{written}" has no "="; write KEY=VALUE, such as {_example(chosen.inputs[0])}.')
        if key not in known:
            misused(f'{chosen.name} has no input "{key}". {suggestion(key, known, "Inputs")}')
        if key in found:
            misused(f"{key} is given twice; leave one of them out.")
        try:
            found[key] = quantity(known[key], text, bare=True)
        except ValueError as fault:
            misused(f"{key}: {fault}.")
    missing = [one for one in chosen.inputs if one.name not in found and one.default is None]
    if missing:
        needed = "; ".join(f"{one.name} ({_in_words(one)})" for one in missing)
        misused(f"{chosen.name} needs {needed}. Add {' '.join(_example(one) for one in missing)}.")
    defaults = {one.name: one.default for one in chosen.inputs if one.default is not None}
    return {**defaults, **found}


def _example(one: Input) -> str:
    return f'{one.name}="... {one.unit}"' if one.unit else f"{one.name}=..."


def _in_words(one: Input) -> str:
    return f"{one.unit}, {one.meaning}" if one.unit else one.meaning


def _show(
    chosen: Computation, values: Mapping[str, float], answers: tuple[Answer, ...], *, as_json: bool
) -> None:
    if as_json:
        told = {
            "name": chosen.name,
            "inputs": values,
            "answers": [{"name": a.name, "value": a.value, "unit": a.unit} for a in answers],
            "validity": chosen.validity,
            "source": chosen.source,
            "caution": chosen.caution,
        }
        say(json.dumps(told, ensure_ascii=False))
        return
    for answer in answers:
        say(f"{answer.name} = {answer.value:.7g} {answer.unit}".rstrip())
    say(f"  valid: {chosen.validity}")
    say(f"  source: {chosen.source}")
    if chosen.caution:
        complaints.print(f"Caution: {chosen.caution}.", markup=False, highlight=False, soft_wrap=True)


def _list(computations: Iterable[Computation], *, as_json: bool) -> None:
    listed = tuple(computations)
    if as_json:
        say(json.dumps([_described(one) for one in listed], ensure_ascii=False))
        return
    for one in listed:
        say(f"{one.name}: {one.title}")
        for wanted in one.inputs:
            default = "" if wanted.default is None else f" (default {wanted.default:g})"
            say(f"  {wanted.name}: {_in_words(wanted)}{default}")
        say(f"  gives: {one.gives}")
        say(f"  valid: {one.validity}")
        say(f"  source: {one.source}")
        if one.caution:
            say(f"  caution: {one.caution}")


def _described(one: Computation) -> dict[str, object]:
    return {
        "name": one.name,
        "title": one.title,
        "inputs": [
            {"name": i.name, "unit": i.unit, "meaning": i.meaning, "default": i.default} for i in one.inputs
        ],
        "gives": one.gives,
        "validity": one.validity,
        "source": one.source,
        "caution": one.caution,
    }
