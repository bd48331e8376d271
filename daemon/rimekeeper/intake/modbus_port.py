"""Reading one Modbus RTU line: a thread that asks its units in turn, and comes back whatever happens to the port.

A frame has no number that ties an answer to its question. So a unit that did not answer in time owes an answer, and
is first asked for something whose answer looks like no other (``modbus_line.Line.clear``).
"""

from __future__ import annotations

import time

from rimekeeper.config.edges import ModbusSettings, SerialSettings
from rimekeeper.core.decoding.found import Decoded, Refused, delivery_of, shown
from rimekeeper.core.decoding.registers import decode_registers, text_of_words
from rimekeeper.core.model import Health
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.modbus_blocks import Block
from rimekeeper.intake.modbus_frames import Answer, Trouble
from rimekeeper.intake.modbus_line import Line
from rimekeeper.intake.modbus_units import SPLIT_CODES, Unit, units_of
from rimekeeper.intake.modbus_wording import Wording, bytes_shown, some_of
from rimekeeper.intake.port_thread import PortThread, SilentError
from rimekeeper.intake.ports_seen import PortLister, ports_now
from rimekeeper.intake.serial_open import open_port
from rimekeeper.runtime.ports import Clock, Inbox

REPORTED_AFTER = 2
"""A fault of the line is the source's fault when it comes so many times in a row; a single one is only shown."""
LONGEST_REST = 15.0


class ModbusIntake(PortThread):
    """One Modbus RTU line as an :class:`~rimekeeper.runtime.ports.Intake`."""

    def __init__(
        self,
        settings: ModbusSettings,
        inbox: Inbox,
        clock: Clock,
        *,
        lister: PortLister = ports_now,
        backoff: Backoff | None = None,
        longest_rest: float = LONGEST_REST,
    ) -> None:
        """Prepare; nothing is opened before :meth:`start`.

        Args:
            settings: the line.
            inbox: takes what is heard.
            clock: stamps it.
            lister: the ports of the machine.
            backoff: waits between attempts to open the port.
            longest_rest: seconds for which a unit that doesn't answer is left alone at most.
        """
        super().__init__("modbus", settings.name, inbox, clock, lister, backoff)
        self._settings = settings
        self._longest_rest = longest_rest
        self._wording = Wording(settings)
        self._faults: dict[int | Block, str] = {}
        self._damaged: dict[Block, int] = {}
        self._heard_good = 0.0

    def _lost(self, fault: Exception) -> str:
        return self._wording.lost(fault)

    def _broken(self, fault: Exception) -> str:
        return self._wording.broken(fault)

    def _open_and_work(self) -> None:
        s = self._settings
        wire = SerialSettings(
            name=s.name, port=s.port, usb=s.usb, baud=s.baud, parity=s.parity, stop_bits=s.stop_bits
        )
        with open_port(wire, self._lister, "modbus") as port:
            if self._reporter.health is Health.UNKNOWN:
                self._reporter.say(Health.UNKNOWN, f"{port.port} is open; waiting for the first answer")
            self._faults.clear()
            self._damaged.clear()
            self._heard_good = time.monotonic()
            line = Line(port, s.baud, s.timeout / 1000.0, self._stop)
            self._take_turns(line, units_of(s.channels, s.every / 1000.0, self._longest_rest))

    def _take_turns(self, line: Line, units: list[Unit]) -> None:
        """Ask until stopped; :class:`~.port_thread.SilentError` says that the port must be opened anew."""
        every = self._settings.every / 1000.0
        while not self._stop.is_set():
            began = time.monotonic()
            for unit in units:
                if not unit.rest.resting and not self._stop.is_set():
                    self._visit(unit, line)
            self._look_for_late(line, units)
            self._judge(line, units)
            line.hear(max(0.0, began + every - time.monotonic()))

    def _visit(self, unit: Unit, line: Line) -> None:
        """Everything that is due of one unit, or as much as it answers."""
        if line.owes(unit.number) and not self._cleared(unit, line):
            return
        waiting = unit.due()
        while waiting and not self._stop.is_set():
            block = waiting.pop(0)
            answer = line.ask(block.question)
            if self._stop.is_set():
                return
            if answer.trouble is None:
                self._take(unit, block, answer)
            elif answer.trouble is Trouble.REFUSED:
                waiting[:0] = self._refuse(unit, block, answer)
            else:
                # What is wrong with this answer may be that it belongs to an older question.
                self._no_answer(unit, block, answer)
                unit.postpone(block)
                return

    def _cleared(self, unit: Unit, line: Line) -> bool:
        answer = line.clear(unit.number)
        if answer.trouble in (None, Trouble.REFUSED):
            return True
        self._no_answer(unit, unit.first, answer)
        return False

    def _no_answer(self, unit: Unit, block: Block, answer: Answer) -> None:
        if answer.trouble is Trouble.DAMAGED:
            self._damage(unit, block, answer)
        else:
            self._miss(unit, block, answer)

    def _take(self, unit: Unit, block: Block, answer: Answer) -> None:
        self._heard_good = time.monotonic()
        self._backoff.reset()
        unit.granted(block)
        self._damaged.pop(block, None)
        self._faults.pop(unit.number, None)
        self._faults.pop(block, None)
        decoded = decode_registers(block.question.register, answer.words, block.places)
        asked = block.question
        text = f"unit {asked.unit} {asked.table} {asked.register}: {text_of_words(answer.words)}"
        self._deliver(decoded, text)

    def _refuse(self, unit: Unit, block: Block, answer: Answer) -> tuple[Block, ...]:
        """The unit refused; the questions to ask instead."""
        self._heard_good = time.monotonic()
        unit.rest.succeed()
        self._faults.pop(unit.number, None)
        self._damaged.pop(block, None)
        if answer.code in SPLIT_CODES and len(block.places) > 1:
            return unit.split(block)
        unit.refused(block)
        self._faults[block] = self._reject(unit, block, answer)
        return ()

    def _damage(self, unit: Unit, block: Block, answer: Answer) -> None:
        self._damaged[block] = self._damaged.get(block, 0) + 1
        why = self._reject(unit, block, answer)
        self._faults.pop(unit.number, None)
        if self._damaged[block] >= REPORTED_AFTER:
            self._faults[block] = why

    def _miss(self, unit: Unit, block: Block, answer: Answer) -> None:
        """The unit said nothing of use; the others must not wait for it."""
        why = self._reject(unit, block, answer)
        if answer.trouble is Trouble.STRANGER:
            return
        unit.rest.fail()
        if unit.rest.failures >= REPORTED_AFTER:
            self._faults[unit.number] = why

    def _look_for_late(self, line: Line, units: list[Unit]) -> None:
        late = line.take_late()
        for unit in units:
            unit.late = unit.late or unit.number in late
            if unit.late:
                self._faults[unit.number] = self._wording.late(unit.number, unit.channels)

    def _judge(self, line: Line, units: list[Unit]) -> None:
        now, patience = time.monotonic(), self._settings.silent_after / 1000.0
        faults = list(self._faults.values())
        if line.stranger is not None and now - line.stranger[0] <= patience:
            faults.insert(0, self._wording.stranger(line.stranger[1]))
        if now - self._heard_good > patience:
            raise SilentError(some_of([self._wording.dead(unit.number for unit in units), *faults]))
        if faults:
            self._reporter.say(Health.OUT_OF_SPECIFICATION, some_of(faults))
        elif not any(unit.rest.failures for unit in units) and not self._damaged:
            self._reporter.say(Health.NORMAL)

    def _reject(self, unit: Unit, block: Block, answer: Answer) -> str:
        why = self._wording.fault(block, answer, unit.channels)
        text = shown(f"{self._wording.where(block)}: {bytes_shown(answer.heard) or 'nothing'}")
        self._deliver(Decoded(refused=(Refused(text, why),)), text)
        return why

    def _deliver(self, decoded: Decoded, text: str) -> None:
        self._hand_over(delivery_of(decoded, text, self.source, self._clock.now()))
