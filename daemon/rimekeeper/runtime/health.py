"""Is the pipeline alive and current? What ``/healthz`` says."""

from __future__ import annotations

from dataclasses import dataclass

from rimekeeper.core.model import Instant
from rimekeeper.runtime.ports import Glance

COMMIT_WITHIN = 30_000
"""Even an idle kitchen is written down every ten seconds; three times that, in ms, means that it is not."""
READING_WITHIN = 120_000


@dataclass(frozen=True, slots=True)
class Verdict:
    """``ok`` and one sentence that says why; ``facts`` are JSON scalars."""

    ok: bool
    says: str
    facts: dict[str, str | int | float | bool | None]


def judge(glance: Glance, now: Instant) -> Verdict:
    """Judge a view of the kitchen as of ``now``.

    Alive: the pipeline turns. Current: something was committed lately, and where probes are planned, a reading
    came in lately (twice the longest silence that any probe is allowed, two minutes at least).
    """
    pulse = glance.pulse
    commit_age = now - (pulse.last_commit or pulse.started_at)
    reading_age = now - (pulse.last_reading or pulse.started_at)
    allowed = max(
        [READING_WITHIN, *(2 * probe.silent_after for probe in glance.plan.probes.values())],
    )
    if not pulse.alive:
        says = "The pipeline stands still. Restart Rimekeeper; if it happens again, look into its log."
    elif pulse.store_trouble:
        says = f"Readings can't be stored: {pulse.store_trouble}"
    elif commit_age > COMMIT_WITHIN:
        says = f"Nothing was stored for {commit_age // 1_000} s."
    elif glance.plan.probes and reading_age > allowed:
        says = f"No reading came from any probe for {reading_age // 1_000} s. Look at the probes page."
    else:
        says = ""
    return Verdict(
        ok=not says,
        says=says or "Rimekeeper is watching.",
        facts={
            "alive": pulse.alive,
            "started_at": pulse.started_at,
            "last_commit": pulse.last_commit,
            "last_commit_age_seconds": round(commit_age / 1_000, 1),
            "last_reading": pulse.last_reading,
            "last_reading_age_seconds": round(reading_age / 1_000, 1),
            "readings_stored": pulse.readings_stored,
            "backlog": pulse.backlog,
            "store_trouble": pulse.store_trouble,
            "calls_waiting": glance.calls.waiting,
            "calls_failed": glance.calls.failed,
        },
    )
