"""Rows of a replay file."""


def climb(probe: str, start: float, rate: float, seconds: int, begin: int = 1_795_000_000_000) -> str:
    """One reading a second, climbing by ``rate`` K/s."""
    return "".join(f"{begin + s * 1000},{probe},{start + rate * s:.1f}\n" for s in range(seconds))
