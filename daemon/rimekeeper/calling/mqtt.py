"""A call-out as one message on an MQTT topic: a siren, a lamp, another program."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.calling.channel import Channel, Publisher
from rimekeeper.calling.wording import utc
from rimekeeper.config.kitchen import ChannelSettings
from rimekeeper.core.alarms.call import Attempt, CallMessage, Verdict
from rimekeeper.core.errors import ConfigError


@dataclass(frozen=True, slots=True)
class MqttChannel:
    """Publishes with QoS 1 and counts as delivered once the broker took it. Never retained: a call-out passes."""

    publisher: Publisher
    topic: str

    def attempt(self, message: CallMessage, timeout: float) -> Attempt:
        """Publish, and wait for the broker's word."""
        if self.publisher.publish(self.topic, payload_of(message), qos=1, retain=False, wait=timeout):
            return Attempt(Verdict.DELIVERED)
        return Attempt(Verdict.RETRY, f'The broker did not take the message for "{self.topic}".')


def payload_of(message: CallMessage) -> str:
    """The message as JSON: the facts in °C and UTC for programs, title and text for people."""
    call = message.call
    return json.dumps(
        {
            "call": call.id,
            "kind": call.kind.value,
            "priority": call.priority.name.lower(),
            "alarm": call.alarm_key,
            "raise": call.alarm_id,
            "person": call.person,
            "where": call.where,
            "what": call.what,
            "celsius": call.celsius,
            "limit_celsius": call.limit_celsius,
            "since": utc(call.since),
            "at": utc(call.at),
            "action": call.action,
            "title": message.title,
            "text": message.body,
            "link": message.link,
        },
        ensure_ascii=False,
    )


def build(settings: ChannelSettings, publishers: Mapping[str, Publisher]) -> Channel:
    """For the registry."""
    publisher = publishers.get(settings.mqtt or "")
    if publisher is None:
        raise ConfigError(
            f"A channel publishes on [mqtt.{settings.mqtt}], which is not there. Add that table."
        )
    return MqttChannel(publisher, settings.topic or "")
