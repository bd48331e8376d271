"""Everything the demo needs, in one folder: kitchen file, sheets, ports, broker, phones and the scene."""

from __future__ import annotations

import contextlib
import fcntl
import shutil
from collections.abc import Callable, Iterator
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from string import Template

from rimekeeper.core.commit import Commit
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.model import Instant
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.simulation.broker import EmbeddedBroker, WirelessProbes
from rimekeeper.simulation.history import DAYS, HistoryChunk, Opening, history, opening
from rimekeeper.simulation.pager import Pager
from rimekeeper.simulation.playing import Give, Look, Player
from rimekeeper.simulation.ports import Answerer, Line, Talker
from rimekeeper.simulation.scenario import Scenario

MARK = "simulated.txt"
_SAYS = "Everything in this folder is simulated and is deleted when the demo is started here again.\n"


def prepare(folder: Path, port: int) -> DemoKitchen:
    """Write the demo's kitchen file and sheets, and open its wires. What an earlier demo left here is deleted.

    Args:
        folder: everything the demo writes goes here; made when missing.
        port: port of the pages, for the kitchen file.

    Raises:
        RefusedError: the folder holds something else than an earlier demo, or a demo runs there now.
        OSError: the folder can't be written.
    """
    folder = folder.absolute()
    with contextlib.ExitStack() as undo:
        _claim(folder, undo)
        kitchen = DemoKitchen(folder, port, undo)
        kitchen.closing = undo.pop_all()
    return kitchen


class DemoKitchen:
    """The simulated kitchen. In order: ``prepare``, ``start``, ``opening``, run the daemon, ``follow``, ``stop``."""

    def __init__(self, folder: Path, port: int, undo: contextlib.ExitStack) -> None:
        """Made by :func:`prepare`; what must be undone is put on ``undo``."""
        self.folder = folder
        self.closing = contextlib.ExitStack()
        self.kitchen_file = folder / "kitchen.toml"
        self.data_folder = folder / "store"
        """Where the daemon keeps its store; the same as the kitchen file says."""
        self._stove = _opened(folder / "ports" / "stove", undo)
        self._bench = _opened(folder / "ports" / "bench", undo)
        self.pager = Pager()
        undo.callback(self.pager.stop)
        self._broker = EmbeddedBroker()
        self._opening: Opening | None = None
        self._player: Player | None = None
        self._answerer = Answerer(self._bench, self._answer)
        self._write(port)

    @property
    def phones(self) -> str:
        """The page on which call-outs arrive."""
        return self.pager.address

    def start(self) -> None:
        """Start broker, phones and the instrument that waits to be asked.

        Raises:
            EdgeError: the broker can't run.
        """
        self._broker.start()
        self.closing.callback(self._broker.stop)
        self.pager.start()
        self._answerer.start()
        self.closing.callback(self._answerer.stop)

    def opening(self, plan: KitchenPlan, now: Instant) -> Commit:
        """Simulate up to ``now``; takes a few seconds.

        Returns:
            What a daemon that had run until now would have on disk. Written with the store's ``commit`` before the
            daemon starts, it goes on from there like after any restart.
        """
        self._opening = opening(plan, now)
        return self._opening.commit

    def history(
        self, plan: KitchenPlan, days: int = DAYS, progress: Callable[[str], None] = lambda _: None
    ) -> Iterator[HistoryChunk]:
        """The days before the opening, newest first, each to be given to ``Pipeline.import_history``.

        Raises:
            RefusedError: there was no ``opening`` yet.
        """
        opened = self._opened()
        return history(plan, opened.began, days, progress=progress, records=opened.records)

    def follow(self, plan: KitchenPlan, look: Look, give: Give) -> None:
        """Play the scene: the probes begin to talk, and the crew watches the daemon through ``look``.

        Args:
            plan: the demo's plan.
            look: such as ``Pipeline.glance``.
            give: such as ``Pipeline.command``.

        Raises:
            EdgeError: the demo's own broker can't be reached.
            RefusedError: there was no ``opening`` yet.
        """
        wireless = WirelessProbes(self._broker.port)
        wireless.start()
        self.closing.callback(wireless.stop)
        self._player = Player(Scenario(plan, self._opened()), Talker(self._stove), wireless)
        self._player.start(look, give)
        self.closing.callback(self._player.stop)

    def stop(self) -> None:
        """Stop and close everything; safe to call twice. Files stay in the folder to be looked at."""
        self.closing.close()

    def _opened(self) -> Opening:
        if self._opening is None:
            raise RefusedError("The demo has no opening yet: call opening before this.")
        return self._opening

    def _answer(self) -> str:
        return self._player.bench() if self._player is not None else ""

    def _write(self, port: int) -> None:
        slipway = resources.files("rimekeeper.simulation") / "slipway"
        template = Template((slipway / "kitchen.toml.template").read_text("utf-8"))
        self.kitchen_file.write_text(
            template.substitute(
                web_port=port,
                stove_port=_quoted(self._stove.path),
                bench_port=_quoted(self._bench.path),
                broker_port=self._broker.port,
                pager=self.pager.apprise,
            ),
            "utf-8",
        )
        sheets = self.folder / "sheets"
        sheets.mkdir(exist_ok=True)
        for sheet in _sheets(slipway):
            (sheets / sheet.name).write_text(sheet.read_text("utf-8"), "utf-8")


def _sheets(slipway: Traversable) -> list[Traversable]:
    return [sheet for sheet in (slipway / "sheets").iterdir() if sheet.name.endswith(".toml")]


def _opened(path: Path, undo: contextlib.ExitStack) -> Line:
    line = Line(path)
    undo.callback(line.close)
    return line


def _quoted(path: Path) -> str:
    """A path as the inside of a TOML basic string."""
    return str(path).replace("\\", "\\\\").replace('"', '\\"')


def _claim(folder: Path, undo: contextlib.ExitStack) -> None:
    """Make sure that the folder is ours and ours alone, and empty it of an earlier demo."""
    folder.mkdir(parents=True, exist_ok=True)
    mark = folder / MARK
    if not mark.exists() and any(folder.iterdir()):
        raise RefusedError(
            f"{folder} is not empty and was not made by the demo, so nothing was written there. "
            "Name another folder with --data."
        )
    lock = undo.enter_context(mark.open("a", encoding="utf-8"))
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise RefusedError(
            f"A demo runs in {folder} already. End it first, or name another folder with --data."
        ) from None
    mark.write_text(_SAYS, "utf-8")
    for name in ("store", "sheets", "ports"):
        shutil.rmtree(folder / name, ignore_errors=True)
