"""The serial ports of this machine, and which of them a USB identity means."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from serial.tools import list_ports

from rimekeeper.config.edges import UsbIdentity
from rimekeeper.core.errors import EdgeError


@dataclass(frozen=True, slots=True)
class PortSeen:
    """A serial port that is there now. USB numbers are four hexadecimal digits, None for other ports."""

    device: str
    description: str = ""
    vendor: str | None = None
    product: str | None = None
    serial: str | None = None

    def __str__(self) -> str:
        if self.vendor is None:
            return self.device
        serial = f", serial {self.serial}" if self.serial else ""
        return f"{self.device} (USB {self.vendor}:{self.product}{serial})"


PortLister = Callable[[], Sequence[PortSeen]]


def ports_now() -> list[PortSeen]:
    """Every serial port of this machine, in order of its device path."""
    return sorted(
        (
            PortSeen(
                device=port.device,
                description=port.description or "",
                vendor=None if port.vid is None else f"{port.vid:04x}",
                product=None if port.pid is None else f"{port.pid:04x}",
                serial=port.serial_number or None,
            )
            for port in list_ports.comports()
        ),
        key=lambda port: port.device,
    )


def device_of(usb: UsbIdentity, seen: Sequence[PortSeen]) -> str:
    """The device path under which an adapter is found now, in whatever socket it is plugged.

    Raises:
        EdgeError: it is not there, or more than one adapter answers to the identity.
    """
    identity = f"{usb.vendor}:{usb.product}".lower()
    fitting = [
        port
        for port in seen
        if f"{port.vendor}:{port.product}".lower() == identity and usb.serial in (None, port.serial)
    ]
    if len(fitting) == 1:
        return fitting[0].device
    name = f"USB {identity}" + (f", serial {usb.serial}" if usb.serial else "")
    if not fitting:
        raise EdgeError(f"the adapter {name} is not there. {sentence_of(seen)} Plug it in.")
    raise EdgeError(
        f"{len(fitting)} adapters are {name}: {', '.join(map(str, fitting))}. Add serial = ... to say which."
    )


def sentence_of(seen: Sequence[PortSeen]) -> str:
    """The ports seen now, for a message."""
    return f"Ports seen now: {', '.join(str(port) for port in seen[:8]) or 'none'}."
