"""``rimekeeper examine``: a recorded curve through the engine, and what it makes of it."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from rimekeeper.cli_common import KitchenOption, bindings_of, misused, say
from rimekeeper.cli_mix import find_sheet
from rimekeeper.config.quantities import difference, duration
from rimekeeper.core.decoding.figures import FigureError, instant_of, moment_or_local_in_text
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.model import RoleId, Scale, StageId
from rimekeeper.core.plan import Advance, SheetPlan

if TYPE_CHECKING:
    from rimekeeper.cli_examine_file import CurveFile
    from rimekeeper.review.examining import Examined, Question, Tap

_Meant = TypeVar("_Meant")


def examine(
    file: Annotated[Path, typer.Argument(help="CSV: our export, the replay format, or time,celsius.")],
    sheet: Annotated[
        str, typer.Option("--sheet", "-s", help="Sheet: a file, or its name in the sheets folder.")
    ],
    kitchen: KitchenOption = Path("kitchen.toml"),
    bind: Annotated[list[str] | None, typer.Option("--bind", "-b", metavar="ROLE=CHANNEL")] = None,
    begin: Annotated[
        list[str] | None,
        typer.Option("--begin", metavar="STAGE=MOMENT", help="When a stage began (may be given again)."),
    ] = None,
    accuracy: Annotated[str, typer.Option(help="What the probe may be off by.")] = "1 K",
    gap: Annotated[
        str, typer.Option(help="Readings farther apart than this prove nothing between.")
    ] = "60 s",
    forecast_every: Annotated[str, typer.Option(help="A forecast at most this often.")] = "1 s",
    as_json: Annotated[bool, typer.Option("--json", help="Everything, as JSON.")] = False,  # noqa: FBT002
    plot: Annotated[bool, typer.Option("--plot", help="Draw the curve.")] = False,  # noqa: FBT002
) -> None:
    """Look into a recorded run: verdict of each stage, events with times, and the forecasts beside what came."""
    from rimekeeper.cli_examine_file import read_curve  # noqa: PLC0415  other commands answer without them
    from rimekeeper.cli_examine_words import as_document, show  # noqa: PLC0415
    from rimekeeper.config.loading import load_sheet  # noqa: PLC0415
    from rimekeeper.review import examining  # noqa: PLC0415
    from rimekeeper.review.wording import Wording  # noqa: PLC0415

    plan = load_sheet(find_sheet(sheet, kitchen))
    scale, zone = _kitchen(kitchen)
    within = _option("--accuracy", difference, accuracy)
    allowed = _option("--gap", duration, gap)
    every = _option("--forecast-every", duration, forecast_every)
    if allowed <= 0:
        misused("--gap: no time at all proves nothing; write one such as 60 s.")
    curve = read_curve(file, zone)
    taps = _given(begin or (), plan, zone)
    recorded = () if taps else _recorded(curve, plan, file)
    question = examining.Question(
        plan,
        _bindings(bind or (), plan, curve, file),
        taps or recorded,
        bool(recorded),
        within,
        allowed,
        every,
        scale,
        zone,
    )
    examined = examining.examine(question, curve.points)
    notes = [*curve.notes, *examined.notes, *_remarks(question, curve, examined)]
    if as_json:
        say(
            json.dumps(
                as_document(file, examined, notes, Wording(scale, zone)), ensure_ascii=False, allow_nan=False
            )
        )
        return
    show(file, examined, notes, Wording(scale, zone), plot=plot)


def _option(name: str, meaning: Callable[[object], _Meant], text: str) -> _Meant:
    try:
        return meaning(text)
    except ValueError as fault:
        misused(f"{name}: {fault}.")


def _kitchen(kitchen: Path) -> tuple[Scale, str]:
    if not kitchen.is_file():
        return Scale.CELSIUS, "UTC"
    from rimekeeper.config.loading import load  # noqa: PLC0415

    plan = load(kitchen).plan
    return plan.scale, plan.zone


def _bindings(
    given: Sequence[str], plan: SheetPlan, curve: CurveFile, file: Path
) -> tuple[tuple[RoleId, str], ...]:
    roles, channels = [role.id for role in plan.roles], curve.channels
    named = {role: channel for role, channel in curve.roles.items() if role in roles}
    bound: dict[str, str] = {role: role for role in roles if role in channels and role not in named}
    bound.update(named)
    if not bound and len(roles) == len(channels) == 1:
        bound = {roles[0]: channels[0]}
    for role, channel in bindings_of(given):
        if role not in roles:
            raise RefusedError(f'{plan.name} has no role "{role}". Its roles: {", ".join(roles)}.')
        if channel not in channels:
            raise RefusedError(f'{file} has no channel "{channel}". Its channels: {", ".join(channels)}.')
        bound[role] = channel
    if not bound:
        raise RefusedError(
            f"It isn't clear which channel of {file} is for which role. Its channels: {', '.join(channels)}; "
            f"roles of {plan.name}: {', '.join(roles)}. Say so with --bind ROLE=CHANNEL."
        )
    twice = [channel for channel in set(bound.values()) if list(bound.values()).count(channel) > 1]
    if twice:
        raise RefusedError(f"Channel {twice[0]} is given to two roles. Give every role a channel of its own.")
    return tuple((RoleId(role), channel) for role, channel in bound.items())


def _given(pairs: Iterable[str], plan: SheetPlan, zone: str) -> tuple[Tap, ...]:
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from rimekeeper.review.examining import Tap  # noqa: PLC0415

    taps = []
    for pair in pairs:
        stage, sign, text = pair.partition("=")
        if not sign:
            raise RefusedError(
                f'"{pair}" is not a beginning; write STAGE=MOMENT, such as chill=2026-11-25T10:00.'
            )
        _known(stage, plan)
        try:
            moment = moment_or_local_in_text(text)
            at = instant_of(moment if moment.tzinfo is not None else moment.replace(tzinfo=ZoneInfo(zone)))
        except FigureError as fault:
            raise RefusedError(f'--begin {stage}: the moment "{text}" {fault}.') from None
        taps.append(Tap(at, begins=StageId(stage)))
    return tuple(taps)


def _known(stage: str, plan: SheetPlan) -> None:
    if plan.stage(StageId(stage)) is None:
        raise RefusedError(
            f'{plan.name} has no stage "{stage}". Its stages: {", ".join(s.id for s in plan.stages)}.'
        )


def _recorded(curve: CurveFile, plan: SheetPlan, file: Path) -> tuple[Tap, ...]:
    if len(curve.batches) > 1:
        raise RefusedError(
            f"{file} holds the readings of several batches ({', '.join(curve.batches)}). "
            "Export one of them with rimekeeper export --batch."
        )
    for tap in curve.taps:
        for stage in (tap.ends, tap.begins):
            if stage is not None and plan.stage(stage) is None:
                raise RefusedError(
                    f'{file} has the stage "{stage}", which {plan.name} has not: '
                    f"{', '.join(s.id for s in plan.stages)}. Is it the sheet of that batch?"
                )
    return tuple(curve.taps)


def _remarks(question: Question, curve: CurveFile, examined: Examined) -> Iterable[str]:
    """What a person must know of how it was looked at."""
    bound = {channel for _, channel in question.bindings}
    yield from (f"Channel {one} has no role and is left out." for one in curve.channels if one not in bound)
    heard = {role for role, _ in question.bindings}
    for role in question.sheet.roles:
        if role.id not in heard:
            yield f"{role.name} ({role.id}) has no channel: its stages have no readings."
    for channel in sorted(bound):
        times = [point.at for point in curve.points if point.channel == channel]
        steps = [after - before for before, after in itertools.pairwise(times)]
        if steps and median(steps) > question.allowed_gap:
            yield (
                f"Readings of {channel} come every {median(steps) / 1000:g} s and --gap is "
                f"{question.allowed_gap / 1000:g} s, so nothing between them counts. "
                "Give a longer --gap if nothing can have happened in between."
            )
    after = examined.batch.ended
    left = 0 if after is None else sum(reading.taken_at >= after for reading in examined.readings)
    if left:
        yield f"{left} readings come after the last stage ended and are not judged."
    if not question.as_tapped:
        yield from _untapped(question, examined)


def _untapped(question: Question, examined: Examined) -> Iterable[str]:
    """What was done, or not, because no tap is in the recording."""
    given = {tap.begins for tap in question.taps}
    for plan, run in zip(question.sheet.stages, examined.batch.stages, strict=True):
        followed = any(plan.id in stage.after and stage.id in given for stage in question.sheet.stages)
        if plan.advance is Advance.CONFIRM and run.ended is not None and not followed:
            yield f"{plan.name}: taken as confirmed at once, no tap is in the recording."
        elif plan.advance is Advance.HAND and run.began is not None and run.ended is None:
            yield f"{plan.name} ends by hand and no tap is given; say what came next with --begin."
