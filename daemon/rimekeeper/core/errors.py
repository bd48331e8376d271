"""The exception tree of the whole package.

::

    RimekeeperError            says what is wrong, where, and what to do; its text is shown to a person
    ├── ConfigError            a kitchen file or a batch sheet can't be used (carries every problem found)
    ├── RefusedError           a person asked for something that the rules don't allow; nothing was changed
    ├── StoreError             the store can't be opened or written
    │   ├── StoreNewerError    the file was written by a later version
    │   ├── StoreBusyError     another daemon holds the data folder, or the file is locked
    │   └── StoreFullError     no space left, or the folder is read-only
    ├── EdgeError              a port, broker or channel failed for now
    └── OutOfRangeError        a computation was asked for outside its stated validity

Anything else that escapes is a fault of ours.
"""

from __future__ import annotations


class RimekeeperError(Exception):
    """Base of every error whose text is meant for a cook or a technician."""


class ConfigError(RimekeeperError):
    """A kitchen file or a batch sheet can't be used."""


class RefusedError(RimekeeperError):
    """A command that the rules don't allow; the state is as it was."""


class StoreError(RimekeeperError):
    """The store can't be opened or written."""


class StoreNewerError(StoreError):
    """The database was written by a later version than this one."""


class StoreBusyError(StoreError):
    """Another daemon holds the data folder, or the database stays locked."""


class StoreFullError(StoreError):
    """No space left on the disk, or the folder can't be written."""


class EdgeError(RimekeeperError):
    """A port, broker or channel failed for now; whoever called decides whether to try again."""


class OutOfRangeError(RimekeeperError, ValueError):
    """A computation was asked for outside its stated range of validity."""
