"""What is said aloud, as text on an MQTT topic: prompts and alarms, for a speaker, a display, or another program."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rimekeeper.core.messages import AlarmMove, AlarmMoved, Outcome, PromptGiven
from rimekeeper.runtime.ports import Glance

Say = Callable[[str], None]
"""Queues one sentence; must not block."""


def sentences(outcomes: Sequence[Outcome]) -> tuple[str, ...]:
    """The sentences that these outcomes are worth, in order."""
    said = []
    for outcome in outcomes:
        match outcome:
            case PromptGiven():
                said.append(outcome.sentence)
            case AlarmMoved(move=AlarmMove.RAISED, alarm=alarm):
                said.append(" ".join(filter(None, (f"Alarm. {alarm.where}: {alarm.what}.", alarm.action))))
            case AlarmMoved(move=AlarmMove.RETURNED, alarm=alarm):
                said.append(f"{alarm.where}: back to normal.")
            case _:
                continue
    return tuple(said)


def announcer(say: Say) -> Callable[[Glance, Sequence[Outcome]], None]:
    """A listener of the pipeline that says each sentence once."""

    def listen(_: Glance, outcomes: Sequence[Outcome]) -> None:
        for sentence in sentences(outcomes):
            say(sentence)

    return listen
