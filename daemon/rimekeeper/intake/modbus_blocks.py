"""Which registers are asked for together: neighbours of one unit and table, never more than a frame holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rimekeeper.config.edges import RegisterChannel
from rimekeeper.core.decoding.registers import RegisterPlace
from rimekeeper.intake.modbus_frames import Question

MOST_REGISTERS = 125
"""Of one answer (MODBUS Application Protocol Specification V1.1b3, sections 6.3 and 6.4)."""


@dataclass(frozen=True, slots=True)
class Block:
    """Channels whose registers are asked for in one question."""

    question: Question
    places: tuple[RegisterPlace, ...]

    @property
    def channels(self) -> tuple[str, ...]:
        """The names of its channels."""
        return tuple(place.channel for place in self.places)

    def apart(self) -> tuple[Block, ...]:
        """Each channel in a question of its own: one register that is not there spoils the whole answer."""
        unit, table = self.question.unit, self.question.table
        return tuple(
            Block(Question(unit, table, place.register, place.words), (place,)) for place in self.places
        )


def blocks_of(channels: Sequence[RegisterChannel]) -> tuple[Block, ...]:
    """The questions that read all channels, in order of unit, table and register.

    Only registers without a gap are joined: an instrument may refuse to read what it does not have.
    """
    blocks: list[Block] = []
    for channel in sorted(channels, key=lambda c: (c.unit, c.table, c.register_)):
        place = RegisterPlace(channel.name, channel.register_, channel.type, channel.word_order)
        if blocks and (joined := _joined(blocks[-1], channel, place)) is not None:
            blocks[-1] = joined
        else:
            question = Question(channel.unit, channel.table, place.register, place.words)
            blocks.append(Block(question, (place,)))
    return tuple(blocks)


def _joined(block: Block, channel: RegisterChannel, place: RegisterPlace) -> Block | None:
    asked = block.question
    count = place.register + place.words - asked.register
    if (asked.unit, asked.table) != (channel.unit, channel.table):
        return None
    if place.register > asked.register + asked.count or count > MOST_REGISTERS:
        return None
    longer = Question(asked.unit, asked.table, asked.register, max(count, asked.count))
    return Block(longer, (*block.places, place))
