"""Telling the inbox how an edge is, once per change."""

from __future__ import annotations

from rimekeeper.core.model import Health, SourceId, SourceState
from rimekeeper.runtime.ports import Clock, Inbox


class Reporter:
    """Reports the state of one source when it differs from the last one said."""

    def __init__(self, source: SourceId, inbox: Inbox, clock: Clock) -> None:
        self._source = source
        self._inbox = inbox
        self._clock = clock
        self._last: tuple[Health, str] | None = None

    @property
    def health(self) -> Health:
        """The health last reported."""
        return self._last[0] if self._last else Health.UNKNOWN

    def say(self, health: Health, why: str = "") -> None:
        """Report, unless just this was the last report."""
        if self._last == (health, why):
            return
        self._last = (health, why)
        self._inbox.report(SourceState(self._source, self._clock.now(), health, why))
