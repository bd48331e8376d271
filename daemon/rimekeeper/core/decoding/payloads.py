"""Decoders of a message payload: a plain number, JSON by path, SenML. Built once, then they never raise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from rimekeeper.core.decoding.figures import (
    FigureError,
    TimeUnit,
    instant_in_json,
    number_in_json,
    number_in_text,
)
from rimekeeper.core.decoding.found import Decoded, Found, name_trouble, refuse, shown
from rimekeeper.core.decoding.json_path import LARGEST_DOCUMENT, MISSING, at, document_of, path_of
from rimekeeper.core.decoding.senml import decode_senml
from rimekeeper.core.model import Instant

T = TypeVar("T")

PayloadDecoder: TypeAlias = Callable[[str, bytes, Instant], Decoded]
"""(topic, payload, instant of arrival) -> what was found."""


@dataclass(frozen=True, slots=True)
class PayloadRule:
    """How a message names its channel and where its number and its time stand.

    The channel is fixed (``channel``), a level of the topic (``channel_level``, from 1), a value in the payload
    (``channel_path``), or, with none of them, the whole topic.
    """

    channel: str | None = None
    channel_level: int | None = None
    channel_path: str | None = None
    value_path: str | None = None
    time_path: str | None = None
    time_unit: TimeUnit = "s"

    def channel_of(self, topic: str) -> str:
        """The channel by the topic alone.

        Raises:
            FigureError: when the topic gives no usable name.
        """
        if self.channel is not None:
            return self.channel
        name = topic
        if self.channel_level is not None:
            levels = topic.split("/")
            if self.channel_level > len(levels):
                raise FigureError(
                    f'the channel is level {self.channel_level} of the topic, but "{shown(topic)}" has {len(levels)}'
                )
            name = levels[self.channel_level - 1]
        if (trouble := name_trouble(name)) is not None:
            raise FigureError(trouble)
        return name


def number_decoder(rule: PayloadRule) -> PayloadDecoder:
    """The payload is a number and nothing else, perhaps with its scale ("-18.2", "72.5 F").

    Raises:
        ValueError: when the rule looks into the payload by a path, where there is none.
    """
    if rule.channel_path or rule.value_path or rule.time_path:
        raise ValueError(
            'payload = "number" has no paths; use payload = "json" for channel_path, value_path, time_path'
        )

    def decode(topic: str, payload: bytes, _arrived_at: Instant) -> Decoded:
        try:
            text = payload[:LARGEST_DOCUMENT].decode("utf-8")
        except UnicodeDecodeError:
            return refuse(payload, "these bytes are not text (UTF-8)")
        try:
            return Decoded((Found(rule.channel_of(topic), *number_in_text(text)),))
        except FigureError as fault:
            return refuse(payload, _sentence(f'"{shown(text.strip())[:40]}"', fault))

    return decode


def json_decoder(rule: PayloadRule) -> PayloadDecoder:
    """The payload is a JSON document with the number (and perhaps channel and time) at paths.

    Without ``value_path`` the document itself is the number. A time that is absent is no fault: the message then
    carries none.

    Raises:
        ValueError: when a path can't be read.
    """
    value_path = path_of(rule.value_path or "")
    time_path = path_of(rule.time_path) if rule.time_path else None
    channel_path = path_of(rule.channel_path) if rule.channel_path else None

    def decode(topic: str, payload: bytes, _arrived_at: Instant) -> Decoded:
        try:
            document = document_of(payload)
            channel = (
                rule.channel_of(topic) if channel_path is None else _channel(document, channel_path, rule)
            )
            value = at(document, value_path)
            if value is MISSING:
                return refuse(payload, f'there is nothing at "{rule.value_path}" (value_path)')
            number = _labelled(f"the value{_where(rule.value_path)}", number_in_json, value)
            taken_at = None
            if time_path is not None and (stamp := at(document, time_path)) is not MISSING:
                taken_at = _labelled(
                    f"the time{_where(rule.time_path)}", lambda s: instant_in_json(s, rule.time_unit), stamp
                )
        except FigureError as fault:
            return refuse(payload, str(fault))
        return Decoded((Found(channel, number, None, taken_at),))

    return decode


def senml_decoder(rule: PayloadRule) -> PayloadDecoder:
    """The payload is a SenML pack; records without any name take the channel of the rule, if it fixes one.

    Raises:
        ValueError: when the rule has paths, which SenML does not need.
    """
    if rule.channel_path or rule.value_path or rule.time_path:
        raise ValueError('payload = "senml" brings its own names, values and times; leave the paths out')
    gives_name = rule.channel is not None or rule.channel_level is not None

    def decode(topic: str, payload: bytes, arrived_at: Instant) -> Decoded:
        try:
            nameless = rule.channel_of(topic) if gives_name else None
        except FigureError as fault:
            return refuse(payload, str(fault))
        return decode_senml(payload, arrived_at, nameless)

    return decode


def _where(path: str | None) -> str:
    return f' at "{path}"' if path else ""


def _labelled(label: str, read: Callable[[object], T], value: object) -> T:
    try:
        return read(value)
    except FigureError as fault:
        raise FigureError(f"{label} {fault}") from None


def _channel(document: object, path: tuple[str | int, ...], rule: PayloadRule) -> str:
    name = at(document, path)
    if name is MISSING:
        raise FigureError(f'there is nothing at "{rule.channel_path}" (channel_path)')
    if isinstance(name, int) and not isinstance(name, bool) and abs(name) < 10**18:
        name = str(name)
    if not isinstance(name, str):
        raise FigureError(f'the value at "{rule.channel_path}" (channel_path) is not a name')
    if (trouble := name_trouble(name)) is not None:
        raise FigureError(trouble)
    return name


def _sentence(what: str, fault: FigureError) -> str:
    text = str(fault)
    return f"{what} {text}" if text.startswith("is ") else text
