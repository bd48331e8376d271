"""Ways to reach a person: one attempt each, which is delivered, to be tried again, or given up.

A kind of channel is one file here, one line in the registry below, and its keys in
:class:`~rimekeeper.config.kitchen.ChannelSettings`. Who is called, when, and how often is decided elsewhere
(``core.alarms`` and the outbox); what a call-out says is in :mod:`~rimekeeper.calling.wording`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rimekeeper.calling import browser, command, mqtt, service
from rimekeeper.calling.channel import Channel, Publisher
from rimekeeper.config.kitchen import ChannelSettings
from rimekeeper.core.model import ChannelId

__all__ = ["KINDS", "Channel", "Publisher", "build_channels"]

KINDS: Mapping[str, Callable[[ChannelSettings, Mapping[str, Publisher]], Channel]] = {
    "apprise": service.build,
    "mqtt": mqtt.build,
    "browser": browser.build,
    "command": command.build,
}


def build_channels(
    settings: Mapping[str, ChannelSettings], publishers: Mapping[str, Publisher]
) -> dict[ChannelId, Channel]:
    """The channels of the kitchen file.

    Args:
        settings: the ``[channel.ID]`` tables by id.
        publishers: who publishes on each ``[mqtt.NAME]``, by name.

    Raises:
        ConfigError: a channel names a broker for which there is no publisher.
    """
    return {ChannelId(name): KINDS[channel.kind](channel, publishers) for name, channel in settings.items()}
