"""Plays the scene in real time: probes talk on their wires, and the crew gives its commands."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import Protocol

from rimekeeper.core.errors import RimekeeperError
from rimekeeper.core.messages import Command
from rimekeeper.core.model import Actor, Instant, ProbeId
from rimekeeper.core.state import EngineState
from rimekeeper.simulation.broker import WirelessProbes
from rimekeeper.simulation.ports import Talker
from rimekeeper.simulation.scenario import Scenario
from rimekeeper.simulation.workshop import (
    BOWL,
    CABINET_AIR,
    CANISTER_AIR,
    FRIDGE_AIR,
    PAN,
    PORTION,
    SHERBET,
    SHERBET_TUB,
    TRAY_A,
    TRAY_B,
    WALK_IN_AIR,
    WALK_IN_TUB,
)

_LOG = logging.getLogger(__name__)

TURN = 0.25
STOVE_EVERY, WALK_IN_EVERY, PACK_EVERY, PROBES_EVERY = 1.0, 2.0, 4.0, 5.0
LOOK_EVERY = 1.0
MOST_BEHIND = 5.0
"""s; a machine that slept longer than this goes on from where the scene stood."""
_WIRELESS = (PORTION, SHERBET_TUB, TRAY_A, TRAY_B, WALK_IN_TUB)
_PACK = (FRIDGE_AIR, CABINET_AIR, CANISTER_AIR)


class Sight(Protocol):
    """What the crew sees of the running kitchen."""

    @property
    def state(self) -> EngineState:
        """What the engine knows."""


Look = Callable[[], Sight]
Give = Callable[[Command, Actor], object]


class Player:
    """Two threads: one for the equipment, one for the people, so that a slow answer doesn't stop the physics."""

    def __init__(self, scenario: Scenario, stove: Talker, wireless: WirelessProbes) -> None:
        self._scenario, self._stove, self._wireless = scenario, stove, wireless
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._due: dict[str, float] = {}

    def start(self, look: Look, give: Give) -> None:
        """Begin to play.

        Args:
            look: gives the newest view of the kitchen.
            give: gives a command and waits for its answer; may raise RimekeeperError.
        """
        self._threads = [
            threading.Thread(target=self._play, name="simulated equipment", daemon=True),
            threading.Thread(target=self._attend, args=(look, give), name="simulated crew", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Stop and join; safe to call twice."""
        self._stop.set()
        for thread in self._threads:
            thread.join(10.0)
        self._threads = []

    def bench(self) -> str:
        """What the instrument on the bench answers now."""
        with self._lock:
            workshop = self._scenario.workshop
            return f"BOWL {workshop.read(BOWL):.1f} SHERBET {workshop.read(SHERBET):.1f}\r\n"

    def _play(self) -> None:
        before = time.monotonic()
        while not self._stop.wait(TURN):
            now = time.monotonic()
            with self._lock:
                self._scenario.advance(min(now - before, MOST_BEHIND), _wall())
                self._speak(now)
            before = now

    def _speak(self, now: float) -> None:
        workshop, at = self._scenario.workshop, _wall()
        if self._is_due("stove", now, STOVE_EVERY):
            self._stove.say(workshop.read(PAN))
        if self._is_due(WALK_IN_AIR, now, WALK_IN_EVERY):
            self._wireless.say(WALK_IN_AIR, workshop.read(WALK_IN_AIR), at)
        for probe in _WIRELESS:
            if self._is_due(probe, now, PROBES_EVERY):
                self._wireless.say(probe, workshop.read(probe), at)
        if self._is_due("pack", now, PACK_EVERY):
            self._wireless.say_pack({name: workshop.read(name) for name in _PACK}, at)

    def _is_due(self, name: str | ProbeId, now: float, every: float) -> bool:
        if now < self._due.get(name, 0.0):
            return False
        jitter = 0.1 * self._scenario.workshop.noise.random()
        self._due[name] = now + every * (0.95 + jitter)
        return True

    def _attend(self, look: Look, give: Give) -> None:
        while not self._stop.wait(LOOK_EVERY):
            try:
                state = look().state
                with self._lock:
                    given = self._scenario.follow(state, _wall())
                for command, actor in given:
                    give(command, actor)
            except RimekeeperError as fault:
                _LOG.info("the simulated crew was refused: %s", fault)
            except Exception:  # noqa: BLE001 - logged, and the scene goes on
                _LOG.exception("a fault in the simulated crew; it goes on")


def _wall() -> Instant:
    return Instant(time.time_ns() // 1_000_000)
