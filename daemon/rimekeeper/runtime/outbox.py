"""Sends the call-outs that are owed: at least once, each channel by itself, until delivered or given up.

A call-out is on disk before it is sent, and what became of it is written by the pipeline. A crash between the
two sends it again, with the same id.
"""

from __future__ import annotations

import logging
import queue
import random
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from rimekeeper.core.alarms.call import Attempt, CallMessage, Verdict
from rimekeeper.core.commit import CallResult, CallState, WaitingCall
from rimekeeper.core.errors import StoreError
from rimekeeper.core.messages import CallOwed
from rimekeeper.core.model import ChannelId, Instant
from rimekeeper.runtime.ports import Channel, Clock

_LOG = logging.getLogger(__name__)

QUEUE = 100
LOST_THREADS = 3
"""So many attempts of one channel may hang at a time before it has to wait for one of them."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How often and how long. Seconds."""

    attempts: int = 12
    timeout: float = 20.0
    first_retry: float = 5.0
    longest_retry: float = 300.0
    hang: float = 10.0
    """How much longer than ``timeout`` an attempt may take before it counts as hanging."""


@dataclass
class _Worker:
    """The thread of one channel and what it does at present."""

    work: queue.Queue[WaitingCall | None] = field(default_factory=lambda: queue.Queue(QUEUE))
    busy_with: WaitingCall | None = None
    busy_since: float = 0.0
    given_up_on: bool = False


class OutboxSender:
    """One thread looks what is owed; each channel has a thread of its own, so none can stop the others."""

    def __init__(
        self,
        owed: Callable[[], tuple[WaitingCall, ...]],
        write: Callable[[CallOwed], CallMessage],
        channels: Mapping[ChannelId, Channel],
        report: Callable[[CallResult], None],
        clock: Clock,
        *,
        patience: Patience | None = None,
        chance: random.Random | None = None,
    ) -> None:
        """Wire it up.

        Args:
            owed: what is to be sent (``Pipeline.waiting_calls``).
            write: puts a call-out into words.
            channels: the ways to reach people.
            report: takes what became of an attempt (``Inbox.put``).
            clock: the daemon's clock.
            patience: how often and how long.
            chance: spreads the retries.
        """
        self._owed, self._write, self._channels, self._report = owed, write, channels, report
        self._clock, self._patience = clock, patience or Patience()
        self._chance = chance or random.Random()  # noqa: S311 - only spreads retries
        self._handled: dict[str, Instant | None] = {}
        self._workers: dict[ChannelId, _Worker] = {}
        self._lost: dict[ChannelId, int] = {}
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin."""
        self._thread = threading.Thread(target=self._run, name="outbox", daemon=True)
        self._thread.start()

    def wake(self) -> None:
        """Something new may be owed."""
        self._wake.set()

    def stop(self, timeout: float = 5.0) -> None:
        """End; an attempt that hangs is left behind. Safe to call twice."""
        self._stopping.set()
        self._wake.set()
        if self._thread is not None:
            self._thread.join(timeout)
        with self._lock:
            workers = list(self._workers.values())
            self._workers.clear()
        for worker in workers:
            worker.given_up_on = True
            try:
                worker.work.put_nowait(None)
            except queue.Full:
                continue

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._wake.wait(1.0)
            self._wake.clear()
            try:
                self.look()
            except StoreError as fault:
                _LOG.warning("call-outs wait: %s", fault)
            except Exception:  # noqa: BLE001 - logged, and call-outs go on
                _LOG.exception("a fault while looking for call-outs; it goes on")

    def look(self) -> None:
        """Hand what is due to the channels' threads."""
        waiting = self._owed()
        now = self._clock.now()
        furthest = now + self._patience.longest_retry * 2_000
        with self._lock:
            self._forget({call.call.id for call in waiting})
        self._look_for_hanging(now)
        for call in waiting:
            # A due instant far ahead is left over from before the clock was set back: it is due now.
            if (call.due <= now or call.due > furthest) and self._begin(call):
                self._hand_over(call, now)

    def _begin(self, call: WaitingCall) -> bool:
        """Whether this attempt is not under way or done already (its result may not be on disk yet)."""
        with self._lock:
            if call.call.id in self._handled:
                expected = self._handled[call.call.id]
                if expected is None or call.due < expected:
                    return False
            self._handled[call.call.id] = None
            return True

    def _forget(self, waiting: set[str]) -> None:
        for done in [name for name in self._handled if name not in waiting]:
            del self._handled[done]

    def _hand_over(self, call: WaitingCall, now: Instant) -> None:
        name = call.call.channel
        if name not in self._channels:
            self._conclude(
                call,
                Attempt(Verdict.GIVE_UP, f'there is no channel "{name}" in the kitchen file any more'),
                now,
            )
            return
        with self._lock:
            worker = self._workers.get(name)
            if worker is None:
                if self._lost.get(name, 0) >= LOST_THREADS:
                    self._handled.pop(call.call.id, None)
                    return
                worker = self._workers[name] = _Worker()
                threading.Thread(
                    target=self._serve, args=(name, worker), name=f"call-out {name}", daemon=True
                ).start()
            try:
                worker.work.put_nowait(call)
            except queue.Full:
                self._handled.pop(call.call.id, None)

    def _serve(self, name: ChannelId, worker: _Worker) -> None:
        channel = self._channels[name]
        while (call := worker.work.get()) is not None and not worker.given_up_on:
            worker.busy_since, worker.busy_with = time.monotonic(), call
            attempt = self._attempt(channel, call)
            with self._lock:
                worker.busy_with = None
                abandoned = worker.given_up_on
                if abandoned and name in self._lost:
                    self._lost[name] -= 1
            if attempt is not None and (not abandoned or attempt.verdict is Verdict.DELIVERED):
                self._conclude(call, attempt, self._clock.now())

    def _attempt(self, channel: Channel, call: WaitingCall) -> Attempt | None:
        """Try once; None when nobody has to be called any more."""
        try:
            if all(call.call.id != owed.call.id for owed in self._owed()):
                return None
            return channel.attempt(self._write(call.call), self._patience.timeout)
        except Exception as fault:  # noqa: BLE001 - a channel that breaks its promise must not end the thread
            _LOG.exception("a fault in channel %s", call.call.channel)
            return Attempt(Verdict.RETRY, f"a fault in this channel: {type(fault).__name__}")

    def _look_for_hanging(self, now: Instant) -> None:
        """Leave a thread behind that does not come back, so that its channel can go on in another."""
        longest = self._patience.timeout + self._patience.hang
        with self._lock:
            hanging = [
                (name, worker, worker.busy_with)
                for name, worker in self._workers.items()
                if worker.busy_with is not None and time.monotonic() - worker.busy_since > longest
            ]
            for name, worker, _ in hanging:
                worker.given_up_on = True
                self._lost[name] = self._lost.get(name, 0) + 1
                del self._workers[name]
                while not worker.work.empty():
                    left = worker.work.get_nowait()
                    if left is not None:
                        self._handled.pop(left.call.id, None)
        for name, _, call in hanging:
            _LOG.error("call-out channel %s did not come back within %g s", name, longest)
            if call is not None:
                self._conclude(
                    call, Attempt(Verdict.RETRY, f"it did not come back within {longest:g} s"), now
                )

    def _conclude(self, call: WaitingCall, attempt: Attempt, now: Instant) -> None:
        tries = call.attempts + 1
        state, due = CallState.WAITING, now
        match attempt.verdict:
            case Verdict.DELIVERED:
                state = CallState.DELIVERED
            case Verdict.GIVE_UP:
                state = CallState.GAVE_UP
            case Verdict.RETRY if tries >= self._patience.attempts:
                state = CallState.GAVE_UP
            case Verdict.RETRY:
                wait = min(self._patience.longest_retry, self._patience.first_retry * 2.0 ** (tries - 1))
                due = Instant(now + round(1_000 * wait * self._chance.uniform(0.7, 1.3)))
        if state is CallState.GAVE_UP:
            _LOG.error("call-out %s on %s was given up: %s", call.call.id, call.call.channel, attempt.detail)
        with self._lock:
            self._handled[call.call.id] = due if state is CallState.WAITING else None
        error = "" if state is CallState.DELIVERED else attempt.detail
        self._report(CallResult(call_id=call.call.id, state=state, at=now, due=due, error=error))
