"""Two probes in one place that differ: one of them is wrong, and nobody can say from here which."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import MINUTE, Quality, Reason
from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.sensing.plausible.case import Case, Verdict
from rimekeeper.core.state import ProbeSlot

PATIENCE = MINUTE
"""They may differ for this long: one is faster, or was read a little earlier."""
_DISAGREES = (Quality.UNCERTAIN, Reason.DISAGREES)


def beside(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """Doubt both from a minute of difference on until they agree again, or until a person tested this one.

    Without a fresh reading of the other that would be good by itself nothing new is judged, and a doubt stays.
    """
    if case.probe.beside is None:
        return doubt, None
    other = case.others.get(case.probe.beside)
    if other is None or other.celsius is None or not _comparable(case, other):
        if doubt.disagrees:
            return doubt, _DISAGREES
        return doubt if doubt.apart_since is None else replace(doubt, apart_since=None), None
    since = doubt.apart_since
    if abs(case.celsius - other.celsius) <= case.probe.beside_within.kelvin:
        return doubt if since is None else replace(doubt, apart_since=None, disagrees=False), None
    if since is None:
        return replace(doubt, apart_since=case.taken), None
    if not doubt.disagrees and case.taken - since >= PATIENCE:
        doubt = replace(doubt, disagrees=True)
    return doubt, _DISAGREES if doubt.disagrees else None


def _comparable(case: Case, other: ProbeSlot) -> bool:
    if other.last_at is None or other.silent:
        return False
    if abs(case.taken - other.last_at) > max(PATIENCE, case.probe.silent_after):
        return False
    return other.quality is Quality.GOOD or other.reason is Reason.DISAGREES
