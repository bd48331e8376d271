"""Keys by which readings are doubted: probes that exist, pairs that are pairs, and numbers that can be codes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from rimekeeper.config.problems import Problem
from rimekeeper.config.sensor_tables import sensor_kind

if TYPE_CHECKING:
    from rimekeeper.config.kitchen_checks import KitchenUnderCheck

SHORTEST_STUCK = 10 * 60_000
"""ms; a steady product shows the same tenth for minutes."""


def plausibility(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Everything that doubts a reading."""
    if kitchen.file.kitchen.room is not None:
        yield from kitchen.unknown(("kitchen", "room"), "probe", kitchen.file.kitchen.room)
    yield from _stuck(kitchen)
    yield from _beside(kitchen)
    yield from _codes(kitchen)


def _stuck(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    for name, probe in kitchen.file.probe.items():
        if 0 < probe.stuck_after < SHORTEST_STUCK:
            yield kitchen.problem(
                ("probe", name, "stuck_after"),
                "a steady product shows the same number for longer than that",
                'Write a length such as "6 h", or "0 s" if it shall never be doubted.',
            )


def _beside(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    taken: dict[str, str] = {}
    for name, probe in kitchen.file.probe.items():
        path = ("probe", name)
        if probe.beside is None:
            if "beside_within" in probe.model_fields_set:
                yield kitchen.problem(
                    (*path, "beside_within"), "there is no probe beside it", "Add beside, or remove this key."
                )
            continue
        if probe.beside == name:
            yield kitchen.problem(
                (*path, "beside"), "a probe can't be beside itself", "Name the other probe in that place."
            )
            continue
        yield from kitchen.unknown((*path, "beside"), "probe", probe.beside)
        if probe.beside_within.kelvin <= 0:
            yield kitchen.problem(
                (*path, "beside_within"),
                "two probes never agree to the last digit",
                'Write a difference such as "1 K".',
            )
        for one, other in ((name, probe.beside), (probe.beside, name)):
            if (before := taken.setdefault(one, other)) != other:
                yield kitchen.problem(
                    (*path, "beside"),
                    f'probe "{one}" is beside "{before}" already',
                    "Probes stand in pairs; leave one of the two out.",
                )


def _codes(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    for name, probe in kitchen.file.probe.items():
        kind = sensor_kind(probe.sensor)
        if probe.one_wire and kind not in (None, "one-wire"):
            yield kitchen.problem(
                ("probe", name, "one_wire"),
                f'one_wire is for one-wire digital thermometers, and its sensor is "{kind}"',
                "Remove one of the two.",
            )
        for place, code in enumerate(probe.fault_codes):
            if not math.isfinite(code):
                yield kitchen.problem(
                    ("probe", name, "fault_codes", place),
                    "this is no number that an instrument could send",
                    "Remove it; what is not a number is never believed anyway.",
                )
