"""Where edges put what they received: bounded for each source, drained in the order of arrival."""

from __future__ import annotations

import logging
import threading
import time
from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from rimekeeper.core.commit import CallResult
from rimekeeper.core.messages import ClockStepped, CommandGiven
from rimekeeper.core.model import Delivery, Rejected, SourceId, SourceState
from rimekeeper.runtime.logs import RateBound

_LOG = logging.getLogger(__name__)

SHARE = 20_000
"""Samples that one source may have waiting."""
REPORTS = 1_000
SAMPLES_SHOWN = 100

Item: TypeAlias = Delivery | SourceState | CommandGiven | ClockStepped | CallResult


@dataclass(frozen=True, slots=True)
class Losses:
    """What one source lost or had refused since the start."""

    dropped: int
    rejected: int


class Inbox:
    """Thread-safe; never raises; a chatty source fills its own share and no one else's."""

    def __init__(self, share: int = SHARE, steady: Callable[[], float] = time.monotonic) -> None:
        """Set the share in samples. ``steady`` gives seconds that only grow, for the bounded log."""
        self._share = share
        self._items: deque[Item] = deque()
        self._held: Counter[SourceId] = Counter()
        self._reports: Counter[SourceId] = Counter()
        self._dropped: Counter[SourceId] = Counter()
        self._rejected: Counter[SourceId] = Counter()
        self._shown: deque[Rejected] = deque(maxlen=SAMPLES_SHOWN)
        self._changed = threading.Condition()
        self._urgent = False
        self._bound = RateBound(per_minute=6, steady=steady)

    # --- edges put in -------------------------------------------------------------------------------------

    def deliver(self, delivery: Delivery) -> bool:
        """Take one message, or refuse it because the source's share is full (see the port)."""
        size = max(1, len(delivery.samples))
        with self._changed:
            held = self._held[delivery.source]
            if held and held + size > self._share:
                if delivery.receipt is None:
                    self._dropped[delivery.source] += size
                return False
            self._held[delivery.source] = held + size
            self._items.append(delivery)
            if delivery.rejected:
                self._rejected[delivery.source] += len(delivery.rejected)
                self._shown.extend(delivery.rejected)
            if len(self._items) == 1:
                self._changed.notify_all()
        for rejected in delivery.rejected:
            self._log(rejected)
        return True

    def report(self, state: SourceState) -> None:
        """Take what a source says about itself; the oldest word of a flood of them is let go."""
        with self._changed:
            if self._reports[state.source] >= REPORTS:
                self._forget_oldest_report(state.source)
            self._reports[state.source] += 1
            self._items.append(state)
            self._changed.notify_all()

    def put(self, item: CommandGiven | ClockStepped | CallResult) -> None:
        """Take something that is never refused and should not wait."""
        with self._changed:
            self._items.append(item)
            self._urgent = True
            self._changed.notify_all()

    # --- the pipeline takes out -----------------------------------------------------------------------------

    def wait(self, timeout: float) -> None:
        """Return when something is there, or after ``timeout`` seconds."""
        with self._changed:
            if not self._items:
                self._changed.wait(timeout)

    def gather(self, most: int, longest: float, lull: float = 0.01) -> None:
        """Let a group come together: until ``most`` samples, ``longest`` seconds, or a lull in arrivals."""
        ends = time.monotonic() + longest
        with self._changed:
            held = -1
            while not self._urgent and held < (now := self._held.total()) < most:
                if time.monotonic() >= ends:
                    return
                held = now
                self._changed.wait(lull)

    def wake(self) -> None:
        """Let a waiting pipeline look around."""
        with self._changed:
            self._urgent = True
            self._changed.notify_all()

    def drain(self, most: int) -> list[Item]:
        """Take items in the order of arrival, up to about ``most`` samples."""
        taken: list[Item] = []
        samples = 0
        with self._changed:
            self._urgent = False
            while self._items and samples < most:
                item = self._items.popleft()
                taken.append(item)
                if isinstance(item, Delivery):
                    size = max(1, len(item.samples))
                    self._held[item.source] -= size
                    samples += size
                elif isinstance(item, SourceState):
                    self._reports[item.source] -= 1
        return taken

    # --- how it stands ------------------------------------------------------------------------------------

    @property
    def backlog(self) -> int:
        """Samples waiting."""
        with self._changed:
            return self._held.total()

    def losses(self) -> dict[SourceId, Losses]:
        """What each source lost or had refused."""
        with self._changed:
            return {
                source: Losses(self._dropped[source], self._rejected[source])
                for source in self._dropped.keys() | self._rejected.keys()
            }

    def rejected(self) -> tuple[Rejected, ...]:
        """The last texts that could not be read, newest last."""
        with self._changed:
            return tuple(self._shown)

    def _forget_oldest_report(self, source: SourceId) -> None:
        for place, item in enumerate(self._items):
            if isinstance(item, SourceState) and item.source == source:
                del self._items[place]
                self._reports[source] -= 1
                return

    def _log(self, rejected: Rejected) -> None:
        if (left_out := self._bound.allows(rejected.source)) is not None:
            _LOG.warning(
                "%s sent something that can't be read: %s. It said %r%s",
                rejected.source,
                rejected.why,
                rejected.text,
                f" (and {left_out} more since the last time this was said)" if left_out else "",
            )
