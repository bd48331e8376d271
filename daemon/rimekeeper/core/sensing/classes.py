"""What a probe's uncertainty would satisfy of the recorder standards, as information and not a certificate.

EN 12830:2018 (recorders) and EN 13485:2023 (thermometers) for chilled and frozen food. The figures are from memory
of the 1999 edition; whoever needs them for an authority checks the standard.
"""

from __future__ import annotations

from dataclasses import dataclass

CLASSES = ((1, 1.0, 0.5), (2, 2.0, 1.0))
"""Class, largest error (K), largest resolution (K). From memory."""
INTERVALS = ((5, "shorter than a day"), (15, "of one to seven days"), (60, "longer than seven days"))
"""Longest recording interval (min) and for which storage or transport. From memory."""
CAUTION = "As information, not a certificate; figures from memory of the 1999 edition: check the standard."
STANDARD = "EN 12830 / EN 13485"


@dataclass(frozen=True, slots=True)
class ClassWords:
    """The class that would be satisfied (None: neither), a sentence on it, one on the interval, and the caution."""

    accuracy_class: int | None
    accuracy: str
    interval_fits: bool
    """Whether the interval is short enough for any use at all."""
    interval: str
    caution: str = CAUTION


def satisfied(expanded_uncertainty: float, resolution: float, interval_ms: int | None) -> ClassWords:
    """What an expanded uncertainty (K, k = 2), a resolution (K) and a learnt interval (ms) would satisfy."""
    found = next(
        (
            (number, largest)
            for number, largest, step in CLASSES
            if 0.0 <= expanded_uncertainty <= largest and 0.0 <= resolution <= step
        ),
        None,
    )
    if found is None:
        accuracy = f"Would satisfy neither class 1 nor class 2 of {STANDARD}."
    else:
        accuracy = f"Would satisfy class {found[0]} (±{found[1]:g} °C) of {STANDARD}."
    fits, interval = _interval(interval_ms)
    return ClassWords(found[0] if found else None, accuracy, fits, interval)


def _interval(interval_ms: int | None) -> tuple[bool, str]:
    if interval_ms is None or interval_ms <= 0:
        return False, "No recording interval learnt yet."
    shortest = next((use for minutes, use in INTERVALS if interval_ms <= minutes * 60_000), None)
    every = f"{interval_ms / 1000:.0f} s" if interval_ms < 120_000 else f"{interval_ms / 60_000:.0f} min"
    if shortest is None:
        return False, f"A reading every {every} is too seldom for any record."
    longer = "" if shortest == INTERVALS[0][1] else " and longer"
    wanted = "of any length" if not longer else f"{shortest}{longer if shortest != INTERVALS[-1][1] else ''}"
    return True, f"A reading every {every} is often enough for a record {wanted}."
