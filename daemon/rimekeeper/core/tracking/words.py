"""The sentences of batches and stages, as a cook reads them in the record and hears them at the stove."""

from __future__ import annotations

from collections.abc import Sequence

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.model import StageId
from rimekeeper.core.plan import SheetPlan, StagePlan


def named(sheet: SheetPlan | None, stage: StageId) -> str:
    """The stage's name for people."""
    plan = sheet.stage(stage) if sheet is not None else None
    return plan.name if plan is not None else str(stage)


def listed(names: Sequence[str]) -> str:
    """One, two or more names: "Cook", "Cook and Chill", "Cook, Chill and Age"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def said(kind: PromptKind, stage: StagePlan) -> str:
    """What is said for a prompt; whole sentences without numbers."""
    match kind:
        case PromptKind.HEADS_UP:
            return _together(f"{stage.name}: nearly at its target.", stage.caution)
        case PromptKind.TARGET_REACHED:
            return _together(
                f"{stage.name}: the target is reached.", "Hold it there." if stage.hold > 0 else stage.do
            )
        case PromptKind.HOLD_DONE:
            return _together(f"{stage.name}: held for long enough.", stage.do)
        case PromptKind.STAGE_BEGAN:
            return _together(f"{stage.name} begins.", stage.caution)
        case PromptKind.CONFIRM:
            return _together(f"{stage.name}: confirm to go on.", "" if stage.hold > 0 else stage.do)
        case PromptKind.TIME_UP:
            return _together(f"{stage.name}: the time is up.", stage.do)


def _together(first: str, second: str) -> str:
    second = second.strip()
    if not second:
        return first
    return f"{first} {second}" if second.endswith((".", "!", "?")) else f"{first} {second}."
