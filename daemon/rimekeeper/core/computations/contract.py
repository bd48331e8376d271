"""What a computation says about itself, and how it is run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.sensing.sensors.contract import Input


@dataclass(frozen=True, slots=True)
class Answer:
    """One number of the answer and its unit."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Computation:
    """A computation: ``run`` takes every input in its declared unit.

    ``run`` raises OutOfRangeError with a sentence outside the validity, and gives finite numbers otherwise.
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    gives: str
    validity: str
    source: str
    run: Callable[[Mapping[str, float]], tuple[Answer, ...]]
    caution: str = ""


def within(given: Mapping[str, float], key: str, least: float, most: float, unit: str) -> float:
    """The input of that name.

    Raises:
        OutOfRangeError: it is no number from ``least`` to ``most``.
    """
    if not least <= given[key] <= most:
        raise OutOfRangeError(
            f"{key}: {given[key]:g} {unit} can't be: give {least:g} {unit} to {most:g} {unit}."
        )
    return given[key]
