"""What a forwarder has to do; there is none yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Drained:
    """What one drain did. ``cursor`` is where the next one begins; it is only moved once the server took the rest."""

    cursor: int
    sent: int
    left: int
    trouble: str = ""
    """Why it stopped before the end, "" when it did not."""


class Forwarder(Protocol):
    """Sends stored readings on, in the order in which they were stored, at least once."""

    name: str
    """Names its cursor in the store, so that two servers each have their own."""

    def drain(self, cursor: int, timeout: float) -> Drained:
        """Send what was stored after ``cursor`` (a row of the store), for at most ``timeout`` seconds.

        The caller keeps the returned cursor durably before it drains again; a crash between the two sends a
        part twice, so the server must take a repeated reading as the same reading. Never raises: trouble is
        in the result, and the caller decides when to try again.
        """
