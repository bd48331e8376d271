"""Which setting reads which topic, and what a message gives by it."""

from __future__ import annotations

from collections.abc import Iterable

from rimekeeper.config.edges import TopicSettings
from rimekeeper.core.decoding import PAYLOAD_DECODERS
from rimekeeper.core.decoding.found import Decoded, refuse, shown
from rimekeeper.core.decoding.payloads import PayloadDecoder, PayloadRule
from rimekeeper.core.errors import ConfigError
from rimekeeper.core.model import Instant
from rimekeeper.intake.mqtt_filters import FilterTree

MOST_TOPICS_KNOWN = 4_096


class TopicTable:
    """The topic settings of a broker, in the order of the file.

    Settings with the same filter all read a message (several numbers of one payload); of different filters that
    fit, the one that stands first does, so that an exception can stand above the rule.
    """

    def __init__(self, table: str, topics: Iterable[TopicSettings]) -> None:
        """Build the decoders of ``[mqtt.NAME]``.

        Raises:
            ConfigError: a decoder can't be built from its setting.
        """
        self._table = table
        self._decoders: dict[str, list[PayloadDecoder]] = {}
        self.qos: dict[str, int] = {}
        for number, topic in enumerate(topics, 1):
            self._decoders.setdefault(topic.filter, []).append(_decoder(table, number, topic))
            self.qos[topic.filter] = max(topic.qos, self.qos.get(topic.filter, 0))
        self._order = {name: place for place, name in enumerate(self._decoders)}
        self._tree: FilterTree[str] = FilterTree()
        for name in self._decoders:
            self._tree.file(name, name)
        self._known: dict[str, tuple[PayloadDecoder, ...]] = {}

    def decode(self, topic: str, payload: bytes, arrived_at: Instant) -> Decoded:
        """What a message gives; a topic that no setting reads is refused."""
        decoders = self._known.get(topic)
        if decoders is None:
            decoders = self._find(topic)
        if not decoders:
            return refuse(
                payload,
                f'no filter of [mqtt.{self._table}] reads "{shown(topic)}"; an earlier configuration asked for it',
            )
        if len(decoders) == 1:
            return decoders[0](topic, payload, arrived_at)
        each = [decode(topic, payload, arrived_at) for decode in decoders]
        return Decoded(
            tuple(found for one in each for found in one.found),
            tuple(dict.fromkeys(refused for one in each for refused in one.refused)),
        )

    def _find(self, topic: str) -> tuple[PayloadDecoder, ...]:
        names = list(self._tree.fitting(topic))
        found = tuple(self._decoders[min(names, key=self._order.__getitem__)]) if names else ()
        if len(self._known) >= MOST_TOPICS_KNOWN:
            self._known.clear()
        self._known[topic] = found
        return found


def _decoder(table: str, number: int, topic: TopicSettings) -> PayloadDecoder:
    rule = PayloadRule(
        topic.channel,
        topic.channel_level,
        topic.channel_path,
        topic.value_path,
        topic.time_path,
        topic.time_unit,
    )
    try:
        return PAYLOAD_DECODERS[topic.payload](rule)
    except ValueError as fault:
        raise ConfigError(f'[mqtt.{table}], topic {number} ("{topic.filter}"): {fault}') from None
