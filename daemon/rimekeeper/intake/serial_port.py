"""Reading one serial port: a thread that opens it, reads lines, and comes back whatever happens to it."""

from __future__ import annotations

import time

from serial import Serial

from rimekeeper.config.edges import SerialSettings
from rimekeeper.core.decoding import LINE_DECODERS, LineRule
from rimekeeper.core.decoding.found import Decoded, Refused, delivery_of, refuse
from rimekeeper.core.decoding.framing import Line, LineFramer, TooLong
from rimekeeper.core.decoding.lines import LineDecoder, LinePlace, text_of
from rimekeeper.core.errors import ConfigError
from rimekeeper.core.model import Health
from rimekeeper.intake.asking import Asking
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.port_thread import PortThread, SilentError
from rimekeeper.intake.ports_seen import PortLister, ports_now
from rimekeeper.intake.serial_open import open_port, read_some
from rimekeeper.runtime.ports import Clock, Inbox

GARBAGE_AFTER = 5
"""So many lines in a row without one number, and the port is called garbage."""
CLEAN_START = 0.1
"""Bytes that come sooner than this after opening may be the rest of a line that began before: "5.2" of "85.2"."""


class SerialIntake(PortThread):
    """One serial port as an :class:`~rimekeeper.runtime.ports.Intake`."""

    def __init__(
        self,
        settings: SerialSettings,
        inbox: Inbox,
        clock: Clock,
        *,
        lister: PortLister = ports_now,
        backoff: Backoff | None = None,
    ) -> None:
        """Prepare; nothing is opened before :meth:`start`.

        Raises:
            ConfigError: the decoder can't be built from the settings.
        """
        super().__init__("serial", settings.name, inbox, clock, lister, backoff)
        self._settings = settings
        self._decode = line_decoder(settings)
        self._framer = LineFramer(settings.terminator.encode(settings.encoding), settings.longest_line)
        self._request = request_bytes(settings)
        self._fruitless = 0

    def _lost(self, fault: Exception) -> str:
        return self._message(f"the port was lost: {fault}. Is it still plugged in?")

    def _broken(self, fault: Exception) -> str:
        return self._message(f"reading failed ({fault!r}); trying again")

    def _message(self, text: str) -> str:
        return f"[serial.{self._settings.name}]: {text}"

    def _open_and_work(self) -> None:
        with open_port(self._settings, self._lister) as port:
            if self._reporter.health is Health.UNKNOWN:
                self._reporter.say(Health.UNKNOWN, f"{port.port} is open; waiting for the first line")
            self._framer.clear()
            self._read(port)

    def _read(self, port: Serial) -> None:
        """Read until stopped; :class:`~.port_thread.SilentError` says that the port must be opened anew."""
        asking = Asking(self._settings.request_every / 1000.0) if self._request is not None else None
        opened = heard_good = time.monotonic()
        heard_bytes = 0
        skip_first: bool | None = None if asking is None else False
        while not self._stop.is_set():
            now = time.monotonic()
            if asking is not None and asking.due(now):
                self._ask(port)
            chunk = read_some(port)
            heard_bytes += len(chunk)
            if chunk and skip_first is None:
                skip_first = time.monotonic() - opened < CLEAN_START
            for frame in self._framer.feed(chunk) if chunk else ():
                if skip_first and isinstance(frame, Line):
                    heard_good = now
                elif self._take(frame, asking):
                    heard_good = now
                    heard_bytes = 0
                    self._backoff.reset()
                skip_first = False
            if now - heard_good > self._settings.silent_after / 1000.0:
                raise self._silence(heard_anything=heard_bytes > 0)

    def _ask(self, port: Serial) -> None:
        port.reset_input_buffer()
        self._framer.clear()
        if self._request is not None:
            port.write(self._request)

    def _take(self, frame: Line | TooLong, asking: Asking | None) -> bool:
        """Decode one line and hand it over; whether it had a number that counts."""
        text: str | bytes
        if isinstance(frame, TooLong):
            decoded, text = Decoded(refused=(frame.refused,)), frame.start
        else:
            line = text_of(frame.data, self._settings.encoding)
            decoded, text = self._decode_line(line), frame.data
        if not decoded.found and not decoded.refused:
            return False
        if asking is not None and not asking.takes():
            decoded = refuse(text, "the answer came too late for its request; is request_every long enough?")
        good = bool(decoded.found)
        self._judge(good=good)
        self._hand_over(delivery_of(decoded, text, self.source, self._clock.now()))
        return good

    def _decode_line(self, line: str | Refused) -> Decoded:
        return Decoded(refused=(line,)) if isinstance(line, Refused) else self._decode(line)

    def _judge(self, *, good: bool) -> None:
        if good:
            self._fruitless = 0
            self._reporter.say(Health.NORMAL, "")
            return
        self._fruitless += 1
        if self._fruitless >= GARBAGE_AFTER:
            self._reporter.say(Health.OUT_OF_SPECIFICATION, self._garbage())

    def _garbage(self) -> str:
        return (
            f"garbage: is the baud rate right? baud = {self._settings.baud} in [serial.{self._settings.name}]"
        )

    def _silence(self, *, heard_anything: bool) -> SilentError:
        if heard_anything:
            return SilentError(self._garbage(), Health.OUT_OF_SPECIFICATION)
        seconds = self._settings.silent_after / 1000.0
        hint = (
            "Is the instrument on?"
            if self._request is None
            else "Is the instrument on, and is the request right?"
        )
        return SilentError(self._message(f"silent for {seconds:g} s. {hint}"))


def line_decoder(settings: SerialSettings) -> LineDecoder:
    """The decoder of a port's lines.

    Raises:
        ConfigError: the channels don't fit the decoder; the text names the table and what to change.
    """
    places = [LinePlace(c.name, c.field, c.group, c.path) for c in settings.channels]
    try:
        return LINE_DECODERS[settings.decoder](LineRule(places, settings.separator, settings.pattern))
    except ValueError as fault:
        raise ConfigError(f"[serial.{settings.name}]: {fault}") from None


def request_bytes(settings: SerialSettings) -> bytes | None:
    """The request as it goes down the line, None for an instrument that speaks by itself.

    Raises:
        ConfigError: it has characters that the encoding lacks.
    """
    if settings.request is None:
        return None
    try:
        return settings.request.encode(settings.encoding)
    except UnicodeEncodeError:
        raise ConfigError(
            f'[serial.{settings.name}]: the request has characters that encoding = "{settings.encoding}" lacks'
        ) from None
