"""What every channel is, and what the one over MQTT needs."""

from __future__ import annotations

from typing import Protocol

from rimekeeper.core.alarms.call import Attempt, CallMessage


class Channel(Protocol):
    """A way to reach a person. Comes back within about ``timeout`` seconds and never raises."""

    def attempt(self, message: CallMessage, timeout: float) -> Attempt:
        """Try once."""


class Publisher(Protocol):
    """Publishes on one broker (the MQTT intake does, on the connection that it has anyway)."""

    def publish(
        self, topic: str, payload: str | bytes, *, qos: int = 1, retain: bool = False, wait: float = 0.0
    ) -> bool:
        """Send; with ``wait``, True once the broker took it and False when it did not within that many seconds."""
