"""amqtt, a broker that knows only MQTT 3.1.1, in a process of its own (it leaves refused connections open)."""

from __future__ import annotations

import subprocess
import sys
from types import TracebackType
from typing import Self

from support.mosquitto import Broker
from support.ports import free_port, wait_listening

SERVER = """
import asyncio, sys
from amqtt.broker import Broker

async def serve():
    await Broker({
        "listeners": {"default": {"type": "tcp", "bind": "127.0.0.1:" + sys.argv[1]}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }).start()
    await asyncio.Event().wait()

asyncio.run(serve())
"""


class OldBroker:
    """Starts and stops with the ``with`` block; anybody may connect."""

    host = "127.0.0.1"
    tls = False

    def __init__(self) -> None:
        self.port = free_port()
        self.users: dict[str, str] = {}
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self._process = subprocess.Popen(
            [sys.executable, "-c", SERVER, str(self.port)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        assert wait_listening(self.port, 15.0), "amqtt did not start"
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process is not None
        self._process.kill()
        self._process.wait(5)

    publish = Broker.publish
    publish_all = Broker.publish_all
