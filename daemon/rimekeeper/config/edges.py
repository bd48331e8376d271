"""The parts of the kitchen file that describe serial ports, fieldbus lines and brokers."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from rimekeeper.config.quantities import DurationText


class Strict(BaseModel):
    """Base of every table: unknown keys are refused, values are not coerced."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, arbitrary_types_allowed=True)


class UsbIdentity(Strict):
    """A USB adapter by what it says it is, so that it may move to another socket."""

    vendor: str = Field(pattern=r"^[0-9a-fA-F]{4}$")
    product: str = Field(pattern=r"^[0-9a-fA-F]{4}$")
    serial: str | None = None


class LineChannel(Strict):
    """Where in a line one channel's number stands: a field position (from 1), a group name, or a JSON path."""

    name: str = Field(min_length=1)
    field: int | None = Field(default=None, ge=1)
    group: str | None = None
    path: str | None = None


class SerialSettings(Strict):
    """``[serial.NAME]``: one port and how its lines are read.

    ``port`` is a device path or a pyserial URL (``socket://``, ``rfc2217://``); ``usb`` finds it by identity.
    ``decoder``: ``fields`` (split by ``separator``, by position), ``pattern`` (named groups), ``json`` (by path).
    """

    name: str = ""
    port: str | None = None
    usb: UsbIdentity | None = None
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    terminator: str = Field(default="\n", min_length=1, max_length=8)
    longest_line: int = Field(default=256, ge=8, le=65_536)
    encoding: Literal["ascii", "utf-8", "latin-1"] = "ascii"
    decoder: Literal["fields", "pattern", "json"] = "fields"
    separator: str = ","
    pattern: str | None = None
    channels: tuple[LineChannel, ...] = Field(default=(), strict=False)
    request: str | None = None
    request_every: DurationText = 2_000
    silent_after: DurationText = 15_000
    """After this long without one good line the port is reported and opened anew."""

    @field_validator("pattern")
    @classmethod
    def _compiles(cls, pattern: str | None) -> str | None:
        if pattern is not None:
            try:
                re.compile(pattern)
            except re.error as fault:
                raise ValueError(f"the pattern can't be read as a regular expression: {fault}") from None
        return pattern

    @model_validator(mode="after")
    def _one_way_to_find_it(self) -> SerialSettings:
        if (self.port is None) == (self.usb is None):
            raise ValueError("give either port or usb, so that it is clear which port is meant")
        if self.decoder == "pattern" and self.pattern is None:
            raise ValueError('decoder = "pattern" needs a pattern with a named group for each channel')
        return self


class RegisterChannel(Strict):
    """Where one channel's number stands: which unit of the line, which table, from which register on, as what.

    ``register`` is the number on the wire, from 0. What the number means is the probe's ``sensor`` or ``unit``.
    """

    name: str = Field(min_length=1, max_length=200)
    unit: int = Field(ge=1, le=247)
    register_: int = Field(alias="register", ge=0, le=65_535)
    """Its key is ``register``, which is a name of pydantic's own."""
    table: Literal["holding", "input"] = "holding"
    type: Literal["int16", "uint16", "int32", "uint32", "float32", "float64"] = "int16"
    word_order: Literal["big", "little"] = "big"


class ModbusSettings(Strict):
    """``[modbus.NAME]``: one line with Modbus RTU instruments, which are asked in turn.

    ``port`` and ``usb`` as in ``[serial.NAME]``. Baud rate and parity default to what the specification makes the
    default (MODBUS over Serial Line V1.02, sections 2.5.1 and 3.2); RTU always has 8 data bits.
    """

    name: str = ""
    port: str | None = None
    usb: UsbIdentity | None = None
    baud: int = Field(default=19_200, ge=300, le=4_000_000)
    parity: Literal["none", "even", "odd"] = "even"
    stop_bits: Literal[1, 2] = 1
    every: DurationText = 2_000
    """How often each unit is asked."""
    timeout: DurationText = 500
    """How long an answer may take to begin."""
    silent_after: DurationText = 15_000
    """After this long without one good answer of any unit the port is reported and opened anew."""
    channels: tuple[RegisterChannel, ...] = Field(min_length=1, strict=False)

    @model_validator(mode="after")
    def _one_way_to_find_it(self) -> ModbusSettings:
        if (self.port is None) == (self.usb is None):
            raise ValueError("give either port or usb, so that it is clear which port is meant")
        return self


class TopicSettings(Strict):
    """One subscription. ``payload``: ``number``, ``json`` (by path) or ``senml`` (RFC 8428).

    The channel name comes from a topic level (``channel_level``, from 1), from the payload
    (``channel_path``; SenML records bring their own names), or is fixed (``channel``).
    """

    filter: str = Field(min_length=1)
    payload: Literal["number", "json", "senml"] = "number"
    channel: str | None = None
    channel_level: int | None = Field(default=None, ge=1)
    channel_path: str | None = None
    value_path: str | None = None
    time_path: str | None = None
    time_unit: Literal["s", "ms", "iso"] = "s"
    qos: Literal[0, 1] = 1


class MqttSettings(Strict):
    """``[mqtt.NAME]``: one broker, how to sign in, and what to listen to."""

    name: str = ""
    host: str
    port: int = Field(default=1883, ge=1, le=65_535)
    client_id: str | None = None
    """Kept the same across restarts, so that the broker keeps our session; made from the kitchen's name by default."""
    user: str | None = None
    password: str | None = None
    password_file: str | None = None
    tls: bool = False
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    keepalive: DurationText = 30_000
    session_expiry: DurationText = 7 * 86_400_000
    status_topic: str | None = None
    """Retained "online"/"offline" of this daemon, the latter by last will. Default ``rimekeeper/<kitchen>/status``."""
    say_topic: str | None = None
    topics: tuple[TopicSettings, ...] = Field(default=(), strict=False)
