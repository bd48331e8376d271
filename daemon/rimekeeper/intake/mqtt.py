"""Readings from a broker: MQTT 5, or 3.1.1 where the broker knows no better; acknowledged only when settled."""

from __future__ import annotations

import hashlib
import random
import re
import threading
import time
from collections import deque
from dataclasses import dataclass

from paho.mqtt.client import MQTTMessage
from paho.mqtt.enums import MQTTProtocolVersion

from rimekeeper.config.edges import MqttSettings
from rimekeeper.core.decoding.found import delivery_of, refuse, shown
from rimekeeper.core.errors import EdgeError
from rimekeeper.core.model import Delivery, Health, Receipt, Rejected, SourceId
from rimekeeper.intake.backoff import Backoff
from rimekeeper.intake.mqtt_buttons import Buttons, Heard, HeardCallback
from rimekeeper.intake.mqtt_connection import Connection, Verdict
from rimekeeper.intake.mqtt_outgoing import Outgoing, OutgoingQueue
from rimekeeper.intake.mqtt_question import ask_for_newest
from rimekeeper.intake.mqtt_topics import TopicTable
from rimekeeper.intake.reporter import Reporter
from rimekeeper.runtime.ports import Clock, Inbox

MOST_HELD = 2_000
"""Messages held while the inbox is full; beyond that the rest stays in the network and at the broker."""
LASTED = 5.0
"""Seconds after which a connection counts as good and the next wait is short again."""
HANG_UPS = 3
"""So many connections closed without a word, and MQTT 3.1.1 is tried: some brokers hang up on what they don't know."""
_TURN = 0.25
_TURN_HOLDING = 0.05


@dataclass(frozen=True, slots=True)
class MqttReceipt:
    """Acknowledges one QoS 1 message on the connection on which it came."""

    connection: Connection
    mid: int

    def settle(self) -> None:
        """Acknowledge; does nothing when that connection is gone, because the broker then sends it again."""
        self.connection.acknowledge(self.mid)


class MqttIntake:
    """One broker as an :class:`~rimekeeper.runtime.ports.Intake`, and the house's way of speaking on it."""

    def __init__(
        self,
        settings: MqttSettings,
        inbox: Inbox,
        clock: Clock,
        *,
        kitchen: str = "kitchen",
        backoff: Backoff | None = None,
    ) -> None:
        """Prepare; nothing is connected before :meth:`start`.

        Raises:
            ConfigError: a topic's decoder can't be built.
        """
        self.source = SourceId(settings.name)
        self._settings = settings
        self._inbox = inbox
        self._clock = clock
        self._client_id = (
            settings.client_id or f"rimekeeper-{plain_name(kitchen)}-{plain_name(settings.name)}"
        )
        self.status_topic = settings.status_topic or f"rimekeeper/{plain_name(kitchen)}/status"
        self._topics = TopicTable(settings.name, settings.topics)
        self._filters: dict[str, int] = dict(self._topics.qos)
        self._reporter = Reporter(self.source, inbox, clock)
        self._backoff = backoff or Backoff(0.5, 30.0, random.Random(self._client_id))  # noqa: S311
        self._buttons = Buttons(settings.name, self._press_failed)
        self._outgoing = OutgoingQueue()
        self._held: deque[Delivery] = deque()
        self._spoken: MQTTProtocolVersion | None = None
        self._note = ""
        self._hung_up = 0
        self._refused_filter = ""
        self._asked_before = False
        self._new_filters: deque[str] = deque()
        self._connection: Connection | None = None
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    # --- what the house calls -----------------------------------------------------------------------------

    def start(self) -> None:
        """Connect in a thread of its own, and again for as long as it takes."""
        if self._thread is None:
            self._stop.clear()
            self._buttons.start()
            self._thread = threading.Thread(target=self._run, name=f"mqtt {self.source}", daemon=True)
            self._thread.start()

    def stop(self, timeout: float = 5.0) -> None:
        """Say "offline", disconnect and join. What was not settled comes again at the next start."""
        # The press under way is finished and acknowledged first, so that it doesn't come again as a second press.
        self._buttons.stop(timeout)
        self._stop.set()
        self._wake()
        if (thread := self._thread) is not None:
            thread.join(timeout)
            if not thread.is_alive():
                self._thread = None

    def publish(
        self, topic: str, payload: str | bytes, *, qos: int = 1, retain: bool = False, wait: float = 0.0
    ) -> bool:
        """Send a message, now or when the broker is there again.

        Args:
            topic: where to.
            payload: what.
            qos: 0 or 1.
            retain: whether the broker keeps it for those who come later.
            wait: seconds to wait for the broker to take it. 0: only queue it.

        Returns:
            Without ``wait``, whether there was room in the queue. With it, whether the broker took the message in
            time; if not it is withdrawn (one already on its way may still arrive).
        """
        data = payload.encode() if isinstance(payload, str) else payload
        message = Outgoing(topic, data, qos, retain, keep=wait <= 0)
        if not self._outgoing.put(message):
            return False
        self._wake()
        if wait <= 0:
            return True
        if message.done.wait(wait):
            return message.taken
        self._outgoing.withdraw(message)
        return False

    def listen(self, name: str, callback: HeardCallback) -> None:
        """Call ``callback`` for every message on a topic filter, in a thread of its own.

        A message is acknowledged after the callback returned or raised. A retained one is refused: it is an old
        press that would be pressed again at every start.
        """
        self._buttons.add(name, callback)
        self._filters[name] = 1
        self._new_filters.append(name)
        self._wake()

    # --- the thread ----------------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stop.is_set():
            began = time.monotonic()
            try:
                self._live_once()
            except EdgeError as fault:
                self._reporter.say(Health.FAILURE, str(fault))
            except Exception as fault:  # noqa: BLE001 - a packet that paho can't read must not end the broker for good
                self._reporter.say(
                    Health.FAILURE, f"[mqtt.{self.source}]: the broker talks nonsense ({fault!r})"
                )
            if time.monotonic() - began > LASTED:
                self._backoff.reset()
            self._stop.wait(self._backoff.wait())

    def _live_once(self) -> None:
        """One connection from beginning to end."""
        if (self._spoken is None and not self._ask_protocol()) or self._spoken is None:
            return
        connection = Connection(
            self._settings, self._client_id, self.status_topic, self._spoken, self, self._outgoing
        )
        self._connection = connection
        try:
            while connection.open and not self._stop.is_set():
                connection.turn(_TURN_HOLDING if self._held else _TURN, reading=len(self._held) < MOST_HELD)
                self._hand_over_held()
                self._ask_for_new(connection)
            if self._stop.is_set():
                connection.finish()
        finally:
            self._connection = None
            connection.close()
            self._outgoing.broken()
            self._held.clear()  # the broker sends them again
        if not self._stop.is_set():
            self._say_why(connection)
            if connection.verdict is Verdict.WAITING or self._spoken is not MQTTProtocolVersion.MQTTv5:
                self._spoken = None

    def _ask_protocol(self) -> bool:
        """Find out what the broker speaks; False (and reported) when it tells nothing."""
        question = ask_for_newest(self._settings, f"{self._client_id}-hello", self._stop)
        if self._stop.is_set():
            return False
        if question.verdict is Verdict.ACCEPTED:
            self._spoken, self._note = MQTTProtocolVersion.MQTTv5, ""
        elif question.verdict is Verdict.WRONG_PROTOCOL:
            self._spoken = MQTTProtocolVersion.MQTTv311
            self._note = "connected with MQTT 3.1.1, because the broker refuses MQTT 5"
        elif question.verdict is Verdict.WAITING and not question.timed_out and self._hung_up >= HANG_UPS:
            self._spoken = MQTTProtocolVersion.MQTTv311
            self._note = "connected with MQTT 3.1.1, because the broker hangs up on MQTT 5"
        else:
            self._hung_up += question.verdict is Verdict.WAITING and not question.timed_out
            self._say_why(question)
            return False
        self._hung_up = 0
        return True

    def _say_why(self, connection: Connection) -> None:
        broker = f"broker {self._settings.host}:{self._settings.port}"
        match connection.verdict:
            case Verdict.WRONG_PASSWORD:
                who = f'user "{self._settings.user}"' if self._settings.user else "a client without user"
                self._reporter.say(
                    Health.FAILURE,
                    f"{broker} refuses {who} ({connection.reason}); check user and password in [mqtt.{self.source}]",
                )
            case Verdict.REFUSED:
                self._reporter.say(Health.FAILURE, f"{broker} refuses us: {connection.reason}")
            case Verdict.WAITING:
                self._reporter.say(Health.FAILURE, f"{broker}: {connection.why_ended}")
            case Verdict.WRONG_PROTOCOL:
                self._reporter.say(Health.FAILURE, f"{broker} speaks neither MQTT 5 nor MQTT 3.1.1")
            case Verdict.ACCEPTED:
                self._reporter.say(Health.FAILURE, f"{broker}: {connection.why_ended}; trying again")

    def _wake(self) -> None:
        if (connection := self._connection) is not None:
            connection.wake()

    def _ask_for_new(self, connection: Connection) -> None:
        if connection.verdict is Verdict.ACCEPTED:
            while self._new_filters:
                name = self._new_filters.popleft()
                connection.subscribe({name: self._filters[name]})

    def _hand_over_held(self) -> None:
        while self._held and self._inbox.deliver(self._held[0]):
            self._held.popleft()

    # --- what a connection tells ---------------------------------------------------------------------------

    def accepted(self, *, session_present: bool) -> None:
        """Say that we are here and ask for what we want, unless the broker still knows."""
        connection = self._connection
        if connection is None:
            return
        connection.say_status(online=True)
        self._new_filters.clear()
        self._refused_filter = ""
        # MQTT 5 sends retained messages for new subscriptions only, so asking always is free and takes up changed
        # settings. MQTT 3.1.1 would send them all again: ask once per start, and whenever the session was lost.
        if self._spoken is MQTTProtocolVersion.MQTTv5 or not session_present or not self._asked_before:
            connection.subscribe(self._filters)
            self._asked_before = True
        else:
            self.subscribed()

    def subscribed(self) -> None:
        """Everything asked for is granted."""
        if self._refused_filter:
            return
        self._reporter.say(Health.NORMAL, self._note)

    def subscription_refused(self, name: str) -> None:
        """The broker won't send us a topic."""
        self._refused_filter = name
        self._reporter.say(
            Health.FAILURE,
            f'broker {self._settings.host}:{self._settings.port} refuses the subscription to "{name}"; '
            "check the user's rights there",
        )

    def publish_refused(self, message: Outgoing, why: str) -> None:
        """The broker won't let us write on a topic."""
        self._reporter.say(
            Health.MAINTENANCE,
            f'the broker does not let us write on "{shown(message.topic)}" ({why}); readings still arrive',
        )

    def message(self, topic: str | None, packet: MQTTMessage, connection: Connection) -> None:
        """Decode a message and hand it over, or hold it while the inbox is full."""
        payload = bytes(packet.payload)
        receipt: Receipt | None = None
        token: str | None = None
        if packet.qos > 0:
            receipt = MqttReceipt(connection, packet.mid)
            digest = hashlib.blake2b((topic or "").encode() + b"\0" + payload, digest_size=8).hexdigest()
            token = f"{packet.mid}:{digest}"
        again = packet.dup and packet.qos > 0
        arrived_at = self._clock.now()
        if topic is None:
            decoded = refuse(payload, "the topic of the message is not text")
        elif (callback := self._buttons.callback_for(topic)) is not None:
            if not packet.retain:
                self._buttons.press(callback, Heard(topic, payload, again, token), receipt)
                return
            decoded = refuse(
                payload, f'a retained message on the button topic "{shown(topic)}": an old press'
            )
        else:
            decoded = self._topics.decode(topic, payload, arrived_at)
        delivery = delivery_of(
            decoded,
            payload,
            self.source,
            arrived_at,
            retained=packet.retain,
            receipt=receipt,
            token=token,
            again=again,
        )
        if receipt is None:
            self._inbox.deliver(delivery)  # QoS 0 may be lost, and the inbox counts it
        elif self._held or not self._inbox.deliver(delivery):
            self._held.append(delivery)

    def _press_failed(self, heard: Heard, why: str) -> None:
        text = shown(heard.payload)
        rejected = Rejected(
            self.source, self._clock.now(), text, f'button topic "{shown(heard.topic)}": {why}'
        )
        self._inbox.deliver(Delivery(self.source, (), (rejected,)))


def plain_name(name: str) -> str:
    """A name with only what every broker takes in a client id and a topic level."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower() or "kitchen"
