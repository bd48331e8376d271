"""A real daemon (or any command of ours) in a process of its own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any, Self


def command(*args: object, timeout: float = 30.0, **env: str) -> subprocess.CompletedProcess[str]:
    """Run one command to its end."""
    return subprocess.run(
        [sys.executable, "-m", "rimekeeper", *map(str, args)],
        capture_output=True,
        text=True,
        timeout=timeout,
        env={**os.environ, "COLUMNS": "200", **env},
        check=False,
    )


class Daemon:
    """``rimekeeper run`` or ``demo`` as a context: terminated at the end, and its last words kept."""

    def __init__(self, port: int, *args: object) -> None:
        self.port = port
        self.address = f"http://127.0.0.1:{port}"
        self.said = ""
        self._args = [sys.executable, "-m", "rimekeeper", *map(str, args)]

    def __enter__(self) -> Self:
        self.process = subprocess.Popen(
            self._args, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.end()

    def end(self, number: int = signal.SIGTERM, timeout: float = 20.0) -> int:
        """Send a signal and return the exit code."""
        self.process.send_signal(number)
        return self.wait(timeout)

    def wait(self, timeout: float) -> int:
        """Wait for its own end; the exit code."""
        try:
            self.said, _ = self.process.communicate(timeout=timeout)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.said, _ = self.process.communicate()
            raise
        return self.process.returncode

    def get(self, path: str) -> dict[str, Any]:
        """A JSON page."""
        with urllib.request.urlopen(self.address + path, timeout=5) as answer:
            return json.load(answer)

    def until(self, what: str, holds: Any, path: str = "/api/now", timeout: float = 30.0) -> dict[str, Any]:
        """Ask for ``path`` until ``holds(page)``; the page, or a failure that names ``what``."""
        ends, page = time.monotonic() + timeout, None
        while time.monotonic() < ends:
            if self.process.poll() is not None:
                self.said = self.process.stdout.read() if self.process.stdout else ""
                raise AssertionError(f"the daemon ended before {what}: {self.said}")
            try:
                page = self.get(path)
                if holds(page):
                    return page
            except (urllib.error.URLError, OSError):
                pass
            time.sleep(0.1)
        raise AssertionError(
            f"{what} did not come within {timeout:g} s; last seen: {json.dumps(page)[:3000]}"
        )


def write(path: Path, text: str) -> Path:
    """Write a file and return it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path
