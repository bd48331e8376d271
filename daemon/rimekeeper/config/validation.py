"""From a TOML document to a model: every fault in plain words, and what remains usable without the faulty parts."""

from __future__ import annotations

import copy
import difflib
import types
import typing
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from rimekeeper.config.key_lines import KeyPath
from rimekeeper.config.problems import Problem
from rimekeeper.config.quantities import shown
from rimekeeper.config.toml_text import TomlText

M = TypeVar("M", bound=BaseModel)
_DEEP = 3
"""A key of a named table, such as ("probe", "pan", "unit")."""
_MEANT = frozenset(
    {"channel", "after", "approach", "advance", "target", "target_frozen", "composition", "hold", "lasts"}
)


@dataclass(frozen=True)
class Validated(Generic[M]):
    """A file as a model. ``model`` holds the parts that are right, so that they can be cross-checked all the same.

    ``positions`` gives, for an array at the top, where its elements stood in the file (from 0).
    """

    text: TomlText
    model: M | None
    problems: tuple[Problem, ...] = ()
    positions: Mapping[str, Sequence[int]] = field(default_factory=dict)

    @property
    def whole(self) -> bool:
        """Whether the model is the whole file."""
        return self.model is not None and not self.problems

    def at(self, array: str, number: int, *rest: str | int) -> KeyPath:
        """The path in the file of an element of the model's array."""
        places = self.positions.get(array)
        return (array, places[number] if places is not None else number, *rest)

    def names(self, table: str) -> list[str]:
        """Every id written in the file: the keys of a table, or the ids of an array's elements."""
        found = self.text.document.get(table)
        if isinstance(found, dict):
            return [str(name) for name in found]
        if isinstance(found, list):
            return [e["id"] for e in found if isinstance(e, dict) and isinstance(e.get("id"), str)]
        return []


def validate(text: TomlText, kind: type[M], stand_ins: Mapping[str, Any]) -> Validated[M]:
    """Check a document against a model.

    Args:
        text: what was read.
        kind: the model.
        stand_ins: tables to use in place of faulty ones that the model can't do without.
    """
    if text.problems:
        return Validated(text, None, text.problems)
    try:
        return Validated(text, kind.model_validate(text.document))
    except ValidationError as fault:
        errors = fault.errors()
    problems = tuple(_problem(text, kind, error) for error in errors)
    pruned = _pruned(errors, text.document)
    try:
        return Validated(text, kind.model_validate(pruned), problems)
    except ValidationError as fault:
        errors = fault.errors()
    document, positions = _without([tuple(e["loc"]) for e in errors], pruned, stand_ins)
    try:
        return Validated(text, kind.model_validate(document), problems, positions)
    except ValidationError:
        return Validated(text, None, problems, positions)


def _pruned(errors: Iterable[ErrorDetails], document: Mapping[str, Any]) -> dict[str, Any]:
    """The document without the faulty keys that a table can do without, so that the rest of it is looked at too.

    Not those whose default means something else than what was meant: that would make faults of its own.
    """
    left = copy.deepcopy(dict(document))
    for error in errors:
        path = tuple(error["loc"])
        if error["type"] not in ("extra_forbidden", "value_error") or len(path) < _DEEP:
            continue
        if path[-1] in _MEANT or not isinstance(path[-1], str):
            continue
        table: Any = left
        for step in path[:-1]:
            found = isinstance(table, dict | list) and (
                step in table if isinstance(table, dict) else isinstance(step, int) and 0 <= step < len(table)
            )
            table = table[step] if found else None
        if isinstance(table, dict):
            table.pop(path[-1], None)
    return left


def _without(
    faulty: Iterable[KeyPath], document: Mapping[str, Any], stand_ins: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, list[int]]]:
    left = copy.deepcopy(dict(document))
    positions = {key: list(range(len(value))) for key, value in left.items() if isinstance(value, list)}
    # From the end, so that the positions of what stands before stay right.
    parts = {path[:2] for path in faulty}
    numbered = sorted((p for p in parts if len(p) > 1 and isinstance(p[1], int)), key=lambda p: -int(p[1]))
    for path in [*numbered, *(p for p in parts if p not in numbered)]:
        table = left.get(str(path[0]))
        if isinstance(table, list) and path in numbered and path[0] in positions:
            del table[int(path[1])], positions[str(path[0])][int(path[1])]
        elif isinstance(table, dict) and len(path) > 1 and isinstance(table.get(str(path[1])), dict):
            del table[str(path[1])]
        else:
            left.pop(str(path[0]), None)
    return {**{key: value for key, value in stand_ins.items() if key not in left}, **left}, positions


def _problem(text: TomlText, kind: type[BaseModel], error: ErrorDetails) -> Problem:
    path: KeyPath = tuple(step for step in error["loc"] if step != "[key]")
    given = error["input"]
    match error["type"]:
        case "missing":
            return text.problem(path[:-1], *_missing(path))
        case "extra_forbidden":
            return text.problem(path, *_unknown(path, kind))
        case "literal_error":
            return text.problem(path, *_none_of(given, str(error["ctx"]["expected"])))
        case "value_error":
            return text.problem(path, str(error["ctx"]["error"]))
    return text.problem(path, _SAYINGS.get(error["type"], _unforeseen)(given, error))


def _missing(path: KeyPath) -> tuple[str, str]:
    name = path[-1]
    if len(path) == 1:
        return f"the table [{name}] is missing", "Every file of this kind has it."
    return f"{name} is missing", f"Add {name} = ...; config/README.md says what it means."


def _unknown(path: KeyPath, kind: type[BaseModel]) -> tuple[str, str]:
    known = keys_at(kind, path[:-1])
    return f'there is no key "{path[-1]}" here', suggestion(str(path[-1]), known, "Keys here")


def _none_of(given: object, expected: str) -> tuple[str, str]:
    words = [w.strip("'") for w in expected.replace(" or ", ", ").split(", ")]
    return f"{shown(given)} is not possible here", suggestion(str(given), words, "Possible")


def _say_number(given: object, error: ErrorDetails) -> str:
    limit = next(iter(error["ctx"].values()))
    way = {"greater_than_equal": "at least", "less_than_equal": "at most"}[error["type"]]
    return f"{given} is out of range; write {way} {limit:g}"


def _say_length(_given: object, error: ErrorDetails) -> str:
    if error["type"] == "string_too_short":
        return "is empty; write something"
    return f"is longer than {error['ctx']['max_length']} characters; shorten it"


def _needs(what: str) -> typing.Callable[[object, ErrorDetails], str]:
    def say(given: object, _error: ErrorDetails) -> str:
        return f"{shown(given)} is not {what}"

    return say


def _unforeseen(_given: object, error: ErrorDetails) -> str:
    return f"can't be used: {error['msg']}"


_SAYINGS: Mapping[str, typing.Callable[[object, ErrorDetails], str]] = {
    "greater_than_equal": _say_number,
    "less_than_equal": _say_number,
    "string_too_short": _say_length,
    "string_too_long": _say_length,
    "string_type": _needs("text; put it in quotes"),
    "int_type": _needs("a whole number; write it without quotes"),
    "float_type": _needs("a number; write it without quotes"),
    "bool_type": _needs("true or false; write one of them, without quotes"),
    "tuple_type": _needs('a list; put it in square brackets, such as ["ada"]'),
    "dict_type": _needs("a table; write it under a header in square brackets"),
    "model_type": _needs("a table; write it under a header with its name in square brackets"),
    "finite_number": _needs("a finite number"),
    "string_pattern_mismatch": lambda given, error: (
        f'"{given}" does not have the right form; '
        + (
            "write four hexadecimal digits"
            if "{4}" in error["ctx"]["pattern"]
            else f"wanted is {error['ctx']['pattern']}"
        )
    ),
}


def suggestion(given: str, known: Iterable[str], heading: str) -> str:
    """A remedy for a name that doesn't exist: the nearest one, or all of them."""
    names = list(known)
    near = difflib.get_close_matches(given.lower(), [n.lower() for n in names], 1, 0.6)
    if near:
        return f'Did you mean "{next(n for n in names if n.lower() == near[0])}"?'
    return f"{heading}: {', '.join(names) if names else 'none'}."


def keys_at(kind: type[BaseModel], path: KeyPath) -> list[str]:
    """The keys that a model knows at a path; empty where there is no table of known keys."""
    at: Any = kind
    for step in path:
        if isinstance(at, type) and issubclass(at, BaseModel):
            found = at.model_fields.get(str(step))
            at = found.annotation if found is not None else None
        else:
            at = next(iter(_element(at)), None)
        at = _plain(at)
    return list(at.model_fields) if isinstance(at, type) and issubclass(at, BaseModel) else []


def _plain(annotation: Any) -> Any:
    """Without ``| None``."""
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return next((a for a in typing.get_args(annotation) if a is not type(None)), None)
    return annotation


def _element(annotation: Any) -> Iterator[Any]:
    arguments = typing.get_args(annotation)
    match typing.get_origin(annotation):
        case origin if origin is dict:
            yield arguments[1]
        case origin if origin is tuple:
            yield arguments[0]
