"""Commands: parse, call, print. Filled in at the composition step."""

from __future__ import annotations


def main() -> int:
    """Entry point."""
    return 0
