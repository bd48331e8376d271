"""The inbox: bounded for each source, in order, never raising."""

from __future__ import annotations

import logging
import threading
import time
from dataclasses import replace

from rimekeeper.core.messages import Acknowledge, CommandGiven
from rimekeeper.core.model import Delivery, Health, Instant, Rejected, SourceId, SourceState
from rimekeeper.runtime.inbox import REPORTS, SAMPLES_SHOWN, Inbox
from support.parts import ADA, BROKER, NOON, CountedReceipt, Seconds, delivery, sample

QUIET = SourceId("serial/quiet")


def quiet():
    return Delivery(QUIET, (replace(sample("base", 4.0, NOON), source=QUIET),))


def test_a_chatty_source_does_not_push_out_a_quiet_one():
    inbox = Inbox(share=10)
    taken = [inbox.deliver(delivery(sample("pan", n, NOON + n))) for n in range(25)]
    assert taken == [True] * 10 + [False] * 15
    assert inbox.deliver(quiet())
    assert inbox.losses()[BROKER].dropped == 15
    assert QUIET not in inbox.losses()
    drained = inbox.drain(100)
    assert [d.samples[0].value for d in drained] == [*range(10), 4.0]
    assert inbox.deliver(delivery(sample("pan", 99, NOON)))


def test_a_refused_message_that_will_come_again_is_not_a_loss():
    inbox = Inbox(share=1)
    inbox.deliver(delivery(sample("pan", 1, NOON)))
    assert not inbox.deliver(delivery(sample("pan", 2, NOON), receipt=CountedReceipt()))
    assert inbox.losses() == {}


def test_one_message_larger_than_the_share_still_gets_through():
    inbox = Inbox(share=3)
    assert inbox.deliver(delivery(*(sample("pan", n, NOON) for n in range(9))))
    assert not inbox.deliver(delivery(sample("pan", 1, NOON)))


def test_order_of_arrival_over_all_kinds():
    inbox = Inbox()
    state = SourceState(BROKER, NOON, Health.NORMAL)
    given = CommandGiven(NOON, Acknowledge(""), ADA)
    first, second = delivery(sample("pan", 1, NOON)), quiet()
    inbox.deliver(first)
    inbox.report(state)
    inbox.put(given)
    inbox.deliver(second)
    assert inbox.drain(1_000) == [first, state, given, second]


def test_drains_about_as_much_as_asked():
    inbox = Inbox()
    for n in range(10):
        inbox.deliver(delivery(sample("pan", n, NOON), sample("pan", n, NOON)))
    assert len(inbox.drain(5)) == 3
    assert inbox.backlog == 14


def test_a_flood_of_reports_forgets_the_oldest():
    inbox = Inbox()
    for n in range(REPORTS + 5):
        inbox.report(SourceState(BROKER, Instant(NOON + n), Health.FAILURE))
    kept = inbox.drain(10**6)
    assert len(kept) == REPORTS
    assert kept[-1].at == NOON + REPORTS + 4


def test_what_can_not_be_read_is_counted_shown_and_logged_at_a_bounded_rate(caplog):
    steady = Seconds()
    inbox = Inbox(steady=steady)
    with caplog.at_level(logging.WARNING):
        for n in range(300):
            inbox.deliver(
                Delivery(BROKER, (), (Rejected(BROKER, NOON, f"garbage {n}", "it is not a number"),))
            )
        said = len(caplog.records)
        steady.at += 61
        inbox.deliver(Delivery(BROKER, (), (Rejected(BROKER, NOON, "more", "it is not a number"),)))
    assert said == 6
    assert caplog.records[-1].getMessage() == (
        "mqtt/slipway sent something that can't be read: it is not a number. It said 'more' "
        "(and 294 more since the last time this was said)"
    )
    assert inbox.losses()[BROKER].rejected == 301
    assert len(inbox.rejected()) == SAMPLES_SHOWN
    assert inbox.rejected()[-1].text == "more"


def test_gather_ends_with_a_lull_and_at_once_for_a_person():
    inbox = Inbox()
    inbox.deliver(delivery(sample("pan", 1, NOON)))
    began = time.monotonic()
    inbox.gather(1_000, 5.0)
    assert time.monotonic() - began < 1.0
    inbox.put(CommandGiven(NOON, Acknowledge(""), ADA))
    inbox.gather(1_000, 5.0, lull=5.0)
    assert time.monotonic() - began < 2.0


def test_many_threads_lose_nothing():
    inbox = Inbox()

    def put(channel):
        for n in range(500):
            assert inbox.deliver(delivery(sample(channel, n, NOON)))

    threads = [threading.Thread(target=put, args=(str(k),)) for k in range(4)]
    for thread in threads:
        thread.start()
    got = []
    while len(got) < 2_000:
        inbox.wait(1.0)
        got += inbox.drain(64)
    for thread in threads:
        thread.join()
    for k in range(4):
        assert [d.samples[0].value for d in got if d.samples[0].channel == str(k)] == list(range(500))
