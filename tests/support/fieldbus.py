"""A real Modbus RTU line: a pymodbus server with several units on a pseudo-terminal, and a meddler in the cable."""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import threading
import time
import tty

from pymodbus import FramerType
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadHoldingRegistersResponse
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

FRAMER = FramerRTU(DecodePDU(False))


def unit(number, holding, inputs=None):
    """A unit with exactly these registers: {first register: words}."""

    def blocks(table):
        return [
            SimData(first, values=list(words), datatype=DataType.REGISTERS) for first, words in table.items()
        ]

    bits = [SimData(0, values=False, datatype=DataType.BITS)]
    return SimDevice(number, simdata=(bits, bits, blocks(holding), blocks(inputs or {9_999: [0]})))


def asks(number, register, count):
    """A master's request for holding registers, as bytes."""
    return FRAMER.buildFrame(ReadHoldingRegistersRequest(address=register, count=count, dev_id=number))


def says(number, words):
    """A unit's answer, as bytes."""
    return FRAMER.buildFrame(ReadHoldingRegistersResponse(registers=list(words), dev_id=number))


class Line:
    """The cable between the intake (``name``, a stable path) and the units.

    ``meddle(request, answer)`` gives what reaches the intake instead of the answer: bytes, or a list of
    (seconds to wait, bytes). ``requests`` are all requests that were sent.
    """

    def __init__(self, folder, *units):
        self.name = folder / "line"
        self.meddle = lambda request, answer: answer
        self.requests = []
        self._units, self._ends = list(units), threading.Event()
        self._far, self._far_slave = self._terminal()
        self._server_port = os.ttyname(self._far_slave)
        self._writing = threading.Lock()
        self._loop = asyncio.new_event_loop()
        started = threading.Event()
        self._server = threading.Thread(target=self._serve, args=(started,), name="units", daemon=True)
        self._server.start()
        assert started.wait(5)
        self._cable = None
        self.plug()

    @staticmethod
    def _terminal():
        master, slave = os.openpty()
        tty.setraw(master)
        tty.setraw(slave)
        return master, slave

    def _serve(self, started):
        asyncio.set_event_loop(self._loop)

        async def serve():
            self._bus = ModbusSerialServer(
                self._units,
                framer=FramerType.RTU,
                port=self._server_port,
                baudrate=19_200,
                ignore_missing_devices=True,
            )
            await self._bus.serve_forever(background=True)
            started.set()
            self._closing = asyncio.Event()
            await self._closing.wait()
            await self._bus.shutdown()

        self._loop.run_until_complete(serve())
        self._loop.close()

    def plug(self):
        """Plug the adapter in."""
        self._near, self._near_slave = self._terminal()
        self.name.symlink_to(os.ttyname(self._near_slave))
        self._ends.clear()
        self._cable = threading.Thread(target=self._carry, name="cable", daemon=True)
        self._cable.start()

    def unplug(self):
        """Pull the adapter out."""
        self._ends.set()
        self._cable.join(5)
        self.name.unlink()
        os.close(self._near_slave)
        os.close(self._near)

    def speak(self, data):
        """Bytes of somebody else on the line."""
        with self._writing:
            os.write(self._near, data)

    def _carry(self):
        heard = b""
        while not self._ends.is_set():
            ready, _, _ = select.select([self._near], [], [], 0.02)
            if ready:
                with contextlib.suppress(OSError):
                    heard += os.read(self._near, 4_096)
            while len(heard) >= 4 and len(heard) >= (size := 4 if heard[1] == 7 else 8):
                request, heard = heard[:size], heard[size:]
                self.requests.append(request)
                self._pass_on(self.meddle(request, self._answer(request)))

    def _answer(self, request):
        if request[0] not in [each.id for each in self._units]:
            return b""  # the server would answer in the name of a unit that it doesn't have
        os.write(self._far, request)
        answer, wait = b"", 1.0
        while select.select([self._far], [], [], wait)[0]:
            answer += os.read(self._far, 4_096)
            wait = 0.01
        return answer

    def _pass_on(self, parts):
        for wait, data in [(0.0, parts)] if isinstance(parts, bytes) else parts:
            time.sleep(wait)
            if data:
                self.speak(data)

    def close(self):
        """End the units and the cable."""
        with contextlib.suppress(OSError):
            self.unplug()
        self._loop.call_soon_threadsafe(self._closing.set)
        self._server.join(5)
        os.close(self._far_slave)
        os.close(self._far)
