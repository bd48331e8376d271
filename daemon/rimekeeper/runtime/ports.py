"""The small protocols through which the runtime, the edges and the screens know each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from rimekeeper.core.alarms.call import Attempt, CallMessage
from rimekeeper.core.commit import Commit, Committed, Recollection, WaitingCall
from rimekeeper.core.messages import Command, CommandAnswered, PromptGiven
from rimekeeper.core.model import Actor, Delivery, Instant, ProbeId, Reading, Rejected, SourceId, SourceState
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.state import EngineState


class Clock(Protocol):
    """The daemon's clock: UTC milliseconds that never run backwards except by an announced step."""

    def now(self) -> Instant:
        """The present instant."""


class Inbox(Protocol):
    """Where edges put what they received. Thread-safe; bounded per source; never raises."""

    def deliver(self, delivery: Delivery) -> bool:
        """Hand over one message. False: the source's share is full; nothing was kept, and it was counted.

        A caller with a receipt must then not acknowledge; one without may wait and try again, or count a loss.
        """

    def report(self, state: SourceState) -> None:
        """Say how the source itself is."""


class Intake(Protocol):
    """An edge that brings samples. ``start`` returns at once; trouble is reported, never raised."""

    source: SourceId

    def start(self) -> None:
        """Begin in a thread of its own."""

    def stop(self, timeout: float = 5.0) -> None:
        """Stop and join; safe to call twice."""


class Channel(Protocol):
    """A way to reach a person. Must return within ``timeout`` seconds and never raise."""

    def attempt(self, message: CallMessage, timeout: float) -> Attempt:
        """Try once."""


@dataclass(frozen=True, slots=True)
class SourceTally:
    """Counts of one source since start, for the probes page."""

    source: SourceId
    messages: int = 0
    samples: int = 0
    stored: int = 0
    duplicates: int = 0
    rejected: int = 0
    dropped: int = 0
    unknown: int = 0


@dataclass(frozen=True, slots=True)
class SeenChannel:
    """A channel heard on a source, whether or not a probe claims it."""

    source: SourceId
    channel: str
    last_at: Instant
    value: float
    text: str
    count: int
    probe: str | None


@dataclass(frozen=True, slots=True)
class Pulse:
    """Whether the pipeline is alive and current."""

    alive: bool
    last_commit: Instant | None
    last_reading: Instant | None
    backlog: int
    store_trouble: str = ""
    readings_stored: int = 0
    started_at: Instant = Instant(0)


@dataclass(frozen=True, slots=True)
class CallTrouble:
    """The outbox at a glance: what waits, what failed."""

    waiting: int = 0
    failed: int = 0
    last_error: str = ""


@dataclass(frozen=True, slots=True)
class Glance:
    """One consistent view of the running kitchen, taken after a commit. ``version`` grows with each."""

    version: int
    at: Instant
    plan: KitchenPlan
    state: EngineState
    pulse: Pulse
    prompts: Sequence[PromptGiven] = ()
    """The last prompts, newest last (at most 20), for voice and screen."""
    tallies: Mapping[SourceId, SourceTally] = field(default_factory=dict)
    seen: Sequence[SeenChannel] = ()
    rejected: Sequence[Rejected] = ()
    calls: CallTrouble = CallTrouble()
    backfill: str = ""
    """Progress of history that is being filled in behind (demo), "" when none."""


class Kitchen(Protocol):
    """The running kitchen as the screens see it."""

    def glance(self) -> Glance:
        """The newest view; cheap, any thread."""

    def wait_newer(self, version: int, timeout: float) -> Glance | None:
        """Block until there is a view newer than ``version``; None after ``timeout`` seconds."""

    def command(self, command: Command, actor: Actor, timeout: float = 5.0) -> CommandAnswered:
        """Give a command and wait until it is on disk (or refused). Raises EdgeError when the pipeline is stuck."""

    @property
    def database(self) -> Path:
        """The file that read-only readers open."""


class Keeper(Protocol):
    """The one writer of the store; used by the pipeline's thread alone."""

    @property
    def database(self) -> Path:
        """The file."""

    def recollect(self) -> Recollection:
        """What the last run left."""

    def commit(self, commit: Commit) -> Committed:
        """Write all of it durably or nothing of it; raises StoreError."""

    def tidy(self) -> str:
        """Fold the log in and check the file; "" or what is wrong."""


class Past(Protocol):
    """What the runtime reads of the store, by short read-only connections, from any thread; raises StoreError."""

    def past_readings(self, probe: ProbeId, since: Instant, until: Instant) -> Iterator[Reading]:
        """Stored readings of a probe, oldest first."""

    def waiting_calls(self, limit: int = 500) -> tuple[WaitingCall, ...]:
        """Call-outs still to be sent, the one due first at the front."""

    def call_counts(self) -> tuple[int, int, str]:
        """How many wait, how many were given up, the latest error among those."""
