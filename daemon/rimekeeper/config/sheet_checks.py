"""What only shows when the parts of a batch sheet are seen together."""

from __future__ import annotations

import graphlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rimekeeper.config.key_lines import KeyPath
from rimekeeper.config.kitchen_checks import limits_apart
from rimekeeper.config.mix import frozen_target, mix_faults, target_faults
from rimekeeper.config.problems import Problem
from rimekeeper.config.process_tables import faults
from rimekeeper.config.sheet import USUAL_APPROACH, SheetFile, StageSettings
from rimekeeper.config.validation import Validated, suggestion


@dataclass(frozen=True)
class SheetUnderCheck:
    """The parts of a sheet that are right by themselves."""

    source: Validated[SheetFile]
    file: SheetFile

    def problem(self, path: KeyPath, message: str, remedy: str = "") -> Problem:
        """An error at a key."""
        return self.source.text.problem(path, message, remedy)

    def warning(self, path: KeyPath, message: str, remedy: str = "") -> Problem:
        """Something worth a look at a key."""
        return self.source.text.problem(path, message, remedy, warning=True)

    def stages(self) -> Iterator[tuple[KeyPath, StageSettings]]:
        """Every stage with its place in the file."""
        for number, stage in enumerate(self.file.stage):
            yield self.source.at("stage", number), stage


def predecessors(file: SheetFile) -> dict[str, tuple[str, ...]]:
    """For each stage those that must be finished first; the one written before it where nothing is said."""
    found: dict[str, tuple[str, ...]] = {}
    before: tuple[str, ...] = ()
    for stage in file.stage:
        found.setdefault(stage.id, before if stage.after is None else stage.after)
        before = (stage.id,)
    return found


def ids(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """There are roles and stages, and each id stands once."""
    for table, words in (("role", "what a probe is for"), ("stage", "what is done first")):
        if not sheet.source.text.document.get(table):
            yield sheet.problem((), f"there is no [[{table}]]", f"Add one with id and name: {words}.")
    for table, names in (
        ("role", [role.id for role in sheet.file.role]),
        ("stage", [stage.id for stage in sheet.file.stage]),
    ):
        for number, name in enumerate(names):
            if name in names[:number]:
                path = (*sheet.source.at(table, number), "id")
                yield sheet.problem(
                    path, f'another {table} has the id "{name}" already', "Give it another id."
                )


def references(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """Stages name roles and stages that exist."""
    roles, stages = sheet.source.names("role"), sheet.source.names("stage")
    for path, stage in sheet.stages():
        if stage.role not in roles:
            yield sheet.problem(
                (*path, "role"),
                f'there is no role "{stage.role}"',
                suggestion(stage.role, roles, "Roles of this sheet"),
            )
        for place, name in enumerate(stage.after or ()):
            if name == stage.id:
                yield sheet.problem((*path, "after", place), "a stage can't wait for itself", "Remove it.")
            elif name not in stages:
                yield sheet.problem(
                    (*path, "after", place),
                    f'there is no stage "{name}"',
                    suggestion(name, stages, "Stages of this sheet"),
                )
    used = {stage.role for stage in sheet.file.stage}
    for number, role in enumerate(sheet.file.role):
        if role.id not in used and sheet.source.whole:
            yield sheet.warning(
                sheet.source.at("role", number),
                "no stage watches this role, yet every batch would need a probe for it",
                "Remove it, or name it in a stage.",
            )


def order(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """No stage waits for itself in a circle, and no probe is wanted by two stages at once."""
    before = predecessors(sheet.file)
    paths: dict[str, KeyPath] = {}
    for path, stage in sheet.stages():
        paths.setdefault(stage.id, path)
    graph = {name: [b for b in befores if b in before and b != name] for name, befores in before.items()}
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as fault:
        circle = list(reversed(fault.args[1]))
        yield sheet.problem(
            (*paths[circle[0]], "after"),
            f"these stages wait for each other in a circle: {' waits for '.join(circle)}",
            "Break the circle at one of them.",
        )
        return
    known = all(set(befores) <= set(graph[name]) for name, befores in before.items())
    if known and not sheet.source.problems:
        yield from _side_by_side(sheet, graph, paths)


def _side_by_side(
    sheet: SheetUnderCheck, graph: Mapping[str, list[str]], paths: Mapping[str, KeyPath]
) -> Iterator[Problem]:
    earlier = {name: _all_before(name, graph) for name in graph}
    unique = {stage.id: stage for stage in reversed(sheet.file.stage)}
    stages = [stage for stage in sheet.file.stage if unique[stage.id] is stage]
    for number, stage in enumerate(stages):
        for other in stages[:number]:
            apart = other.id in earlier[stage.id] or stage.id in earlier[other.id]
            if other.role == stage.role and not apart:
                yield sheet.problem(
                    (*paths[stage.id], "role"),
                    f'stage "{stage.id}" can run beside stage "{other.id}", and both watch role "{stage.role}"',
                    "Give one of them a role (and so a probe) of its own, or put one after the other.",
                )


def _all_before(name: str, graph: Mapping[str, list[str]]) -> set[str]:
    found: set[str] = set()
    todo = [name]
    while todo:
        for before in graph.get(todo.pop(), ()):
            if before not in found:
                found.add(before)
                todo.append(before)
    return found


def targets(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """Targets lie between floor and ceiling, and what depends on a target has one."""
    for path, stage in sheet.stages():
        yield from limits_apart(sheet.problem, path, stage.ceiling, stage.floor)
        target, key = stage.target, "target"
        if target is None and stage.target_frozen is not None:
            target, key = frozen_target(sheet.file.mix, stage.target_frozen), "target_frozen"
            if target is None:  # said by frozen_targets
                continue
        if target is None:
            yield from _without_target(sheet, path, stage)
            continue
        if stage.ceiling is not None and target > stage.ceiling.limit:
            yield sheet.problem(
                (*path, key), "the target is above the ceiling", "Lower the target or raise the ceiling."
            )
        if stage.floor is not None and target < stage.floor.limit:
            yield sheet.problem(
                (*path, key), "the target is below the floor", "Raise the target or lower the floor."
            )


def _without_target(sheet: SheetUnderCheck, path: KeyPath, stage: StageSettings) -> Iterator[Problem]:
    if stage.hold > 0:
        yield sheet.problem(
            (*path, "hold"), "a hold needs a target to be held at", 'Add target = "83 C" or what fits.'
        )
    if stage.reach_within is not None:
        yield sheet.problem((*path, "reach_within"), "there is no target to be reached", "Add a target.")
    if stage.advance in ("target", "confirm") and stage.heat is None and stage.cooling is None:
        yield sheet.problem(
            (*path, "advance"),
            f'advance = "{stage.advance}" needs a target',
            'Add a target, or write advance = "hand".',
        )


def times(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """Lengths of time that fit each other."""
    for path, stage in sheet.stages():
        if stage.advance == "time" and not stage.lasts:
            yield sheet.problem(
                (*path, "advance"), 'advance = "time" needs the time it lasts', 'Add lasts = "4 h".'
            )
        if stage.advance != "time" and stage.lasts is not None:
            yield sheet.warning(
                (*path, "lasts"),
                f'lasts has no effect with advance = "{stage.advance}"',
                'Write advance = "time", or remove lasts.',
            )
        if stage.stay_at_most is None:
            continue
        for key in ("hold", "reach_within", "lasts"):
            length = getattr(stage, key)
            if length is not None and length > stage.stay_at_most:
                yield sheet.problem(
                    (*path, "stay_at_most"),
                    f"the stage may not stay long enough for {key}",
                    f"Make stay_at_most longer or {key} shorter.",
                )


def safety(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """What a food-safety record would lack. Never an error: the kitchen's own plan and the food code decide."""
    for path, stage in sheet.stages():
        approach = stage.approach or USUAL_APPROACH[stage.kind]
        if stage.kind == "cook" and stage.heat is None and (stage.target is None or stage.hold == 0):
            lacks = "no target" if stage.target is None else "no hold"
            yield sheet.warning(
                path,
                f"this cook has {lacks}, so that a hold is not proven",
                "Add the target and hold that your local food code asks for.",
            )
        if stage.kind == "cook" and approach != "rising":
            yield sheet.warning(
                (*path, "approach"),
                f'a cook with approach = "{approach}" counts as reached below its target',
                'Leave approach out, or write "rising".',
            )
        unwatched = stage.reach_within is None and stage.cooling is None
        if stage.kind == "chill" and stage.target is not None and unwatched:
            yield sheet.warning(
                path,
                "nothing watches how long this cooling takes",
                "Add the reach_within that your local food code asks for.",
            )


def process_tables(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """Heat tables and cooling rules exist, and those written out make sense."""
    for path, stage in sheet.stages():
        for key, what, remedy in faults(stage.heat, stage.cooling):
            yield sheet.problem((*path, key), what, remedy)


def mix(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """The ingredients are known and the mix freezes somewhere."""
    if sheet.file.mix is None:
        return
    for fault in mix_faults(sheet.file.mix):
        say = sheet.warning if fault.warning else sheet.problem
        yield say(("mix", *fault.path), fault.message, fault.remedy)


def frozen_targets(sheet: SheetUnderCheck) -> Iterator[Problem]:
    """Targets as percent frozen have a mix whose freezing is known."""
    written = "mix" in sheet.source.text.document
    for path, stage in sheet.stages():
        if sheet.file.mix is None and written:  # the mix itself is faulty, which is said there
            return
        for what, remedy in target_faults(stage.kind, stage.target, stage.target_frozen, sheet.file.mix):
            yield sheet.problem((*path, "target_frozen"), what, remedy)


SHEET_CHECKS = (ids, references, order, targets, times, process_tables, mix, frozen_targets, safety)
