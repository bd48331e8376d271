"""Call-outs: at least once, each channel by itself, and what became of them is written by the pipeline."""

from __future__ import annotations

import random
import threading
import time
from dataclasses import replace

import pytest

from rimekeeper.core.alarms.call import Attempt, CallMessage, Verdict
from rimekeeper.core.commit import CallState
from rimekeeper.core.errors import StoreFullError
from rimekeeper.core.messages import Acknowledge
from rimekeeper.core.model import ChannelId, Instant
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.runtime.outbox import OutboxSender, Patience
from support.parts import ADA, NOON, Daemon, HandClock, delivery, plan, sample

MAIL, HOOK = ChannelId("mail"), ChannelId("hook")


def write(call):
    return CallMessage(call, f"{call.where} {call.what}", call.action, "http://slipway/now")


class Line:
    """A channel that answers what it is told to, and can hang."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.sent = []
        self.hold = threading.Event()
        self.hold.set()

    def attempt(self, message, timeout):
        self.sent.append(message.call.id)
        self.hold.wait(20)
        answer = self.answers.pop(0) if self.answers else Verdict.DELIVERED
        if isinstance(answer, Exception):
            raise answer
        return Attempt(answer, "" if answer is Verdict.DELIVERED else "no route")


def until(holds, timeout=5.0):
    ends = time.monotonic() + timeout
    while not holds():
        assert time.monotonic() < ends, "it did not happen in time"
        time.sleep(0.005)


@pytest.fixture
def daemon(tmp_path):
    with Daemon(tmp_path, plan("pan", "base")) as running:
        running.give(delivery(sample("pan", 120.0, NOON)))
        running.pipeline.turn()
        yield running


def sender(daemon, channels, **patience):
    return OutboxSender(
        daemon.pipeline.waiting_calls,
        write,
        channels,
        daemon.inbox.put,
        daemon.clock,
        patience=Patience(**patience),
        chance=random.Random(4),
    )


def send(daemon, outbox):
    """One look, until what it led to is on disk."""
    outbox.look()
    until(
        lambda: daemon.inbox.drain(0) == [] and (daemon.inbox._items or not daemon.pipeline.waiting_calls())
    )
    daemon.pipeline.turn()


def stored(daemon):
    return daemon.reader.calls()[0]


def test_delivered_once_and_written_down(daemon):
    line = Line()
    outbox = sender(daemon, {MAIL: line})
    send(daemon, outbox)
    assert (stored(daemon).state, stored(daemon).attempts, stored(daemon).delivered_at) == (
        CallState.DELIVERED,
        1,
        NOON,
    )
    outbox.look()
    outbox.stop()
    assert line.sent == ["c1"]
    assert daemon.pipeline.glance().calls.waiting == 0


def test_tried_again_with_growing_waits_then_given_up(daemon):
    line = Line(*[Verdict.RETRY] * 9)
    outbox = sender(daemon, {MAIL: line}, attempts=4, first_retry=10, longest_retry=15)
    waits = []
    for _ in range(3):
        send(daemon, outbox)
        waits.append((stored(daemon).due - daemon.clock.at) / 1_000)
        outbox.look()
        assert len(line.sent) == len(waits)
        daemon.clock.at = Instant(stored(daemon).due)
    send(daemon, outbox)
    outbox.stop()
    assert [
        low <= wait <= high
        for wait, (low, high) in zip(waits, [(7, 13), (10.5, 19.5), (10.5, 19.5)], strict=True)
    ] == [True] * 3
    assert (stored(daemon).state, stored(daemon).attempts, stored(daemon).last_error) == (
        CallState.GAVE_UP,
        4,
        "no route",
    )
    calls = daemon.pipeline.glance().calls
    assert (calls.waiting, calls.failed, calls.last_error) == (0, 1, "no route")


def test_a_result_not_yet_on_disk_does_not_send_twice(daemon):
    line = Line(Verdict.RETRY)
    outbox = sender(daemon, {MAIL: line}, first_retry=60)
    outbox.look()
    until(lambda: daemon.inbox._items)
    for _ in range(5):
        outbox.look()
    time.sleep(0.05)
    assert line.sent == ["c1"]
    outbox.stop()


def test_after_a_crash_before_it_was_written_down_it_is_sent_again_with_the_same_id(tmp_path):
    line = Line()
    with Daemon(tmp_path) as daemon:
        daemon.give(delivery(sample("pan", 120.0, NOON)))
        daemon.pipeline.turn()
        outbox = sender(daemon, {MAIL: line})
        outbox.look()
        until(lambda: daemon.inbox._items)
        outbox.stop()
    with Daemon(tmp_path) as daemon:
        outbox = sender(daemon, {MAIL: line})
        send(daemon, outbox)
        outbox.stop()
        assert stored(daemon).state is CallState.DELIVERED
    assert line.sent == ["c1", "c1"]


def test_a_channel_that_raises_is_tried_again(daemon):
    outbox = sender(daemon, {MAIL: Line(RuntimeError("boom"))})
    send(daemon, outbox)
    outbox.stop()
    assert (stored(daemon).state, stored(daemon).last_error) == (
        CallState.WAITING,
        "a fault in this channel: RuntimeError",
    )


def test_a_channel_that_is_gone_is_given_up_and_said(daemon):
    outbox = sender(daemon, {})
    send(daemon, outbox)
    assert stored(daemon).state is CallState.GAVE_UP
    assert stored(daemon).last_error == 'there is no channel "mail" in the kitchen file any more'


def test_acknowledged_before_it_was_its_turn_is_not_sent(daemon):
    line = Line()
    line.hold.clear()
    daemon.give(delivery(sample("base", 130.0, NOON)))
    daemon.pipeline.turn()
    outbox = sender(daemon, {MAIL: line})
    outbox.look()
    until(lambda: line.sent)
    answer = daemon.pipeline.submit(Acknowledge("warm/base"), ADA)
    daemon.pipeline.turn()
    assert answer.result(0).accepted
    line.hold.set()
    until(lambda: daemon.inbox._items)
    daemon.pipeline.turn()
    time.sleep(0.1)
    outbox.stop()
    assert line.sent == ["c1"]
    assert {c.call.id: c.state for c in daemon.reader.calls()} == {
        "c1": CallState.DELIVERED,
        "c2": CallState.SUPERSEDED,
    }


def test_a_hanging_channel_stops_neither_the_others_nor_itself(tmp_path):
    with Daemon(tmp_path) as daemon:
        daemon.give(delivery(sample("pan", 120.0, NOON)))
        daemon.pipeline.turn()
        template = daemon.pipeline.waiting_calls()[0]
    owed = {
        name: replace(template, call=replace(template.call, id=name, channel=channel))
        for name, channel in (("m1", MAIL), ("m2", MAIL), ("h1", HOOK))
    }
    results = []

    def report(result):
        results.append((result.call_id, result.state, result.error))
        if result.state is CallState.DELIVERED:
            owed.pop(result.call_id, None)

    hanging, well = Line(), Line()
    hanging.hold.clear()
    outbox = OutboxSender(
        lambda: tuple(owed.values()),
        write,
        {MAIL: hanging, HOOK: well},
        report,
        HandClock(),
        patience=Patience(timeout=0.05, hang=0.05, first_retry=60),
    )
    outbox.look()
    until(lambda: ("h1", CallState.DELIVERED, "") in results)
    time.sleep(0.15)
    outbox.look()
    assert ("m1", CallState.WAITING, "it did not come back within 0.1 s") in results
    outbox.look()
    until(lambda: "m2" in hanging.sent)
    hanging.hold.set()
    until(lambda: {r[0] for r in results if r[1] is CallState.DELIVERED} == {"m1", "m2", "h1"})
    outbox.stop()


def test_after_the_clock_was_set_back_nobody_waits_an_hour(daemon):
    daemon.clock.on(-3_600_000)
    line = Line()
    outbox = sender(daemon, {MAIL: line})
    send(daemon, outbox)
    outbox.stop()
    assert line.sent == ["c1"]


def test_while_the_disk_is_full_people_are_called_all_the_same(tmp_path):
    with Daemon(tmp_path) as daemon:
        daemon.pipeline.turn()
        real = daemon.store.commit

        def full(commit):
            raise StoreFullError("full")

        daemon.store.commit = full
        daemon.give(delivery(sample("pan", 120.0, NOON)))
        daemon.pipeline.turn()
        line = Line()
        outbox = sender(daemon, {MAIL: line})
        outbox.look()
        until(lambda: daemon.inbox._items)
        daemon.pipeline.turn()
        outbox.look()
        time.sleep(0.05)
        assert line.sent == ["c1"]
        daemon.store.commit = real
        daemon.steady.at += 10
        daemon.pipeline.turn()
        outbox.stop()
        assert stored(daemon).state is CallState.DELIVERED


def test_with_threads_of_its_own(tmp_path):
    with Daemon(tmp_path, clock=SystemClock(), steady=time.monotonic) as daemon:
        line = Line()
        outbox = sender(daemon, {MAIL: line})
        daemon.pipeline.listeners.append(lambda glance, outcomes: outbox.wake() if outcomes else None)
        daemon.pipeline.start()
        outbox.start()
        daemon.give(delivery(sample("pan", 120.0, daemon.clock.now())))
        until(lambda: daemon.reader.calls() and stored(daemon).state is CallState.DELIVERED)
        outbox.stop()
        outbox.stop()
        daemon.pipeline.stop()
        assert not [t for t in threading.enumerate() if t.name.startswith(("outbox", "pipeline"))]
