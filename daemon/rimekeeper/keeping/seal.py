"""The seal of an entry: a hash over the entry and the seal before it, so that no change goes unseen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

FIRST_SEAL = "0" * 64


def seal(before: str, columns: Sequence[object]) -> str:
    """SHA-256 (hex) over the seal before and the entry's stored columns as canonical JSON.

    Args:
        before: the seal of the entry with the number before, or ``FIRST_SEAL``.
        columns: number, at, kind, batch, subject, actor, came_from, why, sentence, facts, as stored.
    """
    text = json.dumps(list(columns), ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(f"{before}\n{text}".encode()).hexdigest()
