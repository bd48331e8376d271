"""The pages in the house: they show every alarm, speak it and sound a tone, so nothing has to be sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.calling.channel import Channel, Publisher
from rimekeeper.config.kitchen import ChannelSettings
from rimekeeper.core.alarms.call import Attempt, CallMessage, Verdict


@dataclass(frozen=True, slots=True)
class BrowserChannel:
    """Delivered when it is owed: whether somebody looks, only their answer says."""

    def attempt(self, message: CallMessage, timeout: float) -> Attempt:  # noqa: ARG002 - as every channel
        """Nothing to send."""
        return Attempt(Verdict.DELIVERED, "It stands on every open page.")


def build(settings: ChannelSettings, publishers: Mapping[str, Publisher]) -> Channel:  # noqa: ARG001 - as every kind
    """For the registry."""
    return BrowserChannel()
