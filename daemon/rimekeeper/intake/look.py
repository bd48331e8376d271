"""What is seen on the ports and topics right now: for ``rimekeeper probes``, before anything is configured.

Looking at a broker leaves no session there and takes nothing away from the daemon. A serial port that the daemon
has open is locked and says so.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from paho.mqtt.client import MQTTMessage
from paho.mqtt.enums import MQTTProtocolVersion

from rimekeeper.config.edges import ModbusSettings, MqttSettings, SerialSettings
from rimekeeper.core.decoding.found import Decoded, shown
from rimekeeper.core.errors import ConfigError, EdgeError
from rimekeeper.core.model import Delivery, Health, Instant, Scale, SourceId, SourceState
from rimekeeper.intake.modbus_port import ModbusIntake
from rimekeeper.intake.mqtt_connection import Connection, Verdict
from rimekeeper.intake.mqtt_outgoing import OutgoingQueue
from rimekeeper.intake.mqtt_question import Deaf, ask_for_newest
from rimekeeper.intake.mqtt_topics import TopicTable
from rimekeeper.intake.ports_seen import PortSeen, ports_now
from rimekeeper.intake.serial_port import SerialIntake
from rimekeeper.runtime.ports import Clock, Intake

MOST_HEARD = 1_000
_TURN = 0.1


@dataclass(frozen=True, slots=True)
class Seen:
    """A channel (or a topic, or text that gave no number) heard while looking.

    ``value`` is None where no number was found; ``why`` says why not, or "" for a topic nothing is set for.
    """

    source: SourceId
    place: str
    text: str
    value: float | None
    scale: Scale | None
    why: str
    at: Instant
    count: int = 1
    retained: bool = False


@dataclass(slots=True)
class Look:
    """All that was seen."""

    ports: list[PortSeen] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    states: dict[SourceId, SourceState] = field(default_factory=dict)


def look(
    serial: Sequence[SerialSettings],
    brokers: Sequence[MqttSettings],
    seconds: float,
    clock: Clock,
    lines: Sequence[ModbusSettings] = (),
) -> Look:
    """Listen on the given ports and brokers for some seconds (all at once) and list the ports of the machine.

    The units of fieldbus ``lines`` are asked, as they only speak when asked.

    Without channels in its settings a port shows every number of its lines; without topics a broker shows
    everything that it lets us hear. Trouble is in ``states``, never raised.
    """
    book = _Book(clock)
    until = time.monotonic() + seconds
    watchers = [
        threading.Thread(target=_watch_broker, args=(b, until, book, clock), daemon=True) for b in brokers
    ]
    for watcher in watchers:
        watcher.start()
    intakes: list[Intake] = [ModbusIntake(settings, book, clock) for settings in lines]
    for settings in serial:
        try:
            intakes.append(SerialIntake(settings, book, clock))
        except ConfigError as fault:
            book.say(settings.name, Health.FAILURE, str(fault))
    for intake in intakes:
        intake.start()
    time.sleep(max(0.0, until - time.monotonic()))
    for intake in intakes:
        intake.stop()
    for watcher in watchers:
        watcher.join()
    return Look(ports_now(), book.listed(), book.states)


class _Book:
    """An inbox that keeps the last thing heard per channel."""

    def __init__(self, clock: Clock) -> None:
        self.states: dict[SourceId, SourceState] = {}
        self._clock = clock
        self._seen: dict[tuple[str, str, bool], Seen] = {}
        self._lock = threading.Lock()

    def deliver(self, delivery: Delivery) -> bool:
        for sample in delivery.samples:
            self.note(
                Seen(
                    sample.source,
                    sample.channel,
                    sample.text,
                    sample.value,
                    sample.scale,
                    "",
                    sample.arrived_at,
                )
            )
        for rejected in delivery.rejected:
            self.note(Seen(rejected.source, "", rejected.text, None, None, rejected.why, rejected.at))
        return True

    def report(self, state: SourceState) -> None:
        with self._lock:
            self.states[state.source] = state

    def say(self, source: str, health: Health, why: str) -> None:
        self.report(SourceState(SourceId(source), self._clock.now(), health, why))

    def note(self, seen: Seen) -> None:
        key = (seen.source, seen.place, seen.value is None)
        with self._lock:
            before = self._seen.get(key)
            if before is not None or len(self._seen) < MOST_HEARD:
                self._seen[key] = replace(seen, count=1 + (before.count if before else 0))

    def listed(self) -> list[Seen]:
        with self._lock:
            return sorted(self._seen.values(), key=lambda s: (s.source, s.place, s.value is None))


class _Ear(Deaf):
    """Notes every message of a broker, decoded where a topic setting reads it."""

    def __init__(self, settings: MqttSettings, topics: TopicTable, book: _Book, clock: Clock) -> None:
        self._settings = settings
        self._topics = topics
        self._book = book
        self._clock = clock
        self.filters = topics.qos or {"#": 0}

    def subscribed(self) -> None:
        self._book.say(self._settings.name, Health.NORMAL, "")

    def subscription_refused(self, name: str) -> None:
        self._book.say(
            self._settings.name, Health.FAILURE, f'the broker refuses the subscription to "{name}"'
        )

    def message(self, topic: str | None, packet: MQTTMessage, connection: Connection) -> None:
        source = SourceId(self._settings.name)
        now = self._clock.now()
        payload = bytes(packet.payload)
        if packet.qos > 0:
            connection.acknowledge(packet.mid)
        place = shown(topic or "")
        decoded = self._topics.decode(topic, payload, now) if topic and self._topics.qos else Decoded()
        text = shown(payload)
        for found in decoded.found:
            where = f"{place} -> {found.channel}"
            self._book.note(Seen(source, where, text, found.value, found.scale, "", now, 1, packet.retain))
        if not decoded.found:
            why = decoded.refused[0].why if decoded.refused else ""
            self._book.note(Seen(source, place, text, None, None, why, now, 1, packet.retain))


def _watch_broker(settings: MqttSettings, until: float, book: _Book, clock: Clock) -> None:
    stop = threading.Event()
    name = f"rimekeeper-look-{time.time_ns() % 10**9}"
    try:
        ear = _Ear(settings, TopicTable(settings.name, settings.topics), book, clock)
        question = ask_for_newest(settings, name, stop)
        if question.verdict not in (Verdict.ACCEPTED, Verdict.WRONG_PROTOCOL):
            why = question.reason or question.why_ended
            book.say(settings.name, Health.FAILURE, f"broker {settings.host}:{settings.port}: {why}")
            return
        spoken = (
            MQTTProtocolVersion.MQTTv5
            if question.verdict is Verdict.ACCEPTED
            else MQTTProtocolVersion.MQTTv311
        )
        with contextlib.closing(
            Connection(settings, name, "", spoken, ear, OutgoingQueue(), guest=True)
        ) as connection:
            asked = False
            while connection.open and time.monotonic() < until:
                connection.turn(_TURN)
                if connection.verdict is Verdict.ACCEPTED and not asked:
                    asked = True
                    connection.subscribe(ear.filters)
            connection.finish()
    except (EdgeError, ConfigError) as fault:
        book.say(settings.name, Health.FAILURE, str(fault))
