"""Messages the house wants to send, kept in a bounded queue across connections until the broker has them."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, field

MOST_WAITING = 500
MOST_IN_FLIGHT = 20


@dataclass(slots=True, eq=False)
class Outgoing:
    """One message and what became of it."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    keep: bool = True
    """Whether to send it again on the next connection when this one breaks before the broker answered."""
    done: threading.Event = field(default_factory=threading.Event)
    taken: bool = False
    """Whether the broker took it; meaningful once ``done`` is set."""

    def settle(self, *, taken: bool) -> None:
        """Say what became of it."""
        self.taken = taken
        self.done.set()


class OutgoingQueue:
    """First in, first out; thread-safe. Messages on their way when a connection breaks go to the front again."""

    def __init__(self) -> None:
        self._waiting: deque[Outgoing] = deque()
        self._on_way: dict[int, Outgoing] = {}
        self._lock = threading.Lock()

    def put(self, message: Outgoing) -> bool:
        """Append; False when the queue is full."""
        with self._lock:
            if len(self._waiting) >= MOST_WAITING:
                return False
            self._waiting.append(message)
            return True

    def withdraw(self, message: Outgoing) -> None:
        """Take back a message that has not been sent yet."""
        with self._lock:
            if message in self._waiting:
                self._waiting.remove(message)

    def next(self) -> Outgoing | None:
        """The next message to send, or None when there is none or enough are on their way."""
        with self._lock:
            if not self._waiting or len(self._on_way) >= MOST_IN_FLIGHT:
                return None
            return self._waiting.popleft()

    def sent(self, mid: int, message: Outgoing) -> None:
        """A QoS 1 message is on its way under this packet id."""
        with self._lock:
            self._on_way[mid] = message

    def answered(self, mid: int, *, taken: bool) -> Outgoing | None:
        """The broker answered; the message it answered, or None when it isn't ours."""
        with self._lock:
            message = self._on_way.pop(mid, None)
        if message is not None:
            message.settle(taken=taken)
        return message

    def broken(self) -> None:
        """The connection broke: what was on its way is sent again, first of all."""
        with self._lock:
            for message in reversed(self._on_way.values()):
                if message.keep:
                    self._waiting.appendleft(message)
                else:
                    message.settle(taken=False)
            self._on_way.clear()
