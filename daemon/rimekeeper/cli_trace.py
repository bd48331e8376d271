"""Following a probe under test from the terminal: the test begun and surely ended, the line that shows what it does."""

from __future__ import annotations

import time
import urllib.parse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from rich.live import Live
from rich.text import Text

from rimekeeper.cli_common import complain, console, say
from rimekeeper.core.errors import EdgeError, RefusedError
from rimekeeper.remote import Contact, ask, give, give_to

PAUSE = 1.0
"""Seconds between two looks."""
BLOCKS = "\N{LOWER ONE EIGHTH BLOCK}▂▃▄▅▆▇\N{FULL BLOCK}"
WIDTH = 40
MINUTES = 120
"""A test that the terminal begins ends by itself after this long, should it never be ended."""

View = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Bench:
    """A probe under test and who tests it."""

    contact: Contact
    probe: str
    who: str

    def look(self, **query: int) -> View:
        """What it shows without correction, and what is missing yet for it to be steady; see the address."""
        return ask(self.contact, f"{self._path}/steadiness", **{name: str(at) for name, at in query.items()})

    def known(self) -> View:
        """The probe as it is, as an instrument, and its records."""
        return ask(self.contact, self._path)

    def offer(self, what: str, **body: Any) -> dict[str, Any]:
        """Post points or a plunge; with ``keep=True`` it is kept."""
        return give_to(
            self.contact, f"{self._path}/{what}", {**body, "who": self.who, "where": "command line"}
        )

    @contextmanager
    def tested(self, why: str) -> Iterator[None]:
        """Begin the test, and end it whatever happens."""
        self._give("begin-test", why=why, minutes=MINUTES)
        try:
            yield
        finally:
            self._end()

    def _end(self) -> None:
        try:
            self._give("end-test")
        except RefusedError as fault:  # somebody ended it at a screen, or its time was over
            say(str(fault))
        except EdgeError as fault:
            complain(f"{fault} The test of {self.probe} may still go on; it ends by itself.")

    def _give(self, command: str, **more: Any) -> None:
        body = {"command": command, "probe": self.probe, **more, "who": self.who, "where": "command line"}
        say(give(self.contact, body)["sentence"])

    @property
    def _path(self) -> str:
        return f"/api/probes/{urllib.parse.quote(self.probe, safe='')}"


def follow(
    look: Callable[[], View], until_so: Callable[[View], str], patience: float, complaint: str
) -> View:
    """Show what ``look`` sees until ``until_so`` says "" (else what is missing); the last view.

    On a terminal one line moves; elsewhere a line is written whenever what is missing changes its first words.

    Raises:
        RefusedError: it did not come within ``patience`` seconds.
    """
    ends, said = time.monotonic() + patience, ""
    with Live(console=console, auto_refresh=False, transient=True) as live:
        while True:
            view = look()
            missing = until_so(view)
            if console.is_terminal:
                live.update(_line(view, missing), refresh=True)
            elif (words := missing.split(":")[0].split(" by ")[0]) != said:
                said = words
                say(f"{view['last_shown']}  {missing or 'steady'}")
            if not missing:
                return view
            if time.monotonic() > ends:
                raise RefusedError(
                    f"{complaint} within {patience / 60:.0f} min. Last: {missing} Nothing was kept."
                )
            time.sleep(PAUSE)


def _line(view: View, missing: str) -> Text:
    line = Text(no_wrap=True, overflow="ellipsis")
    line.append(f"{view['last_shown']:>10} ", style="bold")
    line.append(f"{blocks(view['values'])} ")
    line.append(missing or "steady")
    return line


def blocks(values: list[float]) -> str:
    """The last values as a line of blocks, scaled to their own range; "" without any."""
    if not values:
        return ""
    step = max(1, len(values) // WIDTH)
    shown = values[::-1][::step][:WIDTH][::-1]
    low, high = min(shown), max(shown)
    size = max(high - low, 0.2)
    return "".join(BLOCKS[min(7, int((one - low) / size * 8))] for one in shown)
