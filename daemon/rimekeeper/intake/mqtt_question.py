"""Finding out which protocol a broker speaks, before anything is at stake.

A broker that knows only MQTT 3.1.1 may read the properties of an MQTT 5 request as something else and then
neither refuse nor answer. So the first request is a bare one, under a name of its own: without properties, will
or session.
"""

from __future__ import annotations

import threading

from paho.mqtt.client import MQTTMessage
from paho.mqtt.enums import MQTTProtocolVersion

from rimekeeper.config.edges import MqttSettings
from rimekeeper.intake.mqtt_connection import Connection, Verdict
from rimekeeper.intake.mqtt_outgoing import Outgoing, OutgoingQueue

_TURN = 0.05


class Deaf:
    """A listener that wants to know nothing."""

    def accepted(self, *, session_present: bool) -> None:
        """Nothing to do."""

    def subscribed(self) -> None:
        """Nothing to do."""

    def subscription_refused(self, name: str) -> None:
        """Nothing to do."""

    def publish_refused(self, message: Outgoing, why: str) -> None:
        """Nothing to do."""

    def message(self, topic: str | None, packet: MQTTMessage, connection: Connection) -> None:
        """Nothing to do."""


def ask_for_newest(settings: MqttSettings, client_id: str, stop: threading.Event) -> Connection:
    """Ask the broker for MQTT 5 and hang up; the verdict of the closed connection is its answer.

    Raises:
        EdgeError: the broker can't be reached.
    """
    connection = Connection(
        settings, client_id, "", MQTTProtocolVersion.MQTTv5, Deaf(), OutgoingQueue(), guest=True
    )
    try:
        while connection.open and connection.verdict is Verdict.WAITING and not stop.is_set():
            connection.turn(_TURN)
        if connection.verdict is Verdict.ACCEPTED:
            connection.finish()
    finally:
        connection.close()
    return connection
