"""The step that fits a response best: two levels, the instant of the plunge and one time constant.

A search and no derivative: the sum of squares has a kink wherever the plunge passes a reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Numbers: TypeAlias = NDArray[np.float64]
Which: TypeAlias = NDArray[np.bool_]

_MOST = 400
"""readings looked at for the coarse search."""
_FEW = 12
"""readings, and fewer are not cut down further."""
_ASIDE = 30.0
"""time constants before and after the plunge that say something about the step."""


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


def until_taken_out(y: Numbers) -> int:
    """How many readings come before it is taken out again, if it is: the last is far from where it had gone."""
    smooth = np.median(np.stack((np.append(y[1:], y[-1]), y, np.append(y[0], y[:-1]))), axis=0)
    gone = smooth - smooth[0]
    furthest = gone[int(np.argmax(np.abs(gone)))]
    if furthest == 0.0 or gone[-1] / furthest > 0.9:
        return len(y)
    return int(np.nonzero(gone / furthest >= 0.97)[0][-1]) + 1


def around(t: Numbers, y: Numbers) -> Which:
    """Which readings are near the step: a long wait before or after it must not coarsen the search."""
    near = np.ones(len(t), dtype=np.bool_)
    for _ in range(4):
        where = np.nonzero(near)[0]
        begins = float(t[where[0]])
        found = _coarse(t[where] - begins, y[where])
        away = t - begins - found.plunge
        closer = near & (np.abs(away) <= _ASIDE * found.tau)
        if closer.sum() == near.sum() or closer.sum() < _FEW or np.ptp(t[closer]) <= 0.0:
            break
        near = closer
    return near


def search(t: Numbers, y: Numbers) -> Step:
    """The best step: a coarse grid over plunge and time constant, then ever finer ones around the best."""
    best = _coarse(t, y)
    whole = float(t[-1])
    apart, ratio = whole / 40.0, 1.25
    for _ in range(40):
        plunges = np.append(
            np.clip(np.linspace(best.plunge - apart, best.plunge + apart, 9), 0.0, whole), best.plunge
        )
        new = _best(t, y, plunges, best.tau * np.geomspace(1.0 / ratio, ratio, 9))
        # At the edge of what was looked at: look on from there, without looking closer.
        if abs(new.plunge - best.plunge) < 0.9 * apart:
            apart *= 0.5
        if ratio**-0.9 < new.tau / best.tau < ratio**0.9:
            ratio **= 0.5
        best = new
        if apart < 1e-4 * best.tau and ratio < 1.0 + 1e-5:
            break
    return best


def _coarse(t: Numbers, y: Numbers) -> Step:
    thin = np.unique(np.linspace(0, len(t) - 1, min(len(t), _MOST)).astype(np.int64))
    few_t, few_y = t[thin], y[thin]
    whole = float(t[-1])
    # It may have been plunged anywhere, at the first reading too, and most likely where it moves most.
    steep = np.argsort(-np.abs(np.diff(few_y)))[:10].astype(np.int64)
    plunges = np.unique(np.concatenate((np.linspace(0.0, whole * 0.95, 60), few_t[:-1][steep])))
    return _best(few_t, few_y, plunges, np.geomspace(whole / 1000.0, whole * 2.0, 40))


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
