"""What is wrong in a file: where, what, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from rimekeeper.core.errors import ConfigError


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file, or (``warning``) one that is only worth a look.

    ``key`` is the full dotted key with positions from 1 (``mqtt.house.topics[2].filter``); ``place`` the same
    for people (``mqtt "house", topics 2, filter``). Its text is one line.
    """

    file: str
    key: str
    line: int | None
    message: str
    remedy: str = ""
    place: str = ""
    severity: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        where = [self.file]
        if self.line is not None:
            where.append(f"line {self.line}")
        if self.place or self.key:
            where.append(self.place or self.key)
        ends = "" if not self.remedy or self.message.endswith((".", "!", "?")) else "."
        mark = "worth a look: " if self.severity == "warning" else ""
        return f"{', '.join(where)}: {mark}{self.message}{ends}{' ' if self.remedy else ''}{self.remedy}"


class KitchenFileError(ConfigError):
    """The kitchen file (or a sheet) can't be used; every problem found is in ``problems``, one a line of the text."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))
