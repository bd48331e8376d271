"""Looking up by topic what was filed under topic filters."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Generic, TypeVar

from paho.mqtt.matcher import MQTTMatcher

V = TypeVar("V")


class FilterTree(Generic[V]):
    """Values under topic filters, wildcards and shared subscriptions included."""

    def __init__(self) -> None:
        self._tree: Any = MQTTMatcher()  # type: ignore[no-untyped-call]

    def file(self, name: str, value: V) -> None:
        """File a value under a filter, in place of what was there."""
        self._tree[plain_filter(name)] = value

    def fitting(self, topic: str) -> Iterator[V]:
        """Every value whose filter fits the topic, in no order."""
        yield from self._tree.iter_match(topic)


def plain_filter(name: str) -> str:
    """The filter by which messages of a shared subscription (``$share/group/filter``) are known."""
    parts = name.split("/", 2)
    return parts[2] if parts[0] == "$share" and len(parts) == 3 else name
