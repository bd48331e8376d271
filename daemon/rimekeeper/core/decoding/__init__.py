"""From bytes to numbers, without ever raising on what came in.

A line passes :class:`~.framing.LineFramer` (bytes -> lines) and a line decoder (text -> :class:`~.found.Decoded`);
a message passes a payload decoder. A new decoder is a function in a file here and one line in the registry
below; ``config.edges`` offers its name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from rimekeeper.core.decoding.lines import (
    LineDecoder,
    LinePlace,
    fields_decoder,
    json_line_decoder,
    pattern_decoder,
)
from rimekeeper.core.decoding.payloads import (
    PayloadDecoder,
    PayloadRule,
    json_decoder,
    number_decoder,
    senml_decoder,
)


@dataclass(frozen=True, slots=True)
class LineRule:
    """How the lines of a port are read; a decoder takes what it needs of it."""

    places: Sequence[LinePlace] = ()
    separator: str = ","
    pattern: str | None = None


LINE_DECODERS: Mapping[str, Callable[[LineRule], LineDecoder]] = {
    "fields": lambda rule: fields_decoder(rule.places, rule.separator),
    "pattern": lambda rule: pattern_decoder(rule.places, rule.pattern or ""),
    "json": lambda rule: json_line_decoder(rule.places),
}

PAYLOAD_DECODERS: Mapping[str, Callable[[PayloadRule], PayloadDecoder]] = {
    "number": number_decoder,
    "json": json_decoder,
    "senml": senml_decoder,
}
