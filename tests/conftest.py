"""Shared by every test folder."""

from __future__ import annotations

import pytest

WAITING = ("house", "browser", "faults", "simulation", "intake")
"""Folders whose tests wait for real time to pass, or take long: begun first, so that none of them is left over at the
end with every other worker idle."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files of the folders that wait come first; within a folder everything stays as it was."""
    items.sort(key=_turn)


def _turn(item: pytest.Item) -> int:
    folder = item.nodeid.split("/")[1] if item.nodeid.count("/") > 1 else ""
    return WAITING.index(folder) if folder in WAITING else len(WAITING)
