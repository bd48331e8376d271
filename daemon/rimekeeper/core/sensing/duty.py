"""What depends on a probe while it reads: it decides which doubts make sense and how fast the probe may move."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Duty:
    """``word`` names the active stage or that it is a station's, "" if nothing depends on it.

    ``fastest`` (K/s) is what its role in a running batch allows; None: the probe's own limit alone.
    """

    word: str = ""
    fastest: float | None = None


NO_DUTY = Duty()
