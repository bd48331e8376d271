"""One question at a time on an open line: asking, waiting, and hearing what nobody here asked for."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

from serial import Serial

from rimekeeper.intake.modbus_frames import (
    READING_FUNCTIONS,
    STATUS_FUNCTION,
    Answer,
    Asked,
    Frame,
    Question,
    StatusQuestion,
    Trouble,
    frames_in,
    judge,
)
from rimekeeper.intake.serial_open import read_some

BITS_OF_A_CHARACTER = 11
QUIET_CHARACTERS = 3.5
SHORTEST_QUIET = 0.00175
"""Seconds between frames above 19 200 baud (MODBUS over Serial Line V1.02, section 2.5.1.1)."""
MOST_HEARD = 4_096
LATE_TIMEOUTS = 20.0
"""An answer to a question that was asked up to so many timeouts ago is ours and late, not somebody else's."""
LONGEST_SPEECH = 1.0
"""Seconds after which a line that never falls silent is spoken over."""


class Line:
    """What is said on one open port. Times are seconds; used by one thread."""

    def __init__(self, port: Serial, baud: int, timeout: float, stop: threading.Event) -> None:
        self._port = port
        self._character = BITS_OF_A_CHARACTER / baud
        self._quiet = max(SHORTEST_QUIET, QUIET_CHARACTERS * self._character)
        self._timeout = timeout
        self._stop = stop
        self._owed: set[int] = set()
        self._last_owed: dict[int, float] = {}
        self._unanswered = float("-inf")
        self.late: set[int] = set()
        """Units whose answer came too late, since :meth:`take_late`."""
        self.stranger: tuple[float, Frame] | None = None
        """When somebody else was last heard, and what was said."""

    def owes(self, unit: int) -> bool:
        """Whether an answer of the unit may still be on its way."""
        return unit in self._owed

    def ask(self, question: Question) -> Answer:
        """Ask and wait for the answer; whatever else is heard meanwhile spoils it. Not of a unit that owes one."""
        answer = self._exchange(question)
        if answer.trouble not in (None, Trouble.REFUSED):
            self._owed.add(question.unit)
            self._last_owed[question.unit] = time.monotonic()
        return answer

    def clear(self, unit: int) -> Answer:
        """Come to terms with a unit that owes an answer, so that a late one can't be taken for the next.

        A unit answers in the order in which it was asked. So when it answers (or refuses) a question whose answer
        looks like no other, nothing older is on its way. A unit that keeps silent even to that, and from which
        nothing was heard for long, has forgotten.
        """
        answer = self._exchange(StatusQuestion(unit))
        forgotten = time.monotonic() > self._last_owed[unit] + LATE_TIMEOUTS * self._timeout
        if answer.trouble in (None, Trouble.REFUSED) or (answer.trouble is Trouble.SILENT and forgotten):
            self._owed.discard(unit)
        return answer

    def hear(self, seconds: float) -> None:
        """Listen without asking."""
        until, burst = time.monotonic() + seconds, b""
        while not self._stop.is_set():
            chunk = read_some(self._port)
            burst += chunk
            if not chunk or len(burst) > MOST_HEARD:
                self._overheard(burst)
                burst = b""
            now = time.monotonic()
            if now >= until and (not chunk or now >= until + LONGEST_SPEECH):
                return

    def _let_others_finish(self) -> None:
        """Hear out whoever is speaking; an answer to somebody else's question must not be taken for ours."""
        if self._port.in_waiting:
            self.hear(0.0)
        while not self._stop.is_set() and time.monotonic() < self._unanswered + self._timeout:
            self.hear(0.0)

    def _exchange(self, question: Asked) -> Answer:
        self._let_others_finish()
        time.sleep(self._quiet)
        self._port.write(question.frame())
        answer = self._listen_for(question)
        self._note(answer.late, answer.strangers)
        return answer

    def _listen_for(self, question: Asked) -> Answer:
        on_the_wire = (8 + question.answer_size) * self._character
        until = time.monotonic() + self._timeout + on_the_wire
        data = b""
        while not self._stop.is_set():
            chunk = read_some(self._port)
            data += chunk
            over = time.monotonic() >= until or len(data) > MOST_HEARD
            whole = len(data) >= question.answer_size and not chunk
            answer = judge(question, data, self._is_owed, ended=over or whole)
            if answer is not None and not (whole and not over and answer.trouble is Trouble.SILENT):
                return answer
        return Answer(trouble=Trouble.HALF, heard=data)

    def _is_owed(self, frame: Frame) -> bool:
        """Whether a unit owes it. One that was late often may owe several, so the last debt counts for a while."""
        since = self._last_owed.get(frame.unit, float("-inf"))
        lately = time.monotonic() < since + LATE_TIMEOUTS * self._timeout
        ours = not frame.is_request and frame.function in READING_FUNCTIONS
        return ours and (lately or frame.unit in self._owed)

    def _overheard(self, burst: bytes) -> None:
        frames, _ = frames_in(burst)
        late = tuple(frame for frame in frames if self._is_owed(frame))
        self._note(late, tuple(frame for frame in frames if frame not in late))

    def _note(self, late: Sequence[Frame], strangers: Sequence[Frame]) -> None:
        for frame in late:
            self._last_owed[frame.unit] = time.monotonic()
            if frame.function != STATUS_FUNCTION:
                self.late.add(frame.unit)
        for frame in strangers:
            self.stranger = (time.monotonic(), frame)
            self._unanswered = time.monotonic() if frame.is_request else float("-inf")

    def take_late(self) -> set[int]:
        """The units whose answers came too late since the last call."""
        late, self.late = self.late, set()
        return late
