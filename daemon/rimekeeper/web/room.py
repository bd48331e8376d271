"""What every handler of the pages needs, held together."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from starlette.requests import Request

from rimekeeper.core.model import Instant
from rimekeeper.keeping.reader import Reader
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

    @staticmethod
    def of(request: Request) -> Room:
        """The room of the application that got this request."""
        room: Room = request.app.state.room
        return room
