"""One connection to a broker, from its first byte to its last. A new one is made for every attempt.

Acknowledgements belong to the connection on which their message came: packet ids mean nothing on the next one.
So a receipt points at its connection, and one that is settled after the connection broke does nothing; the
broker sends that message again.
"""

from __future__ import annotations

import contextlib
import enum
import os
import select
import ssl
import threading
import time
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from rimekeeper.config.edges import MqttSettings
from rimekeeper.core.errors import EdgeError
from rimekeeper.intake.mqtt_outgoing import Outgoing, OutgoingQueue

CONNECT_WAIT = 5.0
"""Seconds for TCP and TLS to stand, and again for the broker to answer."""
MOST_UNSETTLED = 2_000
"""QoS 1 messages that an MQTT 5 broker may send ahead of our acknowledgements (receive maximum)."""
READS_A_ROUND = 256
_OFFLINE, _ONLINE = b"offline", b"online"


class Verdict(enum.Enum):
    """How the broker answered a connection."""

    WAITING = "no answer yet"
    ACCEPTED = "accepted"
    WRONG_PROTOCOL = "does not speak this protocol version"
    WRONG_PASSWORD = "user or password refused"  # noqa: S105 - words, not a password
    REFUSED = "refused"


class Listener(Protocol):
    """Who is told what happens on a connection; called from the connection's own thread."""

    def accepted(self, *, session_present: bool) -> None:
        """The broker let us in."""

    def subscribed(self) -> None:
        """Every subscription is answered with yes."""

    def subscription_refused(self, name: str) -> None:
        """A subscription is answered with no."""

    def publish_refused(self, message: Outgoing, why: str) -> None:
        """The broker does not let us write there."""

    def message(self, topic: str | None, packet: paho.MQTTMessage, connection: Connection) -> None:
        """A message came; ``topic`` is None when it is no text."""


class Connection:
    """One paho client, driven by whoever calls :meth:`turn`."""

    def __init__(
        self,
        settings: MqttSettings,
        client_id: str,
        status_topic: str,
        protocol: MQTTProtocolVersion,
        listener: Listener,
        outgoing: OutgoingQueue,
        *,
        guest: bool = False,
    ) -> None:
        """Open TCP and TLS and send the request to connect.

        A guest only looks: no session is kept for it, and it says nothing on the status topic.

        Raises:
            EdgeError: the broker can't be reached, or a file of the settings can't be read.
        """
        self.verdict = Verdict.WAITING
        self.reason = ""
        self.timed_out = False
        self.protocol = protocol
        self._settings = settings
        self._status_topic = status_topic
        self._listener = listener
        self._outgoing = outgoing
        self._guest = guest
        self._acks: deque[int] = deque()
        self._asked: dict[int, str] = {}
        self._ended: str | None = None
        self._deadline = time.monotonic() + CONNECT_WAIT
        self._misc_at = 0.0
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=guest if protocol is MQTTProtocolVersion.MQTTv311 else None,
            protocol=protocol,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        self._client.connect_timeout = CONNECT_WAIT
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_publish = self._on_publish
        self._client.on_message = self._on_message
        sign_in(self._client, settings)
        if not guest:
            self._client.will_set(status_topic, _OFFLINE, qos=1, retain=True)
        self._wake_lock = threading.Lock()
        self._woken = False
        self._wake_read, self._wake_write = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            self._connect()
        except EdgeError:
            self.close()
            raise

    def _connect(self) -> None:
        settings = self._settings
        v5 = self.protocol is MQTTProtocolVersion.MQTTv5
        where = f"broker {settings.host}:{settings.port}"
        try:
            self._client.connect(
                settings.host,
                settings.port,
                keepalive=max(1, settings.keepalive // 1000),
                clean_start=self._guest if v5 else paho.MQTT_CLEAN_START_FIRST_ONLY,
                properties=_connect_properties(settings) if v5 and not self._guest else None,
            )
        except ssl.SSLCertVerificationError as fault:
            raise EdgeError(
                f"{where} shows a certificate that is not trusted ({fault.verify_message}); check ca_file and host"
            ) from fault
        except ssl.SSLError as fault:
            raise EdgeError(
                f"{where} does not speak TLS as expected ({fault.reason}); check port and tls"
            ) from fault
        except (OSError, ValueError) as fault:
            raise EdgeError(
                f"{where} can't be reached: {fault}. Is it on, and are host and port right?"
            ) from fault

    @property
    def open(self) -> bool:
        """Whether it still stands."""
        return self._ended is None

    @property
    def why_ended(self) -> str:
        """Why it broke, "" while it stands."""
        return self._ended or ""

    def wake(self) -> None:
        """Let :meth:`turn` return from its wait; any thread, never blocks or raises."""
        if self._woken:
            return
        with self._wake_lock:
            if self._wake_write >= 0:
                self._woken = True
                with contextlib.suppress(BlockingIOError):
                    os.write(self._wake_write, b"!")

    def acknowledge(self, mid: int) -> None:
        """Acknowledge a QoS 1 message of this connection; any thread, never blocks or raises."""
        if self._ended is None:
            self._acks.append(mid)
            self.wake()

    def subscribe(self, filters: Mapping[str, int]) -> None:
        """Ask for the filters with their QoS. Retained messages come only with a subscription that is new."""
        if not filters:
            self._listener.subscribed()
            return
        for name, qos in filters.items():
            if self.protocol is MQTTProtocolVersion.MQTTv5:
                options = SubscribeOptions(
                    qos=qos, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB, retainAsPublished=False
                )
                _, mid = self._client.subscribe(name, options=options)
            else:
                _, mid = self._client.subscribe(name, qos)
            if mid is not None:
                self._asked[mid] = name

    def say_status(self, *, online: bool) -> None:
        """Publish the retained status; the last will says "offline" when we can't."""
        self._send(Outgoing(self._status_topic, _ONLINE if online else _OFFLINE, 1, retain=True, keep=False))

    def turn(self, timeout: float, *, reading: bool = True) -> None:
        """Wait at most ``timeout`` seconds for work and do it. ``reading`` False leaves messages in the network."""
        sock: Any = self._client.socket()
        if self._ended is not None or sock is None:
            self._end("the connection was closed")
            return
        poller = select.poll()
        poller.register(self._wake_read, select.POLLIN)
        # A socket that we neither read nor write now is left out: its hang-up would end every wait at once.
        if events := (select.POLLIN if reading else 0) | (select.POLLOUT if self._client.want_write() else 0):
            poller.register(sock, events)
        waiting_inside = reading and _pending(sock)
        ready = dict(poller.poll(0 if waiting_inside else timeout * 1000.0))
        if self._wake_read in ready:
            with contextlib.suppress(BlockingIOError):
                os.read(self._wake_read, 4096)
            # Cleared before the work is looked for: work added from here on wakes us again.
            self._woken = False
        if reading and (waiting_inside or ready.get(sock.fileno(), 0) & ~select.POLLOUT):
            self._read(sock)
        self._write()
        now = time.monotonic()
        if self._ended is None and now >= self._misc_at:
            self._misc_at = now + 0.5
            self._check(self._client.loop_misc())
        if self.verdict is Verdict.WAITING and self._ended is None and now > self._deadline:
            self.timed_out = True
            self._end("it took the connection but does not answer")

    def _read(self, sock: Any) -> None:
        poller = select.poll()
        poller.register(sock, select.POLLIN)
        for _ in range(READS_A_ROUND):
            self._check(self._client.loop_read())
            if self._ended is not None or not (_pending(sock) or poller.poll(0)):
                return

    def _write(self) -> None:
        while self._ended is None and self._acks:
            self._client.ack(self._acks.popleft(), 1)
        while self._ended is None and self.verdict is Verdict.ACCEPTED and (message := self._outgoing.next()):
            self._send(message)
        if self._ended is None and self._client.want_write():
            self._check(self._client.loop_write())

    def _send(self, message: Outgoing) -> None:
        try:
            info = self._client.publish(message.topic, message.payload, message.qos, message.retain)
        except ValueError as fault:
            message.settle(taken=False)
            self._listener.publish_refused(message, str(fault))
            return
        if message.qos == 0:
            message.settle(taken=info.rc == paho.MQTT_ERR_SUCCESS)
        else:
            self._outgoing.sent(info.mid, message)

    def finish(self) -> None:
        """Say "offline", let what is queued leave, and disconnect in order (the will is then not sent)."""
        self._write()
        if self.verdict is Verdict.ACCEPTED and self._ended is None:
            goodbye = Outgoing(self._status_topic, _OFFLINE, 1, retain=True, keep=False)
            if self._guest:
                goodbye.done.set()
            else:
                self._send(goodbye)
            deadline = time.monotonic() + 1.0
            while self._ended is None and not goodbye.done.is_set() and time.monotonic() < deadline:
                self.turn(0.05, reading=True)
            if self._ended is None:
                self._client.disconnect()
                self._write()
        self.close()

    def close(self) -> None:
        """Drop the connection at once. Messages that were not acknowledged come again."""
        self._end("closed")
        if (sock := self._client.socket()) is not None:
            with contextlib.suppress(OSError):
                sock.close()
        with self._wake_lock:
            if self._wake_write >= 0:
                os.close(self._wake_write)
                os.close(self._wake_read)
            self._wake_read = self._wake_write = -1

    def _end(self, why: str) -> None:
        if self._ended is None:
            self._ended = why

    def _check(self, rc: MQTTErrorCode) -> None:
        if rc != paho.MQTT_ERR_SUCCESS or self._client.socket() is None:
            self._end(f"the connection to the broker was lost ({paho.error_string(rc)})")

    def _on_connect(
        self,
        _client: paho.Client,
        _data: Any,
        flags: paho.ConnectFlags,
        reason: ReasonCode,
        _more: Properties | None,
    ) -> None:
        self.reason = str(reason)
        if not reason.is_failure:
            self.verdict = Verdict.ACCEPTED
            self._listener.accepted(session_present=flags.session_present)
        elif self.reason == "Unsupported protocol version":
            self.verdict = Verdict.WRONG_PROTOCOL
        elif self.reason in ("Bad user name or password", "Not authorized"):
            self.verdict = Verdict.WRONG_PASSWORD
        else:
            self.verdict = Verdict.REFUSED

    def _on_disconnect(
        self,
        _client: paho.Client,
        _data: Any,
        flags: paho.DisconnectFlags,
        reason: ReasonCode,
        _more: Properties | None,
    ) -> None:
        if flags.is_disconnect_packet_from_server and str(reason) == "Session taken over":
            self._end("another client signed in under our client_id; is a second daemon running?")
        else:
            self._end(f"the connection to the broker was lost ({reason})")

    def _on_subscribe(
        self, _client: paho.Client, _data: Any, mid: int, reasons: list[ReasonCode], _more: Properties | None
    ) -> None:
        name = self._asked.pop(mid, "")
        if any(reason.is_failure for reason in reasons):
            self._listener.subscription_refused(name)
        elif not self._asked:
            self._listener.subscribed()

    def _on_publish(
        self, _client: paho.Client, _data: Any, mid: int, reason: ReasonCode, _more: Properties | None
    ) -> None:
        message = self._outgoing.answered(mid, taken=not reason.is_failure)
        if message is not None and reason.is_failure:
            self._listener.publish_refused(message, str(reason))

    def _on_message(self, _client: paho.Client, _data: Any, packet: paho.MQTTMessage) -> None:
        try:
            topic: str | None = packet.topic
        except UnicodeDecodeError:
            topic = None
        self._listener.message(topic, packet, self)


def sign_in(client: paho.Client, settings: MqttSettings) -> None:
    """Give a client its user, password and certificates, reading the files anew.

    Raises:
        EdgeError: a file is missing or unusable.
    """
    where = f"[mqtt.{settings.name}]"
    password = settings.password
    if settings.password_file is not None:
        try:
            password = Path(settings.password_file).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as fault:
            raise EdgeError(
                f'{where}: password_file "{settings.password_file}" can\'t be read: {fault}'
            ) from fault
    if settings.user is not None:
        client.username_pw_set(settings.user, password)
    if settings.tls:
        try:
            context = ssl.create_default_context(cafile=settings.ca_file)
            if settings.cert_file is not None:
                context.load_cert_chain(settings.cert_file, settings.key_file)
        except (OSError, ValueError) as fault:
            files = ", ".join(f for f in (settings.ca_file, settings.cert_file, settings.key_file) if f)
            raise EdgeError(f"{where}: the certificates can't be used ({files}): {fault}") from fault
        context.sslsocket_class = _TidySocket
        client.tls_set_context(context)


class _TidySocket(ssl.SSLSocket):
    """Closes itself when the handshake fails; paho would leave it to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - the signature is the library's
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def _connect_properties(settings: MqttSettings) -> Any:
    properties: Any = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = settings.session_expiry // 1000
    properties.ReceiveMaximum = MOST_UNSETTLED
    return properties


def _pending(sock: Any) -> bool:
    return isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
