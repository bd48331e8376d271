"""Cutting a stream of bytes into lines, however the bytes arrive."""

from __future__ import annotations

from dataclasses import dataclass

from rimekeeper.core.decoding.found import LONGEST_SHOWN, Refused, shown


@dataclass(frozen=True, slots=True)
class Line:
    """The bytes between two terminators."""

    data: bytes


@dataclass(frozen=True, slots=True)
class TooLong:
    """A line longer than the bound; only its start was kept."""

    start: bytes
    longest: int

    @property
    def refused(self) -> Refused:
        """How the probes page shows it."""
        return Refused(
            shown(self.start),
            f"a line is longer than {self.longest} bytes; is the terminator right? (longest_line, terminator)",
        )


class LineFramer:
    """Takes chunks of any size and gives the lines that are complete.

    The lines don't depend on how the stream was cut into chunks. A line over the bound is given once, as
    :class:`TooLong`, and the next line begins after the next terminator. Between two calls at most
    ``longest + len(terminator)`` bytes are held.
    """

    def __init__(self, terminator: bytes = b"\n", longest: int = 256) -> None:
        """Frame lines ended by ``terminator`` (not empty) of at most ``longest`` bytes without it."""
        if not terminator or longest < 1:
            raise ValueError("a terminator has at least one byte and a line may have at least one")
        self._terminator = terminator
        self._longest = longest
        self._held = bytearray()
        self._skipping = False

    @property
    def held(self) -> int:
        """Bytes waiting for their terminator."""
        return len(self._held)

    def clear(self) -> None:
        """Forget an unfinished line (the port was opened anew, or its answer came too late)."""
        self._held.clear()
        self._skipping = False

    def feed(self, chunk: bytes) -> list[Line | TooLong]:
        """Take the next bytes of the stream and give what they complete, in order."""
        found: list[Line | TooLong] = []
        searched = max(0, len(self._held) - len(self._terminator) + 1)
        stream = bytes(self._held) + chunk
        begins = 0
        while (ends := stream.find(self._terminator, max(begins, searched))) >= 0:
            if not self._skipping:
                found.append(self._line(stream, begins, ends))
            self._skipping = False
            begins = ends + len(self._terminator)
        rest = stream[begins:] if begins else stream
        if not self._skipping and len(rest) >= self._longest + len(self._terminator):
            found.append(self._line(rest, 0, len(rest)))
            self._skipping = True
        if self._skipping:
            kept = len(self._terminator) - 1
            rest = rest[len(rest) - kept :] if kept else b""
        self._held = bytearray(rest)
        return found

    def _line(self, stream: bytes, begins: int, ends: int) -> Line | TooLong:
        if ends - begins > self._longest:
            return TooLong(stream[begins : begins + min(self._longest, LONGEST_SHOWN)], self._longest)
        return Line(stream[begins:ends])
