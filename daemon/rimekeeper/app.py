"""The composition root: builds every part of a running kitchen and hands them to each other."""

from __future__ import annotations

import contextlib
import logging
import os
import secrets
import signal
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from rimekeeper.calling import build_channels
from rimekeeper.calling.wording import write
from rimekeeper.cli_common import console, data_folder
from rimekeeper.config.loading import Button, Loaded, load
from rimekeeper.core.alarms.call import CallMessage
from rimekeeper.core.errors import RimekeeperError
from rimekeeper.core.messages import CallOwed, Outcome
from rimekeeper.core.model import Actor
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.intake.modbus_port import ModbusIntake
from rimekeeper.intake.mqtt import MqttIntake
from rimekeeper.intake.mqtt_buttons import Heard
from rimekeeper.intake.serial_port import SerialIntake
from rimekeeper.keeping.lock import make_folder
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from rimekeeper.remote import Contact, leave_contact
from rimekeeper.runtime.announcing import announcer
from rimekeeper.runtime.buttons import Debounce, press
from rimekeeper.runtime.clock import SystemClock
from rimekeeper.runtime.inbox import Inbox
from rimekeeper.runtime.logs import set_up_log
from rimekeeper.runtime.outbox import OutboxSender
from rimekeeper.runtime.pipeline import Pipeline
from rimekeeper.runtime.ports import Glance, Intake
from rimekeeper.runtime.reminding import remind_of_calibrations
from rimekeeper.runtime.schedule import Schedule, care_for_the_store
from rimekeeper.simulation.demo import DemoKitchen, prepare
from rimekeeper.web import build_app
from rimekeeper.web.serving import Server

_LOG = logging.getLogger(__name__)

LOOK_UP = 1.0


class House:
    """One running kitchen: everything between the probes and the screens."""

    def __init__(self, loaded: Loaded, folder: Path, port: int | None = None) -> None:
        """Build and wire; nothing runs before :meth:`start`.

        Args:
            loaded: what the kitchen file and its sheets say.
            folder: the data folder; made when missing.
            port: port of the pages instead of the kitchen file's.

        Raises:
            StoreError: another daemon has the folder, or it can't be written.
            EdgeError: the port of the pages is in use.
        """
        plan = loaded.plan
        self._closing = contextlib.ExitStack()
        with contextlib.ExitStack() as undo:
            self._store = undo.enter_context(Store(folder))
            self.reader = Reader(self._store.database)
            self._inbox, self._clock = Inbox(), SystemClock()
            self._clock.on_step = self._inbox.put
            self.pipeline = Pipeline(plan, self._store, self.reader, self._inbox, self._clock)
            self.brokers = {
                name: MqttIntake(settings, self._inbox, self._clock, kitchen=plan.name)
                for name, settings in loaded.mqtt.items()
            }
            self._ports: list[Intake] = [
                *(SerialIntake(s, self._inbox, self._clock) for s in loaded.serial.values()),
                *(ModbusIntake(s, self._inbox, self._clock) for s in loaded.modbus.values()),
            ]
            self._server = self._pages(loaded, port)
            undo.callback(self._server.stop)
            self._outbox = self._call_outs(loaded)
            self._schedule = Schedule(plan.zone)
            care_for_the_store(self._schedule, self.pipeline, self._store)
            self._listen_to_buttons(loaded.buttons)
            self._announce(loaded)
            remind_of_calibrations(self._schedule, self.pipeline.glance, self._remind)
            self._closing = undo.pop_all()
        self._folder = folder

    @property
    def address(self) -> str:
        """Where a browser finds the pages."""
        return self._server.address

    def start(self) -> None:
        """Begin to watch, in this order: decide and keep, show, call, listen."""
        contact = leave_contact(self._folder, Contact(self.address, self._token), os.getpid())
        self._closing.callback(contact.unlink, missing_ok=True)
        self.pipeline.start()
        self._server.start()
        self._outbox.start()
        self._schedule.start()
        intakes: list[Intake] = [*self._ports, *self.brokers.values()]
        for intake in intakes:
            intake.start()

    def stop(self) -> None:
        """Write what has arrived, acknowledge it, and close. What comes after that a broker keeps for us."""
        for port in self._ports:
            port.stop()
        # What became of the last call-outs is still to be written.
        self._outbox.stop()
        # Brokers are left last, so that what was just written can still be acknowledged.
        if not self.pipeline.stop():
            _LOG.error("the last readings could not be written in time; a broker sends its own again")
        for broker in self.brokers.values():
            broker.stop()
        self._schedule.stop()
        self._closing.close()

    def _pages(self, loaded: Loaded, port: int | None) -> Server:
        plan, web = loaded.plan, loaded.web
        self._token = secrets.token_urlsafe(32)
        app = build_app(self.pipeline, self.reader, self._token, web.link_base(), plan.simulated)
        return Server(app, web.host, web.port if port is None else port)

    def _call_outs(self, loaded: Loaded) -> OutboxSender:
        plan, link_base = loaded.plan, loaded.web.address or self._server.address

        def in_words(call: CallOwed) -> CallMessage:
            return write(call, plan, link_base)

        outbox = OutboxSender(
            self.pipeline.waiting_calls,
            in_words,
            build_channels(loaded.channels, self.brokers),
            self._inbox.put,
            self._clock,
        )

        def look_for_calls(_: Glance, outcomes: Sequence[Outcome]) -> None:
            if any(isinstance(outcome, CallOwed) for outcome in outcomes):
                outbox.wake()

        self.pipeline.listeners.append(look_for_calls)
        return outbox

    def _listen_to_buttons(self, buttons: tuple[Button, ...]) -> None:
        bounce = Debounce()
        for button in buttons:
            self._listen_to_button(button, bounce)

    def _listen_to_button(self, button: Button, bounce: Debounce) -> None:
        def pressed(heard: Heard) -> None:
            if heard.again or bounce.bounces(button.plan.topic, self._clock.now()):
                return
            try:
                command = press(button.plan, heard.payload, self.pipeline.glance().state)
                answer = self.pipeline.command(command, Actor("button", heard.topic))
                _LOG.info("button %s: %s", heard.topic, answer.sentence)
                self._say(answer.sentence)
            except RimekeeperError as fault:
                _LOG.warning("button %s: %s", heard.topic, fault)
                self._say(str(fault))

        self.brokers[button.mqtt].listen(button.plan.topic, pressed)

    def _announce(self, loaded: Loaded) -> None:
        self._say_topics = [
            (self.brokers[name], settings.say_topic)
            for name, settings in loaded.mqtt.items()
            if settings.say_topic
        ]
        if self._say_topics:
            self.pipeline.listeners.append(announcer(self._say))

    def _remind(self, sentence: str) -> None:
        _LOG.warning("%s", sentence)
        self._say(sentence)

    def _say(self, sentence: str) -> None:
        for broker, topic in self._say_topics:
            broker.publish(topic, sentence)


@contextlib.contextmanager
def _stop_signal() -> Iterator[threading.Event]:
    """An event that is set by SIGTERM or SIGINT."""
    asked = threading.Event()
    before = {
        number: signal.signal(number, lambda *_: asked.set()) for number in (signal.SIGTERM, signal.SIGINT)
    }
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _wait_for(asked: threading.Event, seconds: float | None = None) -> None:
    """Wait, looking up every second: a signal that another thread got is dealt with only when this one moves."""
    ends = None if seconds is None else time.monotonic() + seconds
    while ends is None or time.monotonic() < ends:
        left = LOOK_UP if ends is None else max(0.0, min(LOOK_UP, ends - time.monotonic()))
        if asked.wait(left):
            return


def run(kitchen: Path, data: Path | None, port: int | None) -> None:
    """Watch the kitchen until a signal comes."""
    loaded = load(kitchen)
    folder = data_folder(data, loaded.data_folder)
    make_folder(folder)
    set_up_log(folder / "rimekeeper.log")
    for problem in loaded.problems:
        _LOG.warning("%s", problem)
    house = House(loaded, folder, port)
    with _stop_signal() as asked:
        try:
            house.start()
            console.print(f"Watching {loaded.plan.name}: {house.address}/", markup=False, highlight=False)
            _wait_for(asked)
        finally:
            house.stop()


def demo(port: int, data: Path, seconds: float | None) -> None:
    """Show the simulated kitchen until a signal comes, or for ``seconds``."""
    kitchen = prepare(data, port)
    with contextlib.ExitStack() as closing:
        closing.callback(kitchen.stop)
        kitchen.start()
        found = load(kitchen.kitchen_file)
        loaded = replace(found, plan=replace(found.plan, simulated=True))
        set_up_log(data / "rimekeeper.log")
        console.print("Letting last night happen (simulated) …")
        with Store(kitchen.data_folder) as store:
            store.commit(kitchen.opening(loaded.plan, SystemClock().now()))
        house = House(loaded, kitchen.data_folder, port)
        asked = closing.enter_context(_stop_signal())
        closing.callback(house.stop)
        house.start()
        kitchen.follow(loaded.plan, house.pipeline.glance, house.pipeline.command)
        console.print(
            f"Slipway Ices, a simulated kitchen: {house.address}/\n"
            f"The phones that are called: {kitchen.phones}\n"
            f"Everything is written to {data}. End with Ctrl-C.",
            markup=False, highlight=False,
        )  # fmt: skip
        filler = threading.Thread(
            target=_fill_in, args=(kitchen, loaded.plan, house.pipeline, asked), name="history", daemon=True
        )
        filler.start()
        closing.callback(filler.join, 30.0)
        closing.callback(asked.set)
        _wait_for(asked, seconds)


def _fill_in(kitchen: DemoKitchen, plan: KitchenPlan, pipeline: Pipeline, ended: threading.Event) -> None:
    """Put two weeks of history behind the live screens, newest day first."""
    try:
        for chunk in kitchen.history(plan, progress=pipeline.set_backfill):
            if ended.is_set():
                return
            pipeline.import_history(chunk.commit)
    except RimekeeperError as fault:
        _LOG.error("history could not be filled in: %s", fault)
    finally:
        pipeline.set_backfill("")
