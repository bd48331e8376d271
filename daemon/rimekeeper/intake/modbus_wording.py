"""What a technician is told about a fieldbus line: which unit, which register, which channel, and what to do."""

from __future__ import annotations

from collections.abc import Iterable

from rimekeeper.config.edges import ModbusSettings
from rimekeeper.intake.modbus_blocks import Block
from rimekeeper.intake.modbus_frames import Answer, Frame, Trouble

MOST_SAID = 3
_OTHER_TABLE = {"holding": "input", "input": "holding"}


class Wording:
    """Sentences about one line."""

    def __init__(self, settings: ModbusSettings) -> None:
        self._settings = settings
        self._table = f"[modbus.{settings.name}]"
        names = [channel.name for channel in settings.channels]
        more = f" and {len(names) - MOST_SAID} more" if len(names) > MOST_SAID else ""
        self._carried = _named(names[:MOST_SAID]) + more

    def where(self, block: Block) -> str:
        """Unit, registers and channels of a question."""
        asked = block.question
        last = asked.register + asked.count - 1
        extent = f"register {last}" if asked.count == 1 else f"registers {asked.register} to {last}"
        return f"unit {asked.unit}, {asked.table} {extent} ({_named(block.channels)})"

    def fault(self, block: Block, answer: Answer, channels: Iterable[str]) -> str:
        """What went wrong with a question; ``channels`` are all of its unit."""
        if answer.trouble is Trouble.SILENT:
            return self.silent(block.question.unit, channels)
        if answer.trouble is Trouble.REFUSED:
            return f"{self._table}: {self._refusal(block, answer.code)}"
        if answer.trouble is Trouble.STRANGER:
            return self.stranger(answer.strangers[-1], f"{self.where(block)} was not read. ")
        what = {
            Trouble.HALF: f"only {len(answer.heard)} bytes of the answer came. "
            "Is a wire loose, or timeout too short?",
            Trouble.DAMAGED: "the answer came damaged (wrong checksum). Are baud and parity right, is the line "
            "terminated at both ends, and does every unit have an address of its own?",
        }
        return f"{self._table}: {self.where(block)}: {what[answer.trouble or Trouble.DAMAGED]}"

    def silent(self, unit: int, channels: Iterable[str]) -> str:
        """A unit that doesn't answer."""
        return (
            f"{self._table}: unit {unit} doesn't answer ({_named(channels)}). Is it on, is {unit} its address, "
            f"and does it speak at {self._settings.baud} baud with parity {self._settings.parity}?"
        )

    def late(self, unit: int, channels: Iterable[str]) -> str:
        """A unit that answers when nobody waits any more."""
        return (
            f"{self._table}: unit {unit} answers later than timeout = {self._settings.timeout} ms "
            f"({_named(channels)}); such answers are thrown away. Write a longer timeout."
        )

    def stranger(self, frame: Frame, consequence: str = "") -> str:
        """Somebody else speaks on the line."""
        said = "asked" if frame.is_request else "answered"
        return (
            f"{self._table}: {consequence}Somebody else is on this line ({self._carried}): unit {frame.unit} {said} though we did "
            "not ask. A line has one master; disconnect the other one (a panel, another program), or give us a "
            "line of our own."
        )

    def dead(self, units: Iterable[int]) -> str:
        """Nobody answered for too long."""
        numbers = ", ".join(str(unit) for unit in units)
        return (
            f"{self._table}: silent for {self._settings.silent_after / 1000.0:g} s (units {numbers}; {self._carried}). Is the line "
            f"plugged in, are A and B the right way round, and are {self._settings.baud} baud and parity "
            f"{self._settings.parity} right?"
        )

    def lost(self, fault: object) -> str:
        """The port went away."""
        return f"{self._table}: the port was lost ({self._carried}): {fault}. Is it still plugged in?"

    def broken(self, fault: object) -> str:
        """A fault of ours."""
        return f"{self._table}: reading failed ({fault!r}); trying again"

    def _refusal(self, block: Block, code: int) -> str:
        """Exception codes as in MODBUS Application Protocol Specification V1.1b3, section 7."""
        table = block.question.table
        what = {
            1: f'the unit has no {table} registers. Write table = "{_OTHER_TABLE[table]}".',
            2: f'there is no such register. Look at the register and table ("{table}") in its manual; many manuals '
            "count from 1, or write 40001 or 30001 for register 0.",
            3: "the unit can't read these registers so. Look at type in its manual.",
            4: "the unit reports a failure of its own. Look at its display.",
            5: "the unit is busy; asking again.",
            6: "the unit is busy; asking again.",
            10: "the gateway can't reach the unit. Look at the line behind the gateway.",
            11: "the unit behind the gateway doesn't answer. Is it on, and is its address right?",
        }
        other = f"the unit refused with code {code}. Look it up in its manual."
        return f"{self.where(block)}: {what.get(code, other)}"


def some_of(sentences: Iterable[str]) -> str:
    """At most three sentences in one text."""
    texts = list(dict.fromkeys(sentences))
    more = f" … and {len(texts) - MOST_SAID} more." if len(texts) > MOST_SAID else ""
    return " ".join(texts[:MOST_SAID]) + more


def bytes_shown(data: bytes) -> str:
    """Bytes as they are written in manuals."""
    return data.hex(" ").upper()


def _named(channels: Iterable[str]) -> str:
    names = [f'"{channel}"' for channel in channels]
    return f"channel{'s' if len(names) > 1 else ''} {', '.join(names)}"
