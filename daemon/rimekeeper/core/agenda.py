"""What will happen by itself, in time order.

An item only says that something *may* be due: whoever takes it asks the thing itself when it is due now. So
items are never withdrawn; they come out, are found to be outdated, and are dropped or put back.
"""

from __future__ import annotations

import enum
import heapq
from dataclasses import dataclass, field

from rimekeeper.core.model import Instant


class Matter(enum.IntEnum):
    """Whose deadline it is; at the same instant in this order."""

    WATCH = 0
    SILENCE = 1
    SOURCE = 2
    STAGE = 3
    CALL = 4
    TEST = 5
    CALIBRATION = 6


Item = tuple[int, int, int, str]
"""(when it takes effect as seen from here, its own instant, matter, key): a total order without ties."""


@dataclass(slots=True)
class Agenda:
    """The items of one step."""

    items: list[Item] = field(default_factory=list)
    _there: set[Item] = field(default_factory=set)

    def put(self, wake: Instant, due: Instant, matter: Matter, key: str) -> None:
        """Something may be due."""
        item = (wake, due, matter, key)
        if item not in self._there:
            self._there.add(item)
            heapq.heappush(self.items, item)

    def take(self, until: int) -> Item | None:
        """The first item that takes effect up to ``until``, or None."""
        if not self.items or self.items[0][0] > until:
            return None
        item = heapq.heappop(self.items)
        self._there.discard(item)
        return item
