"""A real MQTT broker inside the demo, and the wireless probes that publish to it."""

from __future__ import annotations

import asyncio
import json
import logging
import socket
import threading
from collections.abc import Mapping
from typing import Any

from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from rimekeeper.core.errors import EdgeError
from rimekeeper.core.model import Instant

HOST = "127.0.0.1"
_PATIENCE = 10.0


class EmbeddedBroker:
    """MQTT 3.1.1 on the loopback address only, open to anybody there; in a thread with its own event loop."""

    def __init__(self, port: int | None = None) -> None:
        """Prepare; ``port`` None takes a free one."""
        self.port = port if port is not None else free_port()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._ready = threading.Event()
        self._fault: Exception | None = None
        self._ending: asyncio.Event | None = None

    def start(self) -> None:
        """Serve; returns once it does.

        Raises:
            EdgeError: the broker package is missing, or the port can't be had.
        """
        logging.getLogger("amqtt").setLevel(logging.CRITICAL)
        logging.getLogger("transitions").setLevel(logging.WARNING)
        self._thread = threading.Thread(target=self._run, name="simulated broker", daemon=True)
        self._thread.start()
        if not self._ready.wait(_PATIENCE):
            self.stop()
            raise EdgeError("The demo's broker did not start in time; try again.")
        if self._fault is not None:
            self._thread.join(_PATIENCE)
            raise EdgeError(f"The demo's broker can't run: {self._fault}") from self._fault

    def stop(self) -> None:
        """End it and join; safe to call twice."""
        loop, ending, thread = self._loop, self._ending, self._thread
        if thread is None or not thread.is_alive():
            return
        if loop is not None and ending is not None:
            loop.call_soon_threadsafe(ending.set)
        thread.join(_PATIENCE)

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as fault:  # noqa: BLE001 - told to whoever starts it
            self._fault = fault
        finally:
            self._ready.set()

    async def _serve(self) -> None:
        try:
            from amqtt.broker import Broker  # noqa: PLC0415  heavy, and only the demo needs it
        except ImportError:
            raise EdgeError('the package "amqtt" is missing; install rimekeeper[demo]') from None
        self._loop, self._ending = asyncio.get_running_loop(), asyncio.Event()
        broker = Broker(_settings(self.port))
        await broker.start()
        self._ready.set()
        try:
            await self._ending.wait()
        finally:
            await broker.shutdown()
            await _settle()


def _settings(port: int) -> dict[str, Any]:
    return {
        "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }


async def _settle() -> None:
    """End what the broker left running, so that the loop closes without complaint."""
    left = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
    for task in left:
        task.cancel()
    await asyncio.gather(*left, return_exceptions=True)


def free_port() -> int:
    """A TCP port of the loopback address that nobody uses at present."""
    with socket.create_server((HOST, 0)) as server:
        return int(server.getsockname()[1])


class WirelessProbes:
    """Publishes readings at QoS 1: one JSON message a probe, or one SenML pack for several."""

    def __init__(self, port: int, client_id: str = "slipway-probes") -> None:
        self._port = port
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTProtocolVersion.MQTTv311
        )
        self._client.max_queued_messages_set(2_000)
        self._client.reconnect_delay_set(1, 5)

    def start(self) -> None:
        """Connect.

        Raises:
            EdgeError: nobody listens there.
        """
        try:
            self._client.connect(HOST, self._port, keepalive=30)
        except OSError as fault:
            raise EdgeError(f"The demo's broker can't be reached: {fault}") from fault
        self._client.loop_start()

    def stop(self) -> None:
        """Disconnect and join."""
        self._client.disconnect()
        self._client.loop_stop()

    def say(self, channel: str, celsius: float, at: Instant) -> MQTTMessageInfo:
        """One probe's reading with the probe's own time stamp."""
        payload = json.dumps({"celsius": round(celsius, 4), "at": at}, separators=(",", ":"))
        return self._client.publish(f"slipway/{channel}/temperature", payload, qos=1)

    def say_pack(self, celsius: Mapping[str, float], at: Instant) -> MQTTMessageInfo:
        """Several readings of one instant as a SenML pack (RFC 8428)."""
        records: list[dict[str, Any]] = [{"n": name, "v": round(v, 4)} for name, v in celsius.items()]
        base: dict[str, Any] = {"bn": "slipway:", "bt": at / 1_000, "bu": "Cel"}
        pack = [{**base, **records[0]}, *records[1:]]
        return self._client.publish("slipway/cold-rooms", json.dumps(pack, separators=(",", ":")), qos=1)
