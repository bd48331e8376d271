"""The step that fits a response best: two levels, the instant of the plunge and one time constant.

A search and no derivative: the sum of squares has a kink wherever the plunge passes a reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Numbers: TypeAlias = NDArray[np.float64]

_MOST = 600
"""readings looked at for the coarse search."""


@dataclass(frozen=True, slots=True)
class Step:
    """Levels (°C), plunge (s after the first reading), time constant (s), sum of squares left (K²)."""

    start: float
    end: float
    plunge: float
    tau: float
    left: float

    def at(self, t: Numbers) -> Numbers:
        """Temperatures (°C) at seconds after the first reading."""
        return self.end + (self.start - self.end) * np.exp(-np.maximum(t - self.plunge, 0.0) / self.tau)


def search(t: Numbers, y: Numbers) -> Step:
    """The best step: a coarse grid over plunge and time constant, then ever finer ones around the best."""
    thin = np.unique(np.linspace(0, len(t) - 1, min(len(t), _MOST)).astype(np.int64))
    few_t, few_y = t[thin], y[thin]
    whole = float(t[-1])
    # Where it may have been plunged: between any two readings that are looked at, or at the first.
    plunges = np.unique(np.concatenate(([0.0], np.linspace(0.0, whole * 0.9, 60), few_t[:-1][_steep(few_y)])))
    taus = np.geomspace(whole / 1000.0, whole * 2.0, 50)
    best = _best(few_t, few_y, plunges, taus)
    apart, ratio = whole / 40.0, float(taus[1] / taus[0])
    for _ in range(14):
        near = np.clip(np.linspace(best.plunge - apart, best.plunge + apart, 9), 0.0, whole)
        best = _best(t, y, np.append(near, best.plunge), best.tau * np.geomspace(1.0 / ratio, ratio, 9))
        apart, ratio = apart * 0.5, ratio**0.6
    return best


def _steep(y: Numbers) -> NDArray[np.int64]:
    """Where it moves most from one reading to the next."""
    return np.argsort(-np.abs(np.diff(y)))[:10].astype(np.int64)


def _best(t: Numbers, y: Numbers, plunges: Numbers, taus: Numbers) -> Step:
    best: Step | None = None
    middle = float(y.mean())
    z = y - middle
    total, count = float(z @ z), len(z)
    since = np.maximum(t[None, :] - plunges[:, None], 0.0)
    for tau in taus:
        # y = end + (start - end) g: a straight line in g, so both levels come out at once.
        g = np.exp(-since / tau)
        mean_g = g.mean(axis=1)
        sxx = (g * g).sum(axis=1) - count * mean_g**2
        sxy = g @ z
        ok = sxx > 1e-9
        left = np.where(ok, total - np.where(ok, sxy**2 / np.where(ok, sxx, 1.0), 0.0), np.inf)
        at = int(np.argmin(left))
        if best is None or left[at] < best.left:
            height = float(sxy[at] / sxx[at]) if ok[at] else 0.0
            end = middle - height * float(mean_g[at])
            best = Step(end + height, end, float(plunges[at]), float(tau), max(0.0, float(left[at])))
    assert best is not None  # noqa: S101 - there is always a time constant to try
    return best
