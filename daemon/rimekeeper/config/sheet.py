"""A batch sheet as a person writes it (TOML): the mix, what probes are for, and the stages in order."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rimekeeper.config.edges import Strict
from rimekeeper.config.kitchen import Id, LimitSettings
from rimekeeper.config.mix import MixSettings, ShareText
from rimekeeper.config.process_tables import Cooling, Heat
from rimekeeper.config.quantities import DifferenceText, DurationText, RateText, TemperatureText

KindWord = Literal["cook", "hold", "chill", "age", "temper", "combine", "churn", "harden", "store"]
ApproachWord = Literal["rising", "falling", "within"]

USUAL_APPROACH: dict[KindWord, ApproachWord] = {
    "cook": "rising",
    "hold": "rising",
    "chill": "falling",
    "churn": "falling",
    "harden": "falling",
    "temper": "falling",
    "age": "within",
    "store": "within",
    "combine": "within",
}
"""From which side a target is met when the sheet doesn't say."""

CRITICAL_KINDS: frozenset[KindWord] = frozenset({"cook", "hold", "chill"})
"""Kinds whose target and hold are critical limits when the sheet doesn't say."""


class SheetSettings(Strict):
    """``[sheet]``: what it makes."""

    id: Id | None = None
    """The file's name without ``.toml`` by default."""
    name: str = Field(min_length=1, max_length=80)
    allergens: tuple[str, ...] = Field(default=(), strict=False)
    note: str = ""


class RoleSettings(Strict):
    """``[[role]]``: what a probe is for in a batch."""

    id: Id
    name: str = Field(min_length=1, max_length=80)
    fastest: RateText | None = None
    """A faster jump of its probe is not believed while it is bound; None: the probe's own limit alone."""


class StageSettings(Strict):
    """``[[stage]]``: one step of the batch."""

    id: Id
    name: str = Field(min_length=1, max_length=80)
    kind: KindWord
    role: str
    after: tuple[str, ...] | None = Field(default=None, strict=False)
    """The stage written before it by default; ``[]``: starts at once."""
    portion: str = Field(default="", max_length=40)
    target: TemperatureText | None = None
    target_frozen: ShareText | None = None
    """Instead of ``target``: the share of the mix's water that is ice when it is there."""
    band: DifferenceText | None = None
    """None: 0.5 K for a target met from both sides; nothing for one met from below or above, because a custard that
    lacks half a kelvin is not cooked and a base half a kelvin too warm is not chilled."""
    approach: ApproachWord | None = None
    settle: DurationText = 2_000
    hold: DurationText = 0
    heads_up: DurationText = 60_000
    heat: Heat | None = None
    """Its time-temperature table, by id or written out."""
    cooling: Cooling | None = None
    """Its cooling rule, by id or written out."""
    critical: bool | None = None
    """Whether target and hold are critical limits; None: those of cook, hold and chill are."""
    reach_within: DurationText | None = None
    stay_at_most: DurationText | None = None
    lasts: DurationText | None = None
    ceiling: LimitSettings | None = None
    floor: LimitSettings | None = None
    advance: Literal["hand", "target", "confirm", "time"] = "hand"
    do: str = Field(default="", max_length=400)
    caution: str = Field(default="", max_length=400)


class SheetFile(Strict):
    """The whole file."""

    sheet: SheetSettings
    mix: MixSettings | None = None
    role: tuple[RoleSettings, ...] = Field(default=(), strict=False)
    stage: tuple[StageSettings, ...] = Field(default=(), strict=False)
