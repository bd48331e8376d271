"""The one thread through which everything goes: drain, decide, commit; then, and only then, acknowledge."""

from __future__ import annotations

import itertools
import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from concurrent.futures import TimeoutError as TooLong
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from rimekeeper.core import engine as core_engine
from rimekeeper.core.commit import Commit, Committed, WaitingCall
from rimekeeper.core.errors import EdgeError, StoreError
from rimekeeper.core.messages import (
    ClockStepped,
    Command,
    CommandAnswered,
    CommandGiven,
    Event,
    Outcome,
    PromptGiven,
    Started,
    Tick,
)
from rimekeeper.core.model import Actor, Instant, Millis
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.runtime import entries
from rimekeeper.runtime.clock import STEP, EventClock
from rimekeeper.runtime.deciding import Engine
from rimekeeper.runtime.desk import Desk
from rimekeeper.runtime.errands import Errands
from rimekeeper.runtime.inbox import Inbox
from rimekeeper.runtime.ports import CallTrouble, Clock, Glance, Keeper, Past, Pulse
from rimekeeper.runtime.reception import Reception
from rimekeeper.runtime.rewarming import active_readings

_LOG = logging.getLogger(__name__)
_T = TypeVar("_T")

MOST_SAMPLES = 4_000
GATHER = 0.2
PROMPTS = 20
STUCK = 10.0
GAP = 60.0
"""Seconds without a turn after which the machine slept or the daemon was stopped: nobody watched meanwhile."""

Listener = Callable[[Glance, Sequence[Outcome]], None]
"""Called in the pipeline's thread after each commit. Must not block."""


class Pipeline:
    """The running kitchen. ``start`` gives it a thread; tests and replays call ``turn`` instead."""

    def __init__(
        self,
        plan: KitchenPlan,
        keeper: Keeper,
        past: Past,
        inbox: Inbox,
        clock: Clock,
        *,
        engine: Engine = core_engine,
        steady: Callable[[], float] = time.monotonic,
        awake: Callable[[], float] = lambda: time.clock_gettime(time.CLOCK_BOOTTIME),
    ) -> None:
        """Take up where the last run stopped.

        Args:
            plan: what the kitchen intends.
            keeper: the writer of the store.
            past: the reader of the store.
            inbox: where the edges put what they receive.
            clock: the daemon's clock. With an ``EventClock`` there is no time but that of the events:
                no ticks, no start entry.
            engine: what decides.
            steady: seconds that only grow, for retries.
            awake: seconds that only grow, also while the machine sleeps.
        """
        self._plan, self._keeper, self._past = plan, keeper, past
        self._inbox, self._clock, self._engine, self._steady = inbox, clock, engine, steady
        self._live = not isinstance(clock, EventClock)
        self.listeners: list[Listener] = []

        recollection = keeper.recollect()
        self._reception = Reception(plan, recollection.tokens)
        self._last_commit: Instant | None = None
        self._last_reading: Instant | None = None
        self._stored = 0
        self._turned_at = steady()
        self._prompts: deque[PromptGiven] = deque(maxlen=PROMPTS)
        self._calls = self._count_calls()
        self._backfill = ""

        self._tickets = itertools.count(1)
        self._answers: dict[int, Future[CommandAnswered]] = {}
        self._errands = Errands()
        self._newer = threading.Condition()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._awake = awake

        now = self._started_at = clock.now()
        state = engine.restore(recollection.slots)
        if self._live:
            state = engine.rewarm(plan, state, active_readings(plan, state, past, now))
        self._desk = Desk(plan, keeper, state, engine, steady)
        if self._live:
            self._take_up(now, recollection.watched_until)
        self._glance = self._look(version=1, at=now)

    def _take_up(self, now: Instant, watched_until: Instant | None) -> None:
        """Tell the engine and the record that watching begins, and what was missed."""
        begins: list[Event] = []
        if watched_until is not None and watched_until > now + STEP:
            # The clock was set back while nobody ran; without this every reading would look old for a while.
            begins.append(ClockStepped(at=now, by=Millis(now - watched_until)))
        begins.append(
            Started(at=now, watched_until=None if watched_until is None else min(now, watched_until))
        )
        self._desk.advance(begins)
        self._desk.add(own=[entries.started(now, watched_until, self._plan.zone)])

    # --- the kitchen as screens see it ----------------------------------------------------------------------

    @property
    def database(self) -> Path:
        """The file that read-only readers open."""
        return self._keeper.database

    def glance(self) -> Glance:
        """The newest view; how the pipeline itself is, is as of now."""
        return replace(self._glance, pulse=self._pulse())

    def wait_newer(self, version: int, timeout: float) -> Glance | None:
        """Block until there is a view newer than ``version``; None after ``timeout`` seconds."""
        with self._newer:
            if not self._newer.wait_for(lambda: self._glance.version > version, timeout):
                return None
        return self.glance()

    def submit(self, command: Command, actor: Actor) -> Future[CommandAnswered]:
        """Give a command; the answer comes once it is on disk.

        Raises:
            EdgeError: nothing can be written at present, so nothing may be promised.
        """
        if self._desk.trouble:
            raise EdgeError(f"This can't be recorded now, so it was not done: {self._desk.trouble}")
        answer: Future[CommandAnswered] = Future()
        with self._newer:
            ticket = next(self._tickets)
            self._answers[ticket] = answer
        self._inbox.put(CommandGiven(at=self._clock.now(), command=command, actor=actor, ticket=ticket))
        return answer

    def command(self, command: Command, actor: Actor, timeout: float = 5.0) -> CommandAnswered:
        """Give a command and wait until it is on disk (or refused).

        Raises:
            EdgeError: the pipeline is stuck, or the store can't be written.
        """
        answer = self.submit(command, actor)
        try:
            return answer.result(timeout)
        except TooLong:
            raise EdgeError(
                f"There was no answer within {timeout:g} s; look at the screen before trying again. "
                f"{self._desk.trouble or 'Rimekeeper is very busy or stuck.'}"
            ) from None

    # --- other parts ----------------------------------------------------------------------------------------

    def import_history(self, chunk: Commit, timeout: float = 60.0) -> Committed:
        """Write a piece of history between two turns. Its call-outs are recorded as not sent.

        Raises:
            StoreError: it could not be written; nothing of it was.
            EdgeError: the pipeline is stuck.
        """
        historic = replace(chunk, from_history=True, changed={}, tokens=(), watched_until=None)
        return self.between_turns(lambda: self._keeper.commit(historic), timeout)

    def between_turns(self, work: Callable[[], _T], timeout: float = 60.0) -> _T:
        """Run something in the pipeline's thread, where the store may be written, and wait for it."""
        answer = self._errands.ask(work)
        self._inbox.wake()
        if self._thread is None:
            self.turn()
        try:
            return answer.result(timeout)  # type: ignore[return-value]  # it is what work returned
        except TooLong:
            answer.cancel()
            raise EdgeError(f"Rimekeeper was too busy for {timeout:g} s; nothing was done") from None

    def set_backfill(self, progress: str) -> None:
        """Say on the screens how far the filling in of history is; "" when it is over."""
        self._backfill = progress

    def waiting_calls(self, limit: int = 500) -> tuple[WaitingCall, ...]:
        """Call-outs to be sent: those on disk and, while the store is in trouble, those in memory too."""
        try:
            waiting = self._past.waiting_calls(limit)
        except StoreError:
            waiting = ()
        return waiting + self._desk.unsaved_calls() if self._desk.trouble else waiting

    # --- the thread -----------------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin in a thread of its own."""
        self._thread = threading.Thread(target=self._run, name="pipeline", daemon=True)
        self._thread.start()

    def stop(self, timeout: float = 5.0) -> bool:
        """Deal with what has arrived, write it, and end; False when that took too long. Safe to call twice."""
        self._stopping.set()
        self._inbox.wake()
        if self._thread is None:
            self._finish()
            return not self._desk.samples and not self._desk.trouble
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def _run(self) -> None:
        turned = self._awake()
        while not self._stopping.is_set():
            try:
                self._rest()
                before, turned = turned, self._awake()
                if turned - before > GAP:
                    self._wake_up(Millis(round((turned - before) * 1_000)))
                self.turn()
            except Exception:  # noqa: BLE001 - logged, and the kitchen goes on being watched
                _LOG.exception("a fault in the pipeline; it goes on")
                self._stopping.wait(0.5)
        try:
            self._finish()
        except Exception:  # noqa: BLE001 - logged, and the kitchen goes on being watched
            _LOG.exception("a fault at the end; what was not acknowledged will come again")

    def _wake_up(self, slept: Millis) -> None:
        """Nothing was watched for a while, as before a start: no silence is counted and no missed call made up."""
        now = self._clock.now()
        until = Instant(now - slept)
        self._desk.advance([Started(at=now, watched_until=until)])
        self._desk.add(own=[entries.slept(now, until, self._plan.zone)])

    def _rest(self) -> None:
        """Wait for something to do."""
        if self._desk.full:
            self._stopping.wait(max(0.01, min(1.0, self._desk.seconds_to_retry)))
            return
        if self._errands:
            return
        longest = 1.0
        deadline = self._engine.next_deadline(self._plan, self._desk.state)
        if deadline is not None:
            due = (deadline + self._plan.tick_grace - self._clock.now()) / 1_000
            longest = max(0.02, min(longest, due))
        self._inbox.wait(longest)
        self._inbox.gather(MOST_SAMPLES, GATHER)

    def turn(self) -> bool:
        """Deal with what is there; whether there was anything from the edges or from people."""
        desk = self._desk
        # Nothing more can be taken in: then time stands still too, or every probe would be called silent.
        full = desk.full
        # Looked at before the inbox: if it was stepped, the word of it is in there, and must go before the tick.
        now = self._clock.now()
        items = [] if full else self._inbox.drain(MOST_SAMPLES)
        group = self._reception.receive(items)
        if isinstance(self._clock, EventClock) and group.heard_until is not None:
            self._clock.follow(group.heard_until)
            now = self._clock.now()
        # With more waiting, the step may be still in there; the samples themselves carry time on meanwhile.
        ticks = self._live and not full and not self._inbox.backlog
        desk.advance([*group.events, Tick(at=now)] if ticks else group.events)
        desk.add(group.tokens, group.results, group.receipts)
        outcomes = self._save(now)
        if not desk.trouble:
            self._errands.run()
        self._turned_at = self._steady()
        self._publish(now, outcomes)
        return bool(items)

    def _finish(self) -> None:
        ends = self._steady() + 3.0
        while self.turn() and self._steady() < ends:
            pass
        if self._live and not self._desk.trouble:
            now = self._clock.now()
            self._desk.add(own=[entries.stopped(now)])
            self._save(now)

    def _save(self, now: Instant) -> tuple[Outcome, ...]:
        """Commit what is unsaved; then acknowledge, answer and count. The outcomes that are now on disk."""
        saved = self._desk.save(now)
        if saved is None:
            return ()
        commit = saved.commit
        self._reception.saved(commit.tokens, commit.readings, saved.done)
        self._stored += saved.done.stored
        if not commit.empty:
            self._last_commit = now
        if commit.readings:
            newest = max(reading.arrived_at for reading in commit.readings)
            self._last_reading = max(newest, self._last_reading or newest)
        for receipt in saved.receipts:
            try:
                receipt.settle()
            except Exception:  # noqa: BLE001 - logged, and the kitchen goes on being watched
                _LOG.exception("an edge failed to settle a receipt")
        if commit.calls or commit.results or commit.alarms:
            self._calls = self._count_calls()
        for outcome in saved.outcomes:
            if isinstance(outcome, PromptGiven):
                self._prompts.append(outcome)
            elif isinstance(outcome, CommandAnswered):
                self._answer(outcome)
        return saved.outcomes

    # --- showing --------------------------------------------------------------------------------------------

    def _publish(self, now: Instant, outcomes: Sequence[Outcome]) -> None:
        with self._newer:
            glance = self._glance = self._look(self._glance.version + 1, now)
            self._newer.notify_all()
        for listener in self.listeners:
            try:
                listener(glance, outcomes)
            except Exception:  # noqa: BLE001 - logged, and the kitchen goes on being watched
                _LOG.exception("a listener failed")

    def _look(self, version: int, at: Instant) -> Glance:
        return Glance(
            version=version,
            at=at,
            plan=self._plan,
            state=self._desk.state,
            pulse=self._pulse(),
            prompts=tuple(self._prompts),
            tallies=self._reception.tallies(self._inbox.losses()),
            seen=self._reception.seen(),
            rejected=self._inbox.rejected(),
            calls=self._calls,
            backfill=self._backfill,
        )

    def _pulse(self) -> Pulse:
        running = self._thread is None or self._thread.is_alive()
        return Pulse(
            alive=running and self._steady() - self._turned_at < STUCK,
            last_commit=self._last_commit,
            last_reading=self._last_reading,
            backlog=self._inbox.backlog + self._desk.samples,
            store_trouble=self._desk.trouble,
            readings_stored=self._stored,
            started_at=self._started_at,
        )

    def _count_calls(self) -> CallTrouble:
        try:
            return CallTrouble(*self._past.call_counts())
        except StoreError as fault:
            return CallTrouble(last_error=str(fault))

    def _answer(self, answered: CommandAnswered) -> None:
        with self._newer:
            waiting = self._answers.pop(answered.ticket, None)
        if waiting is not None and waiting.set_running_or_notify_cancel():
            waiting.set_result(answered)
