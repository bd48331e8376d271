"""Modbus RTU frames: the question as bytes, and what the bytes that came are: its answer, somebody else's, or damage.

Frames are built, summed and read by ``pymodbus``. Its client is not used because it says one thing ("no response")
for a silent unit, a damaged checksum, half a frame and an answer to somebody else, and a technician needs to know
which. Layout: MODBUS Application Protocol Specification V1.1b3, sections 6 and 7; MODBUS over Serial Line V1.02,
section 2.5.1.
"""

from __future__ import annotations

import enum
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.other_message import ReadExceptionStatusRequest
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

_REQUESTS = {"holding": ReadHoldingRegistersRequest, "input": ReadInputRegistersRequest}
_ANSWERS = DecodePDU(is_server=False)
_FRAMER = FramerRTU(_ANSWERS)
_EXCEPTION = 0x80
_SMALLEST = 4
MOST_GLITCHES = 2
"""So many stray bytes before a frame come from a transceiver that switches on, and harm nothing."""


@dataclass(frozen=True, slots=True)
class Question:
    """``count`` registers of one unit and table, from ``register`` on."""

    unit: int
    table: str
    register: int
    count: int

    @property
    def function(self) -> int:
        """The function code: 3 or 4."""
        return _REQUESTS[self.table].function_code

    @property
    def answer_size(self) -> int:
        """Bytes of a whole answer."""
        return 5 + 2 * self.count

    def frame(self) -> bytes:
        """As it goes down the line."""
        request = _REQUESTS[self.table](address=self.register, count=self.count, dev_id=self.unit)
        return _FRAMER.buildFrame(request)


@dataclass(frozen=True, slots=True)
class StatusQuestion:
    """Function 7, read exception status: asked only because its answer can't be taken for registers.

    A unit that doesn't know it refuses it, and the refusal carries the function code too.
    """

    unit: int
    function: int = 7
    answer_size: int = 5

    def frame(self) -> bytes:
        """As it goes down the line."""
        return _FRAMER.buildFrame(ReadExceptionStatusRequest(dev_id=self.unit))


Asked: TypeAlias = Question | StatusQuestion
STATUS_FUNCTION = 7
READING_FUNCTIONS = (3, 4, STATUS_FUNCTION)
"""Every function that is asked here."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One whole frame with a right checksum."""

    data: bytes
    is_request: bool

    @property
    def unit(self) -> int:
        """The unit that is asked, or that answers."""
        return self.data[0]

    @property
    def function(self) -> int:
        """The function code without the mark of an exception."""
        return self.data[1] & ~_EXCEPTION

    def answers(self, question: Asked) -> bool:
        """Whether this is an answer to that question, of the right length."""
        size = 5 if self.data[1] & _EXCEPTION else question.answer_size
        fits = (self.unit, self.function, len(self.data)) == (question.unit, question.function, size)
        return fits and not self.is_request


class Trouble(enum.Enum):
    """Why there are no registers."""

    SILENT = "nothing came"
    HALF = "half a frame"
    DAMAGED = "wrong checksum"
    STRANGER = "traffic of somebody else"
    REFUSED = "an exception code"


@dataclass(frozen=True, slots=True)
class Answer:
    """The registers, or what was wrong. ``code`` is the exception code of a refusal."""

    words: tuple[int, ...] = ()
    trouble: Trouble | None = None
    code: int = 0
    heard: bytes = b""
    late: tuple[Frame, ...] = ()
    """Answers that came too late for the questions they belong to."""
    strangers: tuple[Frame, ...] = ()


def frames_in(data: bytes) -> tuple[tuple[Frame, ...], bytes]:
    """The whole frames at the start of what was heard (behind at most two stray bytes), and the rest behind them."""
    for skipped in range(min(MOST_GLITCHES + 1, len(data))):
        frames, rest = _chain(data[skipped:])
        if frames:
            return frames, rest
    return (), data


def _chain(data: bytes) -> tuple[tuple[Frame, ...], bytes]:
    found: list[Frame] = []
    while (frame := _frame_at_start(data)) is not None:
        found.append(frame)
        data = data[len(frame.data) :]
    return tuple(found), data


def _frame_at_start(data: bytes) -> Frame | None:
    for size, is_request in _sizes(data):
        if _SMALLEST <= size <= len(data) and _sum_is_right(data[:size]):
            return Frame(data[:size], is_request)
    return None


def _sizes(data: bytes) -> list[tuple[int, bool]]:
    """How long a frame that begins so could be, as request and as answer."""
    if len(data) < _SMALLEST:
        return []
    function = data[1]
    if function & _EXCEPTION:
        return [(5, False)]
    if function in (1, 2, 3, 4):
        return [(8, True), (5 + data[2], False)]
    if function == STATUS_FUNCTION:
        return [(4, True), (5, False)]
    if function in (15, 16):
        return [(8, False), *([(9 + data[6], True)] if len(data) > 6 else [])]
    return [(8, True)]


def _sum_is_right(frame: bytes) -> bool:
    return FramerRTU.check_CRC(frame[:-2], int.from_bytes(frame[-2:], "big"))


def judge(question: Asked, data: bytes, is_owed: Callable[[Frame], bool], *, ended: bool) -> Answer | None:
    """What the bytes heard since the question are, or None while it can't be said yet.

    Args:
        question: what was asked.
        data: everything heard since.
        is_owed: whether a frame is the late answer to an earlier question.
        ended: no more bytes will come.
    """
    if data.startswith(echo := question.frame()):
        data = data[len(echo) :]
    if not ended and _begins_answer(question, data):
        return None
    frames, rest = _frames_expecting(question, data)
    ours = [frame for frame in frames if frame.answers(question)]
    late = tuple(frame for frame in frames if frame not in ours and is_owed(frame))
    strangers = tuple(frame for frame in frames if frame not in ours and frame not in late)
    if strangers:
        return Answer(trouble=Trouble.STRANGER, heard=data, late=late, strangers=strangers)
    if len(ours) == 1:
        return _read(ours[0], late)
    if len(ours) > 1:
        return Answer(trouble=Trouble.STRANGER, heard=data, late=late, strangers=tuple(ours[1:]))
    if not ended:
        return None
    return Answer(trouble=_damage(question, rest), heard=rest, late=late)


def _looks_like_answer(question: Asked, data: bytes) -> bool:
    size = question.answer_size
    head = data[: 3 if isinstance(question, Question) else 2]
    return head == bytes((question.unit, question.function, size - 5))[: len(head)] and len(head) >= 2


def _begins_answer(question: Asked, data: bytes) -> bool:
    """Whether this may be the beginning of the answer: the rest of it must be awaited before anything is said."""
    return len(data) < question.answer_size and _looks_like_answer(question, data)


def _frames_expecting(question: Asked, data: bytes) -> tuple[tuple[Frame, ...], bytes]:
    """The frames, the answer that is awaited before any other reading of its bytes.

    The first eight bytes of an answer can have the right checksum of a request (one answer in 65,536); a register
    that stands still at such a value would otherwise never be read.
    """
    size = question.answer_size
    if len(data) >= size and _looks_like_answer(question, data) and _sum_is_right(data[:size]):
        frames, rest = frames_in(data[size:])
        return (Frame(data[:size], is_request=False), *frames), rest
    return frames_in(data)


def _read(frame: Frame, late: Sequence[Frame]) -> Answer:
    pdu = _ANSWERS.decode(frame.data[1:-2])
    if pdu is None:
        return Answer(trouble=Trouble.DAMAGED, heard=frame.data, late=tuple(late))
    if pdu.isError():
        return Answer(trouble=Trouble.REFUSED, code=pdu.exception_code, heard=frame.data, late=tuple(late))
    return Answer(words=tuple(pdu.registers), heard=frame.data, late=tuple(late))


def _damage(question: Asked, rest: bytes) -> Trouble:
    if len(rest) <= MOST_GLITCHES:
        return Trouble.SILENT if not rest else Trouble.HALF
    size = 5 if rest[1] & _EXCEPTION else question.answer_size
    return Trouble.HALF if len(rest) < size else Trouble.DAMAGED
