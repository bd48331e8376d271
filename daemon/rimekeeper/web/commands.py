"""Commands posted by a page or the command line: strictly parsed, given to the kitchen, answered in a sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from rimekeeper.core.messages import (
    Acknowledge,
    AdvanceStage,
    BeginTest,
    Command,
    EndBatch,
    EndTest,
    HoldBatch,
    NoteBatch,
    ResumeBatch,
    RetimeStage,
    ScrapBatch,
    StartBatch,
    UndoAdvance,
)
from rimekeeper.core.model import MINUTE, Actor, BatchId, Instant, Millis, ProbeId, RoleId, SheetId, StageId

DEFAULT_WHO = "kitchen screen"
FROM_PAGE = "web page"
LONGEST_BODY = 16_384
FARTHEST = 4_102_444_800_000
"""2100-01-01: no stage begins after it."""

_Id = Annotated[str, Field(min_length=1, max_length=200)]
_Text = Annotated[str, Field(max_length=2_000)]


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, str_strip_whitespace=True)
    who: Annotated[str, Field(max_length=80)] = ""
    where: Annotated[str, Field(max_length=80)] = ""


class Start(_Asked):
    """Begin a batch."""

    command: Literal["start"]
    sheet: _Id
    bindings: dict[_Id, _Id]
    lot: Annotated[str, Field(max_length=80)] = ""
    note: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        pairs = tuple((RoleId(role), ProbeId(probe)) for role, probe in self.bindings.items())
        return StartBatch(SheetId(self.sheet), pairs, self.lot, self.note)


class Advance(_Asked):
    """End a stage and go on."""

    command: Literal["advance"]
    batch: _Id
    stage: _Id | None = None
    begin: _Id | None = None
    why: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        stage = None if self.stage is None else StageId(self.stage)
        begin = None if self.begin is None else StageId(self.begin)
        return AdvanceStage(BatchId(self.batch), stage, begin, self.why)


class Hold(_Asked):
    """Pause."""

    command: Literal["hold"]
    batch: _Id
    why: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        return HoldBatch(BatchId(self.batch), self.why)


class Resume(_Asked):
    """Go on after a hold."""

    command: Literal["resume"]
    batch: _Id

    def meant(self) -> Command:
        """The command of the core."""
        return ResumeBatch(BatchId(self.batch))


class Undo(_Asked):
    """Take back the last advance."""

    command: Literal["undo"]
    batch: _Id
    why: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        return UndoAdvance(BatchId(self.batch), self.why)


class Note(_Asked):
    """Write something down."""

    command: Literal["note"]
    batch: _Id
    text: Annotated[str, Field(min_length=1, max_length=2_000)]

    def meant(self) -> Command:
        """The command of the core."""
        return NoteBatch(BatchId(self.batch), self.text)


class Scrap(_Asked):
    """Throw the batch away."""

    command: Literal["scrap"]
    batch: _Id
    why: _Text = ""

    def meant(self) -> Command:
        """The command of the core; whether the reason is enough is the core's to say."""
        return ScrapBatch(BatchId(self.batch), self.why)


class End(_Asked):
    """Finish the batch."""

    command: Literal["end"]
    batch: _Id
    why: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        return EndBatch(BatchId(self.batch), self.why)


class Retime(_Asked):
    """Say when a stage really began."""

    command: Literal["retime"]
    batch: _Id
    stage: _Id
    began: Annotated[int, Field(ge=0, le=FARTHEST)]
    why: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        return RetimeStage(BatchId(self.batch), StageId(self.stage), Instant(self.began), self.why)


class Seen(_Asked):
    """Acknowledge an alarm, or all."""

    command: Literal["acknowledge"]
    alarm: Annotated[str, Field(max_length=300)] = ""
    note: _Text = ""

    def meant(self) -> Command:
        """The command of the core."""
        return Acknowledge(self.alarm, self.note)


class TestBegins(_Asked):
    """Take a probe out of its place to test it; its readings decide nothing meanwhile."""

    command: Literal["begin-test"]
    probe: _Id
    why: _Text = ""
    minutes: Annotated[int, Field(ge=1, le=240)] = 60

    def meant(self) -> Command:
        """The command of the core."""
        return BeginTest(ProbeId(self.probe), self.why, Millis(self.minutes * MINUTE))


class TestEnds(_Asked):
    """The probe is back in its place."""

    command: Literal["end-test"]
    probe: _Id

    def meant(self) -> Command:
        """The command of the core."""
        return EndTest(ProbeId(self.probe))


Asked = Annotated[
    Start | Advance | Hold | Resume | Undo | Note | Scrap | End | Retime | Seen | TestBegins | TestEnds,
    Field(discriminator="command"),
]
_ASKED: TypeAdapter[Any] = TypeAdapter(Asked)


class MalformedError(ValueError):
    """The body is not a command; the text says what is wrong with it."""


def parse(body: bytes, *, trusted: bool) -> tuple[Command, Actor]:
    """The command and who gives it. Only the token's holder may say where it comes from.

    Raises:
        MalformedError: not JSON, an unknown command, a missing, unknown or ill-typed field.
    """
    if len(body) > LONGEST_BODY:
        raise MalformedError(f"The command is longer than {LONGEST_BODY} bytes.")
    try:
        asked = _ASKED.validate_json(body)
    except ValidationError as fault:
        raise MalformedError(said(fault, "This is not a command that Rimekeeper knows. ")) from None
    meant: Callable[[], Command] = asked.meant
    return meant(), actor_of(asked.who, asked.where, trusted=trusted)


def actor_of(who: str, where: str, *, trusted: bool) -> Actor:
    """Who gives a command. Only the token's holder may say where it comes from."""
    return Actor(_clean(who) or DEFAULT_WHO, where if trusted and where else FROM_PAGE)


def _clean(who: str) -> str:
    return "".join(letter for letter in who if letter.isprintable()).strip()


def said(fault: ValidationError, front: str) -> str:
    """What is wrong with a body, in a sentence that begins with ``front``."""
    parts = []
    for error in fault.errors(include_url=False, include_context=False)[:5]:
        place = ".".join(str(step) for step in error["loc"][1:] or error["loc"])
        parts.append(f"{place}: {error['msg']}" if place else str(error["msg"]))
    return front + "; ".join(parts)
