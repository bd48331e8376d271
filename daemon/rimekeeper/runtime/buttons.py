"""A button or foot pedal on an MQTT topic: what a press asks for.

A press carries no more than it must: an empty payload means "the batch that runs" (or, for acknowledge, every
alarm that stands); otherwise the payload is the batch's id, or the alarm's key.
"""

from __future__ import annotations

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import Acknowledge, AdvanceStage, Command, HoldBatch, ResumeBatch, UndoAdvance
from rimekeeper.core.model import BatchId, Instant, Millis
from rimekeeper.core.plan import ButtonPlan
from rimekeeper.core.state import BatchPhase, EngineState

DEBOUNCE = Millis(1_500)
"""Two presses of one button closer than this are one: wet fingers tremble."""
LONGEST_NAME = 120


def press(button: ButtonPlan, payload: bytes, state: EngineState) -> Command:
    """The command that a press stands for.

    Raises:
        RefusedError: it isn't clear which batch is meant, or the button does something unknown.
    """
    named = payload[:LONGEST_NAME].decode("utf-8", "replace").strip()
    if button.does == "acknowledge":
        return Acknowledge(alarm=named)
    batch = BatchId(named) if named else _only_batch(button, state)
    match button.does:
        case "advance":
            return AdvanceStage(batch=batch)
        case "undo":
            return UndoAdvance(batch=batch, why="button")
        case "hold":
            slot = state.batches.get(batch)
            if slot is not None and slot.phase is BatchPhase.HELD:
                return ResumeBatch(batch=batch)
            return HoldBatch(batch=batch, why="button")
    raise RefusedError(f'The button on "{button.topic}" should do "{button.does}", which is not known.')


class Debounce:
    """Remembers the last press of each button; times are arrival instants."""

    def __init__(self) -> None:
        self._last: dict[str, Instant] = {}

    def bounces(self, topic: str, at: Instant) -> bool:
        """Whether this press is only the tremble of the one before."""
        before = self._last.get(topic)
        self._last[topic] = at
        return before is not None and 0 <= at - before < DEBOUNCE


def _only_batch(button: ButtonPlan, state: EngineState) -> BatchId:
    running = [slot.batch for slot in state.batches.values() if slot.running]
    if len(running) == 1:
        return running[0]
    which = ", ".join(running) if running else "none"
    raise RefusedError(
        f'The button on "{button.topic}" was pressed, but it is not clear for which batch (running: {which}). '
        "Send the batch's id as the message."
    )
