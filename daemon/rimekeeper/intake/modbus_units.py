"""What is known of each unit of a fieldbus line while it is asked: its questions, and whom to leave alone for how long."""

from __future__ import annotations

import random
import time
from collections.abc import Sequence

from rimekeeper.config.edges import RegisterChannel
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.modbus_blocks import Block, blocks_of

SPLIT_CODES = (2, 3)
"""Illegal data address, illegal data value: perhaps of one of the registers only."""


class Rest:
    """Leaving something alone for longer each time it failed."""

    def __init__(self, first: float, longest: float) -> None:
        self._backoff = Backoff(first, longest, random.Random(0))  # noqa: S311
        self._until = float("-inf")
        self.failures = 0

    @property
    def resting(self) -> bool:
        """Whether to leave it alone now."""
        return time.monotonic() < self._until

    def fail(self) -> None:
        """It failed: rest longer than before."""
        self.failures += 1
        self._until = time.monotonic() + self._backoff.wait()

    def succeed(self) -> None:
        """It worked."""
        self.failures = 0
        self._until = float("-inf")
        self._backoff.reset()


class Unit:
    """One instrument on the line."""

    def __init__(self, number: int, blocks: Sequence[Block], first: float, longest: float) -> None:
        self.number = number
        self._blocks = list(blocks)
        self.channels = tuple(channel for block in blocks for channel in block.channels)
        self._first, self._longest = first, longest
        self.rest = Rest(first, longest)
        self._refused: dict[Block, Rest] = {}
        self.late = False
        """Whether an answer came too late since the last good one."""

    @property
    def first(self) -> Block:
        """The question that is asked first."""
        return self._blocks[0]

    def due(self) -> list[Block]:
        """The questions to ask now."""
        return [b for b in self._blocks if b not in self._refused or not self._refused[b].resting]

    def split(self, block: Block) -> tuple[Block, ...]:
        """Ask for its channels one by one from now on."""
        place, parts = self._blocks.index(block), block.apart()
        self._blocks[place : place + 1] = parts
        return parts

    def postpone(self, block: Block) -> None:
        """Ask for it last from now on, so that one that is always spoilt doesn't keep the others waiting."""
        self._blocks.remove(block)
        self._blocks.append(block)

    def refused(self, block: Block) -> None:
        """The unit refused a question; it is asked less often."""
        self._refused.setdefault(block, Rest(self._first, self._longest)).fail()

    def granted(self, block: Block) -> None:
        """The unit answered a question."""
        self._refused.pop(block, None)
        self.rest.succeed()
        self.late = False


def units_of(channels: Sequence[RegisterChannel], first: float, longest: float) -> list[Unit]:
    """The units of a line, each with its questions."""
    by_unit: dict[int, list[Block]] = {}
    for block in blocks_of(channels):
        by_unit.setdefault(block.question.unit, []).append(block)
    return [Unit(number, blocks, first, longest) for number, blocks in by_unit.items()]
