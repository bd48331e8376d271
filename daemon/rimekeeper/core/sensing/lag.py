"""How a probe lags behind: its time constant from a plunge, and where it is heading.

A probe of first order follows dTi/dt = (T - Ti) / tau. So T is about Ti + tau dTi/dt: a guess for prompts and
forecasts, never for proving a critical limit, where what the probe shows is the safe side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.sensing.step_search import Numbers, Step, around, search, until_taken_out

SMALLEST_STEP = 10.0
"""K."""
FEWEST = 6
"""readings during the rise, from 2 % to 98 % of it."""
SETTLED = 3.0
"""time constants after the plunge (95 %) must be there."""
FOREIGN = 0.04
"""of the step, root mean square left by the fit: more is no step at all."""
UNLIKE = 0.003
"""of the step, left by the fit: more, and more than the noise, is not of first order."""

GAP = 5.0
"""times the typical interval: no slope across it."""
FEWEST_FOR_SLOPE = 3
TRAIL = 6

_NO_TEMPERATURE = 1e4


@dataclass(frozen=True, slots=True)
class StepFit:
    """A step response: levels (°C), the plunge (ms), time constant and its expanded uncertainty (k = 2), both s.

    ``seconds_63`` and ``seconds_90`` are read off the readings themselves and not off the fit (s after the plunge):
    of first order they are tau and 2.303 tau. ``residual`` is the root mean square (K) that the fit leaves.
    """

    began_celsius: float
    ended_celsius: float
    plunged_ms: int
    seconds: float
    uncertainty: float
    seconds_63: float
    seconds_90: float
    residual: float
    readings: int
    first_order: bool
    remark: str
    """What a person must know of the fit; empty when all is plain."""


@dataclass(frozen=True, slots=True)
class NoStep:
    """Why no step could be fitted and what to do: one sentence or two for a technician."""

    why: str


_NOT_ONE_STEP = NoStep(
    "This is not one step: plunge the probe once, from a steady temperature into another, and leave it there until it "
    "has settled."
)
_TOO_FAST = NoStep(
    f"Fewer than {FEWEST} readings came during the rise: let the probe send more often, or take it as fast enough for "
    "what it is used for."
)


def fit_step(times_ms: Sequence[int], shown: Sequence[float]) -> StepFit | NoStep:
    """Find the plunge in what a probe showed (°C) at instants (ms), and how fast it followed.

    Least squares over the two levels, exactly, and over plunge and time constant by search. Never raises. The
    uncertainty is the fit's alone: another medium or less stirring is another time constant.
    """
    pairs = sorted(
        (at, value)
        for at, value in zip(times_ms, shown, strict=False)
        if -_NO_TEMPERATURE < value < _NO_TEMPERATURE
    )
    if len(pairs) < FEWEST:
        return NoStep(f"Only {len(pairs)} readings: plunge again and wait until the probe has settled.")
    began = pairs[0][0]
    t = np.array([at - began for at, _ in pairs], dtype=np.float64) / 1000.0
    y = np.array([value for _, value in pairs], dtype=np.float64)
    if t[-1] <= 0.0:
        return NoStep(
            "All readings carry the same instant: look to the clock of the probe, and plunge again."
        )
    if np.ptp(y) < SMALLEST_STEP:
        return NoStep(
            f"The probe moved by {np.ptp(y):.1f} K only, which tells nothing: plunge it from ice into hot water, "
            f"{SMALLEST_STEP:g} K apart at least."
        )
    whole = len(y)
    until = until_taken_out(y)
    t, y = t[:until], y[:until]
    if until < FEWEST or t[-1] <= 0.0:
        return _NOT_ONE_STEP
    near = around(t, y)
    began += round(float(t[near][0]) * 1000.0)
    t, y = t[near] - t[near][0], y[near]
    if len(y) < FEWEST:
        return _TOO_FAST
    found, near_step = search(t, y), len(y)
    # A large spike hides a small one: look again once it is gone.
    for _ in range(3):
        spikes = _spikes(y - found.at(t), _step_of(y), abs(found.end - found.start))
        if not spikes.any():
            break
        t, y = t[~spikes], y[~spikes]
        found = search(t, y)
    remarks = []
    if until < whole:
        remarks.append("What came after it was taken out again is left out.")
    if len(y) < near_step:
        remarks.append(f"Left out as spikes: {near_step - len(y)}.")
    return _refused(t, y, found) or _told(t, y, found, began, remarks)


def _step_of(y: Numbers) -> float:
    """The smallest step between different readings (K): their resolution, or almost nothing."""
    different = np.unique(np.round(y, 6))
    return float(np.diff(different).min()) if len(different) > 1 else 0.0


def _spikes(rest: Numbers, step: float, height: float) -> NDArray[np.bool_]:
    """Lone readings far off what both their neighbours leave: at most one in twenty."""
    if len(rest) < 20:
        return np.zeros(len(rest), dtype=np.bool_)
    usual = max(1.4826 * float(np.median(np.abs(rest))), step / 2.0, 0.005 * height)
    beside = np.median(np.stack((np.roll(rest, 1), rest, np.roll(rest, -1))), axis=0)
    far = np.abs(rest - beside) > 8.0 * usual
    far[0] = far[-1] = False
    return far if far.sum() <= len(rest) / 20 else np.zeros(len(rest), dtype=np.bool_)


def _refused(t: Numbers, y: Numbers, found: Step) -> NoStep | None:
    height = abs(found.end - found.start)
    after = float(t[-1]) - found.plunge
    if np.sqrt(found.left / len(y)) > FOREIGN * max(height, 1e-9):
        return _NOT_ONE_STEP
    if after < SETTLED * found.tau:
        needed = f" and about {5.0 * found.tau:.0f} s are needed" if found.tau < after else ""
        return NoStep(
            f"The probe had not settled: only {after:.0f} s after the plunge were there{needed}. Plunge it again, and "
            "wait until it moves no more."
        )
    if height < SMALLEST_STEP:
        return NoStep(
            f"The step was {height:.1f} K only: plunge it from ice into hot water, {SMALLEST_STEP:g} K apart at least."
        )
    done = 1.0 - np.exp(-np.maximum(t - found.plunge, 0.0) / found.tau)
    rising = int(((done > 0.02) & (done < 0.98)).sum())
    if rising < FEWEST:
        return _TOO_FAST
    return None


def _told(t: Numbers, y: Numbers, found: Step, began: int, remarks: list[str]) -> StepFit:
    height = found.end - found.start
    residual = float(np.sqrt(found.left / len(y)))
    rest = y - found.at(t)
    noise = max(_scatter(rest), _step_of(y) / math.sqrt(12.0))
    first_order = residual <= max(UNLIKE * abs(height), 1.5 * noise)
    t63 = _crossed(t, y, found, 1.0 - math.exp(-1.0))
    t90 = _crossed(t, y, found, 0.9)
    u = _tau_u(t, y, found)
    if not first_order:
        # Rectangular, over the time constants that one part or another of the curve would tell.
        told = (found.tau, t63, t90 / math.log(10.0))
        u = math.hypot(
            u, max(abs(one - found.tau) for one in told) / math.sqrt(3.0), residual / abs(height) * found.tau
        )
        remarks.append(
            f"Not quite of first order (63 % after {t63:.1f} s, 90 % after {t90:.1f} s): the uncertainty is larger for it."
        )
    if int((t <= found.plunge).sum()) < 2:
        remarks.append(
            "The steady stretch before the plunge is missing; its times count from the first reading."
        )
    return StepFit(
        found.start,
        found.end,
        began + round(found.plunge * 1000.0),
        found.tau,
        2.0 * u,
        t63,
        t90,
        residual,
        len(y),
        first_order,
        " ".join(remarks),
    )


def _scatter(rest: Numbers) -> float:
    """Standard deviation (K) of one reading, from the steps between neighbours, so that a slow misfit has no part.

    Without the largest twentieth of them (the kink at the plunge), which leaves 0.87 of a normal distribution's.
    """
    steps = np.sort(np.abs(np.diff(rest)))[: max(1, len(rest) * 19 // 20)]
    return float(np.sqrt(np.mean(steps**2) / 2.0)) / 0.87


def _crossed(t: Numbers, y: Numbers, found: Step, share: float) -> float:
    """Seconds after the plunge at which the readings have done a share of the step and stay beyond it."""
    done = (y - found.start) / (found.end - found.start)
    short = np.nonzero((done < share) & (t <= found.plunge + 5.0 * found.tau))[0]
    if len(short) == 0:
        return 0.0
    at = int(short[-1])
    if at == len(t) - 1 or done[at + 1] <= done[at]:
        return max(0.0, float(t[at]) - found.plunge)
    # The readings cannot have risen before the plunge, however long before it the last one came.
    start, reached = (float(t[at]), float(done[at])) if t[at] > found.plunge else (found.plunge, 0.0)
    part = (share - reached) / (float(done[at + 1]) - reached)
    return max(0.0, start + part * (float(t[at + 1]) - start) - found.plunge)


def _tau_u(t: Numbers, y: Numbers, found: Step) -> float:
    """Standard uncertainty of the time constant (s), from the curvature of the sum of squares."""
    since = np.maximum(t - found.plunge, 0.0)
    g = np.exp(-since / found.tau)
    height = found.start - found.end
    by_tau = height * g * since / found.tau**2
    columns = [g, 1.0 - g, by_tau]
    if int((t < found.plunge).sum()) > 0:
        columns.append(height * np.where(since > 0.0, g, 0.0) / found.tau)
    slopes = np.stack(columns, axis=1)
    step = _step_of(y)
    square = max(found.left / max(1, len(y) - slopes.shape[1]), step * step / 12.0, 1e-12)
    return math.sqrt(max(0.0, float(np.linalg.pinv(slopes.T @ slopes)[2, 2]) * square))


Time = TypeVar("Time", bound=int)


def trail(
    times: tuple[Time, ...], values: tuple[float, ...], at: Time, celsius: float, most: int = TRAIL
) -> tuple[tuple[Time, ...], tuple[float, ...]]:
    """The last ``most`` temperatures (°C) and their instants (ms) with one more. One that is not newer is left out."""
    if not -_NO_TEMPERATURE < celsius < _NO_TEMPERATURE or (times and at <= times[-1]):
        return times, values
    return (*times, at)[-most:], (*values, celsius)[-most:]


def slope(times: Sequence[int], values: Sequence[float]) -> float | None:
    """Least-squares slope (K/s) of a trail; None of fewer than three readings, or across a gap."""
    count = len(times)
    if count < FEWEST_FOR_SLOPE or count != len(values):
        return None
    apart = sorted([after - before for before, after in pairwise(times)])
    if apart[0] <= 0 or apart[-1] > GAP * apart[(count - 2) // 2]:
        return None
    # From the first reading, so that no digits are lost; one pass, because every reading of a tested probe asks.
    first, low = times[0], values[0]
    sx = sy = sxx = sxy = 0.0
    for at, value in zip(times, values, strict=True):
        x, y = at - first, value - low
        sx += x
        sy += y
        sxx += x * x
        sxy += x * y
    found = (count * sxy - sx * sy) / (count * sxx - sx * sx)
    return found * 1000.0 if math.isfinite(found) else None


def ahead(times: Sequence[int], values: Sequence[float], seconds: float) -> float | None:
    """Where the probe is heading (°C): the last value and its time constant (s) times its slope.

    None of fewer than three readings, or across a gap. Proves nothing: see the module.
    """
    steep = slope(times, values)
    if steep is None or not 0.0 <= seconds < math.inf:
        return None
    found = values[-1] + seconds * steep
    return found if math.isfinite(found) else None


def ahead_uncertainty(
    times: Sequence[int], values: Sequence[float], seconds: float, seconds_expanded: float, noise: float
) -> float | None:
    """What the correction for lag adds to the uncertainty (K, k = 2); None where :func:`ahead` is None.

    From the time constant and its expanded uncertainty (s), and the standard deviation of one reading (K): noise
    reaches the slope, with n readings dt apart, as noise * sqrt(12 / (n (n^2 - 1))) / dt.
    """
    steep = slope(times, values)
    if steep is None or not all(0.0 <= one < math.inf for one in (seconds, seconds_expanded, noise)):
        return None
    found = 2.0 * math.hypot(seconds * slope_noise(times, noise), steep * seconds_expanded / 2.0)
    return found if math.isfinite(found) else None


def slope_noise(times: Sequence[int], noise: float) -> float:
    """Standard deviation (K/s) of a least-squares slope over instants (ms), of readings with such a one (K)."""
    middle = sum(at - times[0] for at in times) / len(times)
    return noise * 1000.0 / math.sqrt(sum((at - times[0] - middle) ** 2 for at in times))
