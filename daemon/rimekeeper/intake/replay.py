"""Playing a CSV of readings through the same pipeline as live probes. The file is the clock."""

from __future__ import annotations

import csv
import io
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rimekeeper.core.decoding.found import shown
from rimekeeper.core.errors import ConfigError
from rimekeeper.core.model import Delivery, Health, Instant, Rejected, Sample, SourceId
from rimekeeper.intake.replay_rows import Row, RowError, RowReader
from rimekeeper.intake.reporter import Reporter
from rimekeeper.runtime.ports import Inbox

LONGEST_ROW = 4_096
ROWS_A_DELIVERY = 500
_TELL_EVERY = 0.2
_FULL_PAUSE = 0.01


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a replay is. ``at`` is the file's own time."""

    bytes_done: int
    bytes_total: int
    readings: int
    refused: int
    at: Instant | None
    done: bool = False


class FileClock:
    """A clock that stands at the newest instant of the file; give it to whoever must live in the file's time."""

    def __init__(self) -> None:
        self._now = Instant(0)

    def now(self) -> Instant:
        """The newest instant handed over so far."""
        return self._now

    def reach(self, instant: Instant) -> None:
        """Move on; never back."""
        self._now = max(self._now, instant)


@dataclass(frozen=True, slots=True)
class _Stored:
    """The receipt of one delivery: tells the replay how much of the file is on disk."""

    readings: int
    tell: Callable[[int], None]

    def settle(self) -> None:
        """Count them."""
        self.tell(self.readings)


class ReplayIntake:
    """A CSV file as an :class:`~rimekeeper.runtime.ports.Intake`; each probe of the file is a channel.

    Readings arrive at the instant at which they were taken. The whole file is never in memory.
    """

    def __init__(
        self,
        file: Path,
        inbox: Inbox,
        *,
        source: str = "replay",
        speed: float | None = None,
        zone: str | None = None,
        progress: Callable[[Progress], None] | None = None,
        clock: FileClock | None = None,
    ) -> None:
        """Open the file and read its first line.

        Args:
            file: CSV with the columns ``time`` (ISO 8601) or ``time_ms``, ``probe``, ``celsius`` or ``fahrenheit``.
            inbox: where readings go; while it is full the replay waits, so nothing is lost.
            source: the name of the source.
            speed: seconds of the file per second; None plays as fast as it goes.
            zone: time zone of times that have no offset; without it such rows are refused.
            progress: told five times a second and at the end, from the replay's thread.
            clock: moved along with the file.

        Raises:
            ConfigError: the file can't be read, or its first line lacks a column.
        """
        self.source = SourceId(source)
        self.clock = clock or FileClock()
        self._file = file
        self._inbox = inbox
        self._speed = speed
        self._progress = progress
        self._reporter = Reporter(self.source, inbox, self.clock)
        self._readings = 0
        self._refused = 0
        self._stored = 0
        self._stop = threading.Event()
        self._done = threading.Event()
        self._thread: threading.Thread | None = None
        try:
            self._total = file.stat().st_size
            with file.open("rb") as stream:
                header = stream.readline(LONGEST_ROW)
            self._rows = RowReader(_cells(header), str(file), zone)
        except OSError as fault:
            raise ConfigError(f"{file} can't be read: {fault.strerror}. Is the path right?") from fault
        except (UnicodeDecodeError, RowError) as fault:
            raise ConfigError(f"{file}, line 1: this is not a CSV file in UTF-8 ({fault})") from fault

    def start(self) -> None:
        """Play in a thread of its own."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name=f"replay {self.source}", daemon=True)
            self._thread.start()

    def stop(self, timeout: float = 5.0) -> None:
        """Stop where it is and join."""
        self._stop.set()
        if (thread := self._thread) is not None:
            thread.join(timeout)

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until the whole file is handed over (or it was stopped); False after ``timeout`` seconds."""
        return self._done.wait(timeout)

    @property
    def readings(self) -> int:
        """Readings handed over so far."""
        return self._readings

    @property
    def stored(self) -> int:
        """Readings whose commit is confirmed."""
        return self._stored

    def _count_stored(self, readings: int) -> None:
        self._stored += readings

    @property
    def refused(self) -> int:
        """Rows refused so far."""
        return self._refused

    def _run(self) -> None:
        try:
            self._play()
        except OSError as fault:
            self._reporter.say(Health.FAILURE, f"{self._file} can't be read any further: {fault.strerror}")
        finally:
            self._done.set()

    def _play(self) -> None:
        began: tuple[float, Instant] | None = None
        told = time.monotonic()
        samples: list[Sample] = []
        rejected: list[Rejected] = []
        place = 0
        for number, end, line in self._lines():
            place = end
            row = self._read(number, line, rejected)
            if row is not None:
                if self._speed is not None:
                    began = began or (time.monotonic(), row.taken_at)
                    self._pace(began, row.taken_at, samples, rejected)
                if self._stop.is_set():
                    break
                samples.append(
                    Sample(self.source, row.probe, row.value, row.scale, row.taken_at, row.taken_at)
                )
            if len(samples) + len(rejected) >= ROWS_A_DELIVERY:
                self._hand_over(samples, rejected)
            if time.monotonic() - told > _TELL_EVERY:
                told = time.monotonic()
                self._tell(place)
            if self._stop.is_set():
                break
        self._hand_over(samples, rejected)
        if not self._stop.is_set():
            self._reporter.say(Health.NORMAL, f"{self._file.name} was played to its end")
        self._tell(place, done=not self._stop.is_set())

    def _lines(self) -> Iterator[tuple[int, int, bytes]]:
        """(line number, bytes up to its end, line) after the first; a longer one comes with its start only."""
        with self._file.open("rb") as stream:
            number = 0
            while line := stream.readline(LONGEST_ROW):
                number += 1
                rest = line
                while len(rest) == LONGEST_ROW and not rest.endswith(b"\n"):
                    rest = stream.readline(LONGEST_ROW)
                if number > 1:
                    yield number, stream.tell(), line

    def _read(self, number: int, line: bytes, rejected: list[Rejected]) -> Row | None:
        if not line.strip():
            return None
        try:
            return self._rows.read(_cells(line))
        except UnicodeDecodeError:
            why = "it is not text in UTF-8"
        except RowError as fault:
            why = str(fault)
        rejected.append(Rejected(self.source, self.clock.now(), shown(line.strip()), f"line {number}: {why}"))
        return None

    def _pace(
        self, began: tuple[float, Instant], taken_at: Instant, samples: list[Sample], rejected: list[Rejected]
    ) -> None:
        """Wait until the row is due; what was read before it goes out first."""
        due = began[0] + (taken_at - began[1]) / 1000.0 / (self._speed or 1.0)
        if (wait := due - time.monotonic()) > 0:
            self._hand_over(samples, rejected)
            self._stop.wait(wait)

    def _hand_over(self, samples: list[Sample], rejected: list[Rejected]) -> None:
        if not samples and not rejected:
            return
        receipt = _Stored(len(samples), self._count_stored)
        delivery = Delivery(self.source, tuple(samples), tuple(rejected), receipt)
        while not self._inbox.deliver(delivery):
            if self._stop.wait(_FULL_PAUSE):
                return
        self._readings += len(samples)
        self._refused += len(rejected)
        if samples:
            self.clock.reach(max(sample.arrived_at for sample in samples))
            self._reporter.say(Health.NORMAL, f"playing {self._file.name}")
        samples.clear()
        rejected.clear()

    def _tell(self, place: int, *, done: bool = False) -> None:
        if self._progress is not None:
            at = self.clock.now() or None
            self._progress(Progress(place, self._total, self._readings, self._refused, at, done))


def _cells(line: bytes) -> list[str]:
    if len(line) == LONGEST_ROW:
        raise RowError("it is too long to be a reading")
    try:
        return next(csv.reader(io.StringIO(line.decode("utf-8").rstrip("\r\n")), strict=True), [])
    except csv.Error as fault:
        raise RowError(f"it is not CSV: {fault}") from None
