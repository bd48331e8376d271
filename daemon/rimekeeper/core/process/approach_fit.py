"""Fitting how a curve goes on: Newton's law with an unknown far end, from the longest stretch that obeys it.

Newton: the heat flow is proportional to the distance to a far end Z (the ice bath, the cabinet's air, or the
temperature at which the stove and the losses balance), so that ::

    heat(t) = heat(now) + rate * integral (Z - T) / (Z - T(now)) dt

is a straight line in a known integral once Z is chosen; Z at infinity is a straight line in time. Heat is
temperature unless ice forms (see ice_curve). Every Z of a grid is fitted by weighted least squares; its
likelihood, with the errors' autocorrelation allowed for, weighs it against the others. So a curve that can't
tell its far end yet gives a wide interval, and one that can gives a narrow one.

A pan that warms also loses heat by steam, which grows with the vapour pressure; so on the way up T and Z above
are replaced by ``T + wetness * p(T)`` for a second law beside the dry one, and the curve says which fits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rimekeeper.core.process.ice_curve import IceCurve

Array = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]

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
# A bath is often hardly colder than the target; a stove or a freezer goes far beyond it.
_COOLING = _REACH_WIDTH * np.where(_REACH <= 1.0, 1.0, np.exp(-4.0 * (_REACH - 1.0)))
_WARMING = _REACH_WIDTH * np.where(_REACH <= 1.0, 1.0 - 0.85 * _REACH, 0.15 * np.exp(-4.0 * (_REACH - 1.0)))
WETNESS = np.array([0.0, 1.8])
"""K per kPa of the two laws: no steam; steam losing half as much again at 82 °C as the dry walls."""
_LAW_PRIOR = np.array([0.5, 0.5])
_WINDOWS = (24, 44, 76, 128)
_MISFIT = 2.5
_ENDS_MISFIT = 3.5
_FORGETTING = 0.01
_GROUP_NOISE = 0.05
"""Share of one reading's variance that averaging a group never removes."""


@dataclass(frozen=True, slots=True)
class Points:
    """A curve to be fitted: seconds before its newest point (rising to 0), °C, readings each stands for."""

    seconds: Array
    celsius: Array
    counts: Array
    noise: float
    """Standard deviation of one reading, K."""
    bend: Array
    """Second derivative (K/s²) at averaged points, 0 elsewhere."""


@dataclass(frozen=True, slots=True)
class Fit:
    """One candidate per law and far end: level and rate of heat now, their covariance, its weight (sum 1)."""

    level: Array
    rate: Array
    far_end: Array
    """Z as a loss (see :func:`loss`), °C for a dry law; very far for a straight line."""
    decay: Array
    """Share of the distance to the far end covered in a second now (heat per second and kelvin)."""
    wetness: Array
    """K per kPa."""
    level_variance: Array
    rate_variance: Array
    covariance: Array
    weight: Array
    used: int
    """How many of the newest points obey it."""
    span: float
    """Seconds they cover."""
    speeding_up: float
    """Share by which the rate surely grows in a second (1/s): a surface that is still ahead of the probe."""
    whole: bool
    """Whether they are all the points there are."""


def loss(celsius: Array, wetness: Array) -> Array:
    """What a pan loses at ``celsius``, as the dry temperature that would lose as much (Magnus vapour pressure)."""
    bounded = np.minimum(celsius, 150.0)
    return celsius + wetness * 0.6112 * np.exp(17.62 * bounded / (243.12 + np.maximum(bounded, -100.0)))


def clean(seconds: Array, celsius: Array, counts: Array) -> Points:
    """Estimate the noise from neighbouring readings and leave out single spikes (running median of five)."""
    noise = LEAST_NOISE
    raw = celsius[counts == 1.0]
    if len(raw) >= 5:
        bends = np.abs(raw[2:] - 2.0 * raw[1:-1] + raw[:-2])
        noise = max(noise, 1.4826 * float(np.median(bends)) / math.sqrt(6.0))
    good = np.ones(len(celsius), dtype=bool)
    if len(celsius) >= 5:
        padded = np.concatenate((celsius[:2], celsius, celsius[-2:]))
        around = np.stack([padded[i : i + len(celsius)] for i in range(5)])
        ranked = np.sort(around, axis=0)
        steps = np.sort(np.abs(np.diff(around, axis=0)), axis=0)
        good = np.abs(celsius - ranked[2]) <= 5.0 * noise + 1.5 * (steps[0] + steps[1])
    if np.count_nonzero(good) >= 3:
        seconds, celsius, counts = seconds[good], celsius[good], counts[good]
    return _unbend(seconds, celsius, counts, noise)


def _unbend(seconds: Array, celsius: Array, counts: Array, noise: float) -> Points:
    """Put averaged points on the curve: the mean over a width w lies w²/24 of the second derivative beside it."""
    bend = np.zeros_like(celsius)
    if len(celsius) < 3:
        return Points(seconds, celsius, counts, noise, bend)
    slopes = np.diff(celsius) / np.diff(seconds)
    width = 0.5 * (seconds[2:] - seconds[:-2])
    averaged = (counts[2:] > 1.0) & (counts[1:-1] > 1.0) & (counts[:-2] > 1.0)
    bend[1:-1] = np.where(averaged, np.diff(slopes) / width, 0.0)
    celsius = celsius.copy()
    celsius[1:-1] -= width**2 / 24.0 * bend[1:-1]
    return Points(seconds, celsius, counts, noise, bend)


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
    if best is not None and total - best.used >= _WINDOWS[0]:
        return _remember(best, points, edge, start, ice)
    return best


def _remember(recent: Fit, points: Points, edge: float, start: float, ice: IceCurve | None) -> Fit:
    """Weigh the candidates again by what the curve was like before it broke the law.

    A turned knob changes a pan's power, not how it loses heat; stirring a bath changes how fast it takes heat,
    not how cold it is. So the pull towards the far end is remembered on the way up, the far end on the way down.
    """
    older = len(points.seconds) - recent.used + 2
    before = Points(
        points.seconds[:older] - points.seconds[older - 1],
        points.celsius[:older],
        points.counts[:older],
        points.noise,
        points.bend[:older],
    )
    earlier, _ = _fit_window(before, older, edge, start, ice)
    if earlier is None or len(earlier.weight) != len(recent.weight):
        return recent
    if ice is None and float(recent.level[0]) < edge:
        old, new = earlier.decay, recent.decay
        width = 0.25 * max(1e-12, float(np.abs(old) @ earlier.weight))
    else:
        old = new = np.tile(_REACH, len(recent.weight) // len(_REACH))
        width = 0.08
    near = np.exp(-0.5 * ((new[:, None] - old[None, :]) / width) ** 2)
    near *= recent.wetness[:, None] == earlier.wetness[None, :]
    memory = near @ earlier.weight
    weight = recent.weight * (memory / max(1e-12, float(memory.max())) + _FORGETTING)
    return replace(recent, weight=weight / weight.sum())


def _fit_window(
    points: Points, used: int, edge: float, start: float, ice: IceCurve | None
) -> tuple[Fit | None, bool]:
    """The candidates from the newest ``used`` points, and whether those points break the law."""
    y = points.celsius[-used:]
    heat = y if ice is None else ice.heat_at(y)
    now = _median(y[-3:])
    wet = WETNESS if edge > now and ice is None else WETNESS[:1]
    ends = _far_ends(edge, start, now, wet, freezes=ice is not None)
    if ends is None:
        return None, False
    away, law, prior = ends
    grid = 1.0 / away
    columns = _columns(points, used, heat, now, wet)
    certainty = 1.0 / (points.noise**2 * (1.0 / points.counts[-used:] + _GROUP_NOISE))
    if ice is not None:
        certainty /= ice.slope_at(y) ** 2
    w = certainty
    for _ in range(2):
        sw = float(w.sum())
        means = columns @ w / sw
        apart = columns - means[:, None]
        weighted = apart * w
        sums = weighted @ apart.T
        stt, sth, shh = float(sums[0, 0]), float(sums[0, 1]), float(sums[1, 1])
        sta, sah, saa = sums[0, 2:][law], sums[1, 2:][law], sums.diagonal()[2:][law]
        # The regressor of one far end is t - pull * area; its sums follow from the sums of the columns.
        pull = _refined(grid, law, (stt, sta, sth, saa, sah))
        suu = np.maximum(stt - 2.0 * pull * sta + pull**2 * saa, 1e-12 * stt)
        rate = (sth - pull * sah) / suu
        squares = np.maximum(shh - rate**2 * suu, 0.0)
        best = int(np.argmin(squares))
        regressor = apart[0] - pull[best] * apart[2 + law[best]]
        z = (apart[1] - rate[best] * regressor) * np.sqrt(certainty)
        w = certainty / np.maximum(1.0, 0.5 * np.abs(z))
    mean_u = means[0] - pull * means[2:][law]
    level = means[1] - rate * mean_u
    here = loss(level if ice is None else ice.celsius_at(level), wet[law])
    far = loss(np.array([now]), wet)[law] + 1.0 / pull
    decay = rate * pull
    rate = decay * (far - here)
    dof = max(1.0, used - 3.0)
    z = z * np.sqrt(w / certainty)
    scatter = float(squares[best]) / dof
    misfit = scatter > _MISFIT or _ends_off(z)
    together = min(0.9, max(0.0, float(z[1:] @ z[:-1]) / max(1e-9, float(z @ z))))
    inflation = max(1.0, scatter) * (1.0 + together) / (1.0 - together)
    toward = rate * (edge - now) > 0.0
    weight = np.exp(-0.5 * (squares - squares[best]) / inflation) * prior * np.where(toward, 1.0, 1e-6)
    total = float(weight.sum())
    if not math.isfinite(total) or total <= 0.0:
        return None, misfit
    found = Fit(
        level=level,
        rate=rate,
        far_end=far,
        decay=decay,
        wetness=wet[law],
        level_variance=inflation * (1.0 / sw + mean_u**2 / suu),
        rate_variance=inflation / suu,
        covariance=-inflation * mean_u / suu,
        weight=weight / total,
        used=used,
        speeding_up=_speeding_up(sums, inflation) / (1.0 if ice is None else float(ice.slope_at(y[-1:])[0])),
        span=float(points.seconds[-1] - points.seconds[-used]),
        whole=used == len(points.seconds),
    )
    return found, misfit


def _columns(points: Points, used: int, heat: Array, now: float, wet: Array) -> Array:
    """Rows: time, heat, and for each law the integral over time of the loss beyond that of ``now``."""
    t, y = points.seconds[-used:], points.celsius[-used:]
    columns = np.empty((len(wet) + 2, used))
    columns[0], columns[1] = t, heat
    lost = loss(y[None, :], wet[:, None])
    lost -= loss(np.array([now]), wet)[:, None]
    areas = columns[2:]
    areas[:, 0] = 0.0
    steps, bend = np.diff(t), points.bend[-used:]
    np.cumsum(
        0.5 * steps * (lost[:, 1:] + lost[:, :-1]) - steps**3 / 24.0 * (bend[1:] + bend[:-1]),
        axis=1,
        out=areas[:, 1:],
    )
    areas -= areas[:, -1:]
    return columns


def _speeding_up(sums: Array, inflation: float) -> float:
    """By how much the decay of the dry law is below zero with a deviation to spare, or 0."""
    spread = max(float(sums[0, 0] * sums[2, 2] - sums[0, 2] ** 2), 1e-300)
    decay = float(sums[0, 1] * sums[0, 2] - sums[1, 2] * sums[0, 0]) / spread
    return max(0.0, -decay - math.sqrt(inflation * float(sums[0, 0]) / spread))


def _refined(grid: Array, law: Rows, sums: tuple[float, Array, float, Array, Array]) -> Array:
    """The grid of pulls with the best row of each law moved to the least-squares optimum between its neighbours."""
    stt, sta, sth, saa, sah = sums
    spread = np.maximum(stt * saa - sta**2, 1e-300)
    rate = (sth * saa - sah * sta) / spread
    optimum = (rate * sta - sah) / (saa * rate)
    pull = grid.copy()
    size = len(_REACH)
    for first in range(0, len(law), size):
        wanted = float(optimum[first])
        rows = grid[first : first + size]
        row = int(np.argmin(np.abs(rows - wanted))) if math.isfinite(wanted) else 0
        if 0 < row < size - 1 and min(rows[row - 1], rows[row + 1]) < wanted < max(
            rows[row - 1], rows[row + 1]
        ):
            pull[first + row] = wanted
    return pull


def _median(values: Array) -> float:
    """Median of a handful of values (cheaper than numpy's)."""
    ranked = sorted(values.tolist())
    return float(ranked[len(ranked) // 2])


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


def _far_ends(
    edge: float, start: float, now: float, wet: Array, *, freezes: bool
) -> tuple[Array, Rows, Array] | None:
    """Distance from now to each candidate far end (as a loss), its law, and how likely it is beforehand."""
    if edge == now:
        return None
    if (edge - start) * (edge - now) <= 0.0 or abs(edge - start) < abs(edge - now):
        start = now
    way = 1.0 if edge > start else -1.0
    begin, end, here = loss(np.array([[start], [edge], [now]]), wet)
    reach = np.maximum(_REACH, 1e-6)
    far = begin[:, None] + (end - begin)[:, None] / reach
    away = far - here[:, None]
    prior = (_WARMING if way > 0.0 or freezes else _COOLING) * _LAW_PRIOR[: len(wet), None]
    beyond = away * way > 0.0
    prior = np.where(beyond, prior, 0.0)
    if way < 0.0:
        prior = np.where(far < _COLDEST_AIR, prior * 1e-3, prior)
    if not prior.any():
        return None
    law = np.repeat(np.arange(len(wet), dtype=np.intp), len(reach))
    return np.where(beyond, away, way).ravel(), law, prior.ravel()
