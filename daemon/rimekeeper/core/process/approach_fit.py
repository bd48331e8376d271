"""Fitting how a curve goes on: Newton's law with an unknown far end, from the longest stretch that obeys it.

Newton: the heat flow is proportional to the distance to a far end Z (the ice bath, the cabinet's air, or the
temperature at which the stove and the losses balance), so that ::

    heat(t) = heat(now) + rate * integral (Z - T) / (Z - T(now)) dt

is a straight line in a known integral once Z is chosen; Z at infinity is a straight line in time. Heat is
temperature unless ice forms (see ice_curve). Every Z of a grid is fitted by weighted least squares; its
likelihood, with the errors' autocorrelation allowed for, weighs it against the others. So a curve that can't
tell its far end yet gives a wide interval, and one that can gives a narrow one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rimekeeper.core.process.ice_curve import IceCurve

Array = npt.NDArray[np.float64]

LEAST_NOISE = 0.03
"""Kelvin: the rounding of an ordinary probe's last digit, below which scatter is never believed."""
_COLDEST_AIR = -45.0
_REACH = np.array(
    [
        *np.linspace(0.0, 0.8, 17),
        *np.linspace(0.82, 1.0, 10),
        1.02,
        1.05,
        1.09,
        1.14,
        1.2,
        1.3,
        1.45,
        1.7,
        2.2,
    ]
)
_REACH_WIDTH = np.gradient(_REACH)
_WINDOWS = (8, 12, 17, 24, 34, 48, 68, 96, 128)
_MISFIT = 2.5
_ENDS_MISFIT = 3.0


@dataclass(frozen=True, slots=True)
class Points:
    """A curve to be fitted: seconds before its newest point (rising to 0), °C, readings each stands for."""

    seconds: Array
    celsius: Array
    counts: Array
    noise: float
    """Standard deviation of one reading, K."""


@dataclass(frozen=True, slots=True)
class Fit:
    """One candidate per far end: level and rate of heat now, their covariance, and its weight (sum 1)."""

    level: Array
    rate: Array
    far_end: Array
    """Z in °C; infinite for a straight line."""
    level_variance: Array
    rate_variance: Array
    covariance: Array
    weight: Array
    used: int
    """How many of the newest points obey it."""
    span: float
    """Seconds they cover."""
    whole: bool
    """Whether they are all the points there are."""


def clean(seconds: Array, celsius: Array, counts: Array) -> Points:
    """Estimate the noise from neighbouring readings and leave out single spikes (running median of five)."""
    noise = LEAST_NOISE
    raw = celsius[counts == 1.0]
    if len(raw) >= 5:
        bends = np.abs(raw[2:] - 2.0 * raw[1:-1] + raw[:-2])
        noise = max(noise, 1.4826 * float(np.median(bends)) / math.sqrt(6.0))
    if len(celsius) < 5:
        return Points(seconds, celsius, counts, noise)
    padded = np.concatenate((celsius[:2], celsius, celsius[-2:]))
    around = np.stack([padded[i : i + len(celsius)] for i in range(5)])
    middle = np.median(around, axis=0)
    step = np.median(np.abs(np.diff(around, axis=0)), axis=0)
    good = np.abs(celsius - middle) <= 5.0 * noise + 3.0 * step
    if np.count_nonzero(good) < 3:
        return Points(seconds, celsius, counts, noise)
    return Points(seconds[good], celsius[good], counts[good], noise)


def fit(points: Points, edge: float, start: float, ice: IceCurve | None) -> Fit | None:
    """The weighted candidates from the longest recent stretch that one law describes, or None.

    Args:
        points: the curve.
        edge: the temperature to be reached, °C.
        start: where the curve began, °C: a far end is most likely beyond the edge as seen from there.
        ice: given when the way to the edge goes through freezing.
    """
    best: Fit | None = None
    failures = 0
    total = len(points.seconds)
    for size in _WINDOWS:
        used = min(size, total)
        found, misfit = _fit_window(points, used, edge, start, ice)
        if found is not None:
            if best is None or not misfit:
                best = found
                failures = 0
            else:
                failures += 1
        if used == total or failures >= 2:
            break
    return best


def _fit_window(
    points: Points, used: int, edge: float, start: float, ice: IceCurve | None
) -> tuple[Fit | None, bool]:
    t, y = points.seconds[-used:], points.celsius[-used:]
    counts = points.counts[-used:]
    heat = y if ice is None else ice.heat_at(y)
    per_kelvin = np.ones_like(y) if ice is None else ice.slope_at(y)
    now = float(np.median(y[-3:]))
    ends = _far_ends(edge, start, now)
    if ends is None:
        return None, False
    far, prior = ends
    steps = np.diff(t)
    area = np.concatenate(((0.0,), np.cumsum(0.5 * steps * (y[1:] + y[:-1] - 2.0 * now))))
    area -= area[-1]
    along = t[None, :] - area[None, :] / (far - now)[:, None]
    variance = points.noise**2 * (1.0 / counts + 0.02) * per_kelvin**2
    w = 1.0 / variance
    for _ in range(2):
        sw = w.sum()
        mean_u = along @ w / sw
        mean_h = float(heat @ w / sw)
        du = along - mean_u[:, None]
        dh = heat - mean_h
        suu = (du * du) @ w
        rate = (du * (dh * w)).sum(axis=1) / suu
        level = mean_h - rate * mean_u
        left = dh - rate[:, None] * du
        squares = (left * left) @ w
        best = int(np.argmin(squares))
        sizes = np.abs(left[best]) / np.sqrt(variance)
        w = 1.0 / variance * np.minimum(1.0, 2.0 / np.maximum(sizes, 1e-9))
    dof = max(1.0, used - 3.0)
    z = left[best] * np.sqrt(w)
    misfit = bool(squares[best] / dof > _MISFIT or _ends_off(z))
    together = float(np.clip((z[1:] * z[:-1]).sum() / max(1e-9, float((z * z).sum())), 0.0, 0.9))
    inflation = max(1.0, float(squares[best]) / dof) * (1.0 + together) / (1.0 - together)
    likelihood = np.exp(-0.5 * (squares - squares[best]) / inflation)
    toward = rate * (edge - now) > 0.0
    weight = likelihood * prior * np.where(toward, 1.0, 1e-6)
    total = float(weight.sum())
    if not math.isfinite(total) or total <= 0.0:
        return None, misfit
    return (
        Fit(
            level=level,
            rate=rate,
            far_end=far,
            level_variance=inflation * (1.0 / sw + mean_u**2 / suu),
            rate_variance=inflation / suu,
            covariance=-inflation * mean_u / suu,
            weight=weight / total,
            used=used,
            span=float(t[-1] - t[0]),
            whole=used == len(points.seconds),
        ),
        misfit,
    )


def _ends_off(z: Array) -> bool:
    """Whether the newest or the oldest third of the residuals sits to one side."""
    third = len(z) // 3
    if third < 3:
        return False
    root = math.sqrt(third)
    return (
        abs(float(z[-third:].mean())) * root > _ENDS_MISFIT
        or abs(float(z[:third].mean())) * root > _ENDS_MISFIT
    )


def _far_ends(edge: float, start: float, now: float) -> tuple[Array, Array] | None:
    """Candidate far ends and how likely they are before the curve is looked at."""
    way = edge - start
    if way * (edge - now) <= 0.0 or abs(way) < abs(edge - now):
        way = edge - now
        start = now
    if way == 0.0:
        return None
    reach = np.maximum(_REACH, 1e-6)
    far = start + way / reach
    prior = _REACH_WIDTH * np.where(reach <= 1.0, 1.0, np.exp(-4.0 * (reach - 1.0)))
    beyond = (far - now) * way > 0.02 * abs(way) * abs(way)
    prior = np.where(beyond, prior, 0.0)
    if way < 0.0:
        prior = np.where(far < _COLDEST_AIR, prior * 1e-3, prior)
    if not prior.any():
        return None
    return np.where(beyond, far, now + way), prior
