"""Work that others want done in the pipeline's thread, where alone the store may be written."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass


@dataclass
class _Errand:
    work: Callable[[], object]
    answer: Future[object]


class Errands:
    """A queue of them; asked for from any thread, run by the pipeline between two turns."""

    def __init__(self) -> None:
        self._waiting: deque[_Errand] = deque()

    def __bool__(self) -> bool:
        return bool(self._waiting)

    def ask(self, work: Callable[[], object]) -> Future[object]:
        """Queue it; the answer brings what it returned or raised."""
        answer: Future[object] = Future()
        self._waiting.append(_Errand(work, answer))
        return answer

    def run(self) -> None:
        """Run those that are still wanted."""
        while self._waiting:
            errand = self._waiting.popleft()
            if not errand.answer.set_running_or_notify_cancel():
                continue
            try:
                errand.answer.set_result(errand.work())
            except Exception as fault:  # noqa: BLE001 - it belongs to whoever asked
                errand.answer.set_exception(fault)
