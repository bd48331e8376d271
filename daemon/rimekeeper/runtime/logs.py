"""The log: set up once, in plain words, and bounded where a fault may repeat."""

from __future__ import annotations

import contextlib
import logging
import sys
import threading
import time
from collections.abc import Callable
from logging.handlers import RotatingFileHandler
from pathlib import Path

KINDS = 1_000


class RateBound:
    """Says which of many equal messages may be logged: a few a minute for each kind, the rest counted."""

    def __init__(self, per_minute: int, steady: Callable[[], float] = time.monotonic) -> None:
        """Allow ``per_minute`` messages of each kind; ``steady`` gives seconds that only grow."""
        self._most, self._steady = per_minute, steady
        self._seen: dict[str, tuple[float, int, int]] = {}
        self._lock = threading.Lock()

    def allows(self, kind: str) -> int | None:
        """None: keep quiet. A number: say it, and that so many were left out since the last one said."""
        now = self._steady()
        with self._lock:
            if len(self._seen) > KINDS:
                self._seen.clear()
            began, said, left_out = self._seen.get(kind, (now, 0, 0))
            if now - began >= 60.0:
                began, said = now, 0
            if said >= self._most:
                self._seen[kind] = (began, said, left_out + 1)
                return None
            self._seen[kind] = (began, said + 1, 0)
            return left_out


class _File(RotatingFileHandler):
    """The log's file. When its disk is full the error stream still says everything, so it keeps quiet."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802  the base class names it
        if not isinstance(sys.exc_info()[1], OSError):
            super().handleError(record)

    def close(self) -> None:
        """Close; what the full disk did not take is lost here and stands in the error stream."""
        with contextlib.suppress(OSError):
            super().close()


def set_up_log(file: Path | None = None, level: int = logging.INFO) -> None:
    """Send the package's log to the error stream and, if wanted, to a file of at most 4 times 2 MB."""
    handlers: list[logging.Handler] = [logging.StreamHandler(sys.stderr)]
    if file is not None:
        handlers.append(_File(file, maxBytes=2_000_000, backupCount=3, encoding="utf-8"))
    plain = logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%SZ")
    plain.converter = time.gmtime
    log = logging.getLogger("rimekeeper")
    log.setLevel(level)
    for handler in list(log.handlers):
        log.removeHandler(handler)
        handler.close()
    for handler in handlers:
        handler.setFormatter(plain)
        log.addHandler(handler)
    log.propagate = False
