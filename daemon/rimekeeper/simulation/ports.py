"""Instruments on real pseudo-terminals: one that talks by itself, one that answers when asked."""

from __future__ import annotations

import os
import select
import threading
import tty
from collections.abc import Callable
from pathlib import Path

_TURN = 0.1
_LONGEST_REQUEST = 64


class Line:
    """The instrument's end of a serial line; ``path`` is what the other side opens.

    A line nobody reads fills up and then loses what is written, as a real one does.
    """

    def __init__(self, path: Path) -> None:
        """Open the pseudo-terminal and make ``path`` lead to it.

        Raises:
            OSError: when there is no pseudo-terminal to be had, or the link can't be made.
        """
        self.path = path
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.symlink_to(os.ttyname(self._theirs))
        self._open = True

    def write(self, text: str) -> bool:
        """Send text; False when the line is full and it was lost."""
        try:
            os.write(self._ours, text.encode("ascii"))
        except (BlockingIOError, OSError):
            return False
        return True

    def read(self, wait: float) -> bytes:
        """What came within ``wait`` seconds."""
        ready, _, _ = select.select([self._ours], [], [], wait)
        try:
            return os.read(self._ours, 1_024) if ready else b""
        except OSError:
            return b""

    def close(self) -> None:
        """Take the link and the line away; safe to call twice."""
        if self._open:
            self._open = False
            self.path.unlink(missing_ok=True)
            os.close(self._ours)
            os.close(self._theirs)


class Talker:
    """An instrument that writes a running number and its value: ``00417,66.4``."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.lost = 0
        self._number = 0

    def say(self, celsius: float) -> None:
        """Write one line."""
        self._number = (self._number + 1) % 100_000
        if not self.line.write(f"{self._number:05d},{celsius:.1f}\n"):
            self.lost += 1


class Answerer:
    """An instrument that says nothing unless asked; ``answer`` makes the text of a reply."""

    def __init__(self, line: Line, answer: Callable[[], str], request: bytes = b"T?\r\n") -> None:
        self.line = line
        self.answered = 0
        self._answer = answer
        self._request = request
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"simulated {line.path.name}", daemon=True)

    def start(self) -> None:
        """Begin to listen in a thread of its own."""
        self._thread.start()

    def stop(self) -> None:
        """Stop listening and join."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(5.0)

    def _run(self) -> None:
        heard = b""
        while not self._stop.is_set():
            heard += self.line.read(_TURN)
            while self._request in heard:
                _, _, heard = heard.partition(self._request)
                if self.line.write(self._answer()):
                    self.answered += 1
            heard = heard[-_LONGEST_REQUEST:]
