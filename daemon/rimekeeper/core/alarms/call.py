"""What a call-out attempt is given and what it gives back. Channels live in ``calling``; the words here are shared."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from rimekeeper.core.messages import CallOwed


class Verdict(enum.StrEnum):
    """What became of one attempt on a channel."""

    DELIVERED = "delivered"
    RETRY = "try again"
    GIVE_UP = "give up"


@dataclass(frozen=True, slots=True)
class Attempt:
    """Result of one attempt; ``detail`` is one plain sentence without secrets."""

    verdict: Verdict
    detail: str = ""


@dataclass(frozen=True, slots=True)
class CallMessage:
    """A call-out with its text written: what, where, how much, since when, what to do, and the link."""

    call: CallOwed
    title: str
    body: str
    link: str
