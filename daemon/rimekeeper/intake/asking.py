"""When to ask an instrument that only answers when asked, and whether what comes is an answer to *this* request."""

from __future__ import annotations


class Asking:
    """Turns of ``every`` seconds. Times are seconds of any clock that never runs backwards.

    An answer belongs to the turn in which it was asked for. When a turn ends without an answer, the next turn asks
    nothing and throws away whatever comes: a late answer must not be taken for the answer to the next request.
    """

    def __init__(self, every: float) -> None:
        self._every = every
        self._turn_ends = float("-inf")
        self._answered = True
        self._settling = False
        self.missed = 0

    def due(self, now: float) -> bool:
        """Whether to send the request now (and to throw away what is waiting before)."""
        if now < self._turn_ends:
            return False
        self._turn_ends = now + self._every
        if not self._answered and not self._settling:
            self.missed += 1
            self._settling = True
            return False
        self._settling = False
        self._answered = False
        return True

    def takes(self) -> bool:
        """Whether a line that comes now is the answer; False when it is too late for its request."""
        if self._settling:
            return False
        self._answered = True
        return True
