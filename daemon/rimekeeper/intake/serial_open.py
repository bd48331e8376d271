"""Opening a serial port by device path, USB identity or URL, and saying clearly why it can't be opened."""

from __future__ import annotations

import errno
import os
import termios

import serial
from serial import Serial

from rimekeeper.config.edges import SerialSettings
from rimekeeper.core.errors import EdgeError
from rimekeeper.intake.ports_seen import PortLister, device_of, ports_now, sentence_of

READ_WAIT = 0.1
"""Seconds a read waits for bytes; also how fast a stop is noticed."""
WRITE_WAIT = 1.0
PORT_FAULTS = (OSError, ValueError, serial.SerialException, termios.error)
"""What pyserial lets through when a port goes away in the middle of something."""

_PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


def open_port(settings: SerialSettings, lister: PortLister = ports_now, table: str = "serial") -> Serial:
    """Open the port as it is set; device paths are locked against other programs.

    Args:
        settings: the port.
        lister: the ports of the machine.
        table: the kind of table it stands in, for messages.

    Raises:
        EdgeError: it can't be opened now; the text says why and what to do.
    """
    where = f"[{table}.{settings.name}]"
    target = settings.port or device_of_settings(settings, lister, table)
    try:
        return serial.serial_for_url(
            target,
            baudrate=settings.baud,
            bytesize=settings.data_bits,
            parity=_PARITY[settings.parity],
            stopbits=settings.stop_bits,
            timeout=READ_WAIT,
            write_timeout=WRITE_WAIT,
            **({} if is_url(target) else {"exclusive": True}),
        )
    except PORT_FAULTS as fault:
        raise EdgeError(f"{where}: {_why(target, fault, lister)}") from fault


def device_of_settings(settings: SerialSettings, lister: PortLister, table: str = "serial") -> str:
    """The device path of the USB identity, looked up anew each time.

    Raises:
        EdgeError: the adapter is not there, or there is more than one.
    """
    if settings.usb is None:
        raise EdgeError(f"[{table}.{settings.name}]: neither port nor usb is given")
    try:
        return device_of(settings.usb, lister())
    except EdgeError as fault:
        raise EdgeError(f"[{table}.{settings.name}]: {fault}") from None


def _why(target: str, fault: Exception, lister: PortLister) -> str:
    if is_url(target):
        return f'"{target}" can\'t be reached: {fault}. Is the serial server on, and is the address right?'
    number = getattr(fault, "errno", None)
    if number == errno.EACCES:
        return f'port "{target}" may not be opened by this user; add the user to the group that owns it (often dialout).'
    if number in (errno.EAGAIN, errno.EBUSY):
        return f'port "{target}" is in use by another program (or another table of the kitchen file); close that first.'
    if number == errno.ENOENT or not os.path.exists(target):  # noqa: PTH110 - a device path, as written
        return f'port "{target}" is not there. {sentence_of(lister())} Plug it in, or change port.'
    return f'port "{target}" can\'t be opened: {fault}'


def is_url(target: str) -> bool:
    """Whether a port is given as a URL (``socket://``, ``rfc2217://``) and not as a device path."""
    return "://" in target


def read_some(port: Serial) -> bytes:
    """What has arrived, waiting at most :data:`READ_WAIT` for the first byte. Empty when nothing came."""
    # A socket:// port only knows whether anything waits, not how much, so it is asked for a block.
    return bytes(port.read(1024 if is_url(str(port.port)) else max(1, min(port.in_waiting, 4096))))
