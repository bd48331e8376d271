"""How long to wait before trying a port or a broker again."""

from __future__ import annotations

import random


class Backoff:
    """Waits that double from ``first`` up to ``longest`` seconds, each shortened by chance to 50-100 %.

    The chance keeps several edges (or several daemons) from knocking at the same moment after a power cut; a wait
    is never zero, so that nothing can spin.
    """

    def __init__(
        self, first: float = 0.5, longest: float = 30.0, chance: random.Random | None = None
    ) -> None:
        self._first = first
        self._longest = longest
        self._next = first
        self._chance = chance or random.Random()  # noqa: S311 - spreads out retries, guards nothing

    def wait(self) -> float:
        """Seconds to wait this time; the next wait is longer."""
        now = self._next
        self._next = min(self._next * 2.0, self._longest)
        return now * self._chance.uniform(0.5, 1.0)

    def reset(self) -> None:
        """Something worked: begin with the short wait again."""
        self._next = self._first
