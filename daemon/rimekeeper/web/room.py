"""What every handler of the pages needs, held together."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.requests import Request

from rimekeeper.core.model import Instant
from rimekeeper.keeping.reader import Reader
from rimekeeper.review.last_day import LastDay
from rimekeeper.runtime.ports import Kitchen


def wall_clock() -> Instant:
    """The present instant by the machine's clock."""
    return Instant(time.time_ns() // 1_000_000)


@dataclass(frozen=True, slots=True)
class Room:
    """The running kitchen, its store, and the token of this machine's command line."""

    kitchen: Kitchen
    reader: Reader
    token: str
    address: str
    simulated: bool
    clock: Callable[[], Instant] = wall_clock
    last_day: LastDay = field(init=False)

    def __post_init__(self) -> None:
        """One memory of what the store said of the last day, for all handlers."""
        object.__setattr__(self, "last_day", LastDay(self.reader))

    @staticmethod
    def of(request: Request) -> Room:
        """The room of the application that got this request."""
        room: Room = request.app.state.room
        return room
