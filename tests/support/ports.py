"""Free TCP ports for servers that tests start."""

from __future__ import annotations

import contextlib
import socket
import time


def free_port() -> int:
    """A port on the loopback address that nobody listens on now (another program could still take it)."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_listening(port: int, timeout: float = 5.0, host: str = "127.0.0.1") -> bool:
    """Whether something accepts connections on the port before ``timeout`` seconds have passed."""
    end = time.monotonic() + timeout
    while time.monotonic() < end:
        with contextlib.suppress(OSError), socket.create_connection((host, port), timeout=0.5):
            return True
        time.sleep(0.01)
    return False
