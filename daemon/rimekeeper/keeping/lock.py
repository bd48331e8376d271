"""One daemon for each data folder: a lock file with the holder's process number."""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path

from rimekeeper.core.errors import StoreBusyError, StoreFullError

NAME = "rimekeeper.lock"


class FolderLock:
    """Held until closed or until the process ends, however it ends (the kernel lets go of it)."""

    def __init__(self, folder: Path) -> None:
        """Take the lock.

        Raises:
            StoreBusyError: another process has it; the sentence says which.
            StoreFullError: the folder can't be made or written.
        """
        path = folder / NAME
        make_folder(folder)
        try:
            self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as fault:
            raise _unusable(folder, fault) from fault
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = os.read(self._descriptor, 32).decode("ascii", "replace").strip() or "unknown"
            os.close(self._descriptor)
            raise StoreBusyError(
                f"the data folder {folder} is in use by another Rimekeeper (process {holder}). "
                "Stop that one first, or give this one a folder of its own with --data."
            ) from None
        try:
            os.ftruncate(self._descriptor, 0)
            os.pwrite(self._descriptor, f"{os.getpid()}\n".encode(), 0)
        except OSError as fault:
            self.release()
            raise _unusable(folder, fault) from fault

    def release(self) -> None:
        """Let go; safe to call twice. The file stays: deleting it would let two daemons hold two files."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def make_folder(folder: Path) -> None:
    """Make the data folder when it is missing.

    Raises:
        StoreFullError: it can't be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise _unusable(folder, fault) from fault


def _unusable(folder: Path, fault: OSError) -> StoreFullError:
    remedy = (
        "Free some space on that disk"
        if fault.errno in (errno.ENOSPC, errno.EDQUOT)
        else "Give Rimekeeper the right to write there"
    )
    return StoreFullError(
        f"the data folder {folder} can't be used ({fault.strerror}). "
        f"{remedy}, or choose another folder with --data."
    )
