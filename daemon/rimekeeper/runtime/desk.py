"""Where decisions are made and written: the engine's state in memory, what of it is on disk, and what is not yet.

While the store can't be written the engine goes on in memory, up to a bounded number of samples, so that the
screens still show and say what happens. All of it is then committed as a whole; nothing is acknowledged before.
"""

from __future__ import annotations

import logging
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from rimekeeper.core.commit import CallResult, CallState, Commit, Committed, Token, WaitingCall
from rimekeeper.core.errors import StoreError
from rimekeeper.core.messages import CommandAnswered, CommandGiven, Event, Outcome, SampleTaken
from rimekeeper.core.model import Entry, Instant, Receipt
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.state import EngineState
from rimekeeper.runtime import entries
from rimekeeper.runtime.deciding import Engine, decide, to_write
from rimekeeper.runtime.logs import RateBound
from rimekeeper.runtime.ports import Keeper

_LOG = logging.getLogger(__name__)

UNSAVED_SAMPLES = 20_000
HEARTBEAT = 10.0
FIRST_RETRY = 0.25
LONGEST_RETRY = 5.0


@dataclass
class _Unsaved:
    """Work since the last commit. ``beside`` comes from no event: tokens, results, entries of our own."""

    events: list[Event] = field(default_factory=list)
    decided: Commit = field(default_factory=Commit)
    outcomes: list[Outcome] = field(default_factory=list)
    beside: Commit = field(default_factory=Commit)
    receipts: list[Receipt] = field(default_factory=list)
    samples: int = 0


@dataclass(frozen=True, slots=True)
class Saved:
    """What is on disk now and was not before."""

    commit: Commit
    done: Committed
    outcomes: tuple[Outcome, ...]
    receipts: tuple[Receipt, ...]


class Desk:
    """Used by the pipeline's thread only; ``state`` and ``trouble`` may be looked at from any."""

    def __init__(
        self,
        plan: KitchenPlan,
        keeper: Keeper,
        state: EngineState,
        engine: Engine,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin with the state that is on disk."""
        self.state = state
        """As decided so far, on disk or not."""
        self.trouble = ""
        """Why nothing can be written at present, in plain words; "" when all is well."""
        self._saved_state = state
        self._plan, self._keeper, self._engine, self._steady = plan, keeper, engine, steady
        self._unsaved = _Unsaved()
        self._again: deque[list[Event]] = deque()
        self._failures = 0
        self._retry_at = 0.0
        self._heartbeat_at = steady() + HEARTBEAT
        self._bound = RateBound(per_minute=6, steady=steady)

    @property
    def samples(self) -> int:
        """Samples decided upon and not yet on disk."""
        return self._unsaved.samples

    @property
    def full(self) -> bool:
        """Whether no more may be taken in before something is on disk."""
        return bool(self._again) or self._unsaved.samples >= UNSAVED_SAMPLES

    @property
    def seconds_to_retry(self) -> float:
        """How long to wait before it makes sense to try the store again."""
        return max(0.0, self._retry_at - self._steady()) if self.trouble else 0.0

    def advance(self, events: Sequence[Event]) -> None:
        """Let the engine decide about these, in memory."""
        now = self.state.clock.now
        decided = decide(
            self._engine.step,
            self._plan,
            self.state,
            events,
            lambda event, fault: self._set_aside(event, fault, now),
        )
        self.state = decided.state
        unsaved = self._unsaved
        unsaved.events.extend(events)
        unsaved.decided = unsaved.decided.joined(to_write(decided))
        unsaved.outcomes.extend(decided.outcomes)
        unsaved.samples += sum(1 for event in events if isinstance(event, SampleTaken))

    def add(
        self,
        tokens: Sequence[Token] = (),
        results: Sequence[CallResult] = (),
        receipts: Sequence[Receipt] = (),
        own: Sequence[Entry] = (),
    ) -> None:
        """Put what does not come from the engine beside its decisions, for the same commit."""
        if tokens or results or own:
            self._unsaved.beside = self._unsaved.beside.joined(
                Commit(tokens=tuple(tokens), results=tuple(results), entries=tuple(own))
            )
        self._unsaved.receipts.extend(receipts)

    def save(self, now: Instant) -> Saved | None:
        """Write what is unsaved if it is time to; None when nothing came to be on disk.

        ``now`` is remembered as the instant up to which the kitchen was watched.
        """
        if self.seconds_to_retry > 0:
            return None
        saved = self._write(now)
        while self._again and not self.trouble:
            self.advance(self._again.popleft())
            part = self._write(now)
            if part is not None:
                saved = part if saved is None else _together(saved, part)
        return saved

    def unsaved_calls(self) -> tuple[WaitingCall, ...]:
        """Call-outs that are owed, not on disk, and not delivered yet."""
        unsaved = self._unsaved
        tried = {result.call_id: result for result in unsaved.beside.results}
        return tuple(
            WaitingCall(call, tried[call.id].due if call.id in tried else call.at, 0)
            for call in unsaved.decided.calls
            if call.id not in tried or tried[call.id].state is CallState.WAITING
        )

    def _write(self, now: Instant) -> Saved | None:
        unsaved = self._unsaved
        # While divided work waits, what stands beside it waits too: a token or an acknowledge must not be
        # there before the readings it stands for.
        whole = not self._again
        commit = unsaved.beside.joined(unsaved.decided) if whole else unsaved.decided
        worth = self._worth_writing(commit)
        if not worth:
            # All that is left over is the engine's clock: it goes along with the next commit.
            self._saved_state = self.state
            unsaved.events.clear()
        if not (worth or unsaved.outcomes or (whole and unsaved.receipts)):
            return None
        done = Committed()
        if worth:
            commit = replace(commit, watched_until=now)
            try:
                done = self._keeper.commit(commit)
            except StoreError as fault:
                self._suffer(fault)
                return None
            except Exception as fault:  # noqa: BLE001 - it is looked for and reported when found
                self._divide(fault, now)
                return None
            self._heartbeat_at = self._steady() + HEARTBEAT
        self._unsaved = _Unsaved(
            decided=Commit() if worth else unsaved.decided,
            beside=Commit() if whole else unsaved.beside,
            receipts=[] if whole else unsaved.receipts,
        )
        self._saved_state = self.state
        if self.trouble:
            _LOG.warning("the store can be written again; everything received meanwhile is on disk")
            self.trouble, self._failures = "", 0
        return Saved(
            commit=commit if worth else Commit(),
            done=done,
            outcomes=tuple(unsaved.outcomes),
            receipts=tuple(unsaved.receipts) if whole else (),
        )

    def _worth_writing(self, commit: Commit) -> bool:
        """Idle turns move the engine's clock only, which is worth a write now and then."""
        idle = commit.changed.keys() <= {"clock"} and replace(commit, changed={}).empty
        return not idle or self._steady() >= self._heartbeat_at

    def _suffer(self, fault: StoreError) -> None:
        if str(fault) != self.trouble:
            _LOG.error("%s", fault)
        self.trouble = str(fault)
        self._retry_at = self._steady() + min(LONGEST_RETRY, FIRST_RETRY * 2.0 ** min(self._failures, 10))
        self._failures += 1

    def _divide(self, fault: Exception, now: Instant) -> None:
        """Something in this commit can't be written (a fault of ours): go back and do it in halves.

        First what stands beside the events is taken apart from them; then a half that can't be written is
        divided again, until the one event is found and set aside. All else is written.
        """
        whole, self._unsaved = self._unsaved, _Unsaved()
        self.state = self._saved_state
        self._unsaved.beside, self._unsaved.receipts = whole.beside, whole.receipts
        if not whole.events:
            _LOG.error("what can't be written was left out: %r", whole.beside, exc_info=fault)
            self._unsaved.beside = Commit()
        elif not self._again:
            self._again.extend([whole.events, []])
        elif len(whole.events) > 1:
            middle = len(whole.events) // 2
            self._again.extendleft([whole.events[middle:], whole.events[:middle]])
        else:
            self._set_aside(whole.events[0], fault, now)

    def _set_aside(self, event: Event, fault: Exception, now: Instant) -> None:
        left_out = self._bound.allows("set aside")
        if left_out is not None:
            _LOG.error("could not deal with %r (and %d more)", event, left_out, exc_info=fault)
            self.add(own=[entries.set_aside(now, event, fault)])
        if isinstance(event, CommandGiven):
            self._unsaved.outcomes.append(
                CommandAnswered(
                    ticket=event.ticket,
                    accepted=False,
                    sentence="This could not be done because of a fault in Rimekeeper; nothing was changed.",
                )
            )


def _together(first: Saved, second: Saved) -> Saved:
    return Saved(
        commit=first.commit.joined(second.commit),
        done=first.done.plus(second.done),
        outcomes=first.outcomes + second.outcomes,
        receipts=first.receipts + second.receipts,
    )
