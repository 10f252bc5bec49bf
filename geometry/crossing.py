"""When the lift reaches a limit, and where it will be: the mixture's quantiles, inverted in batch.

Within a cell the lasting rise at the reference climate at age t is Student t about ``α̂ + β·(t /
30 y)^p``, and β > 0, so

    P(T ≤ t) = Σ w·F_ν((α̂ + β·(t / 30 y)^p − limit) / scale)

rises with t. Cells of negligible weight are dropped; the rest are kept as one ragged row per
instrument.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtr

from geometry.lift_model import FloatArray, LiftFit, age_powers

#: Cells lighter than this share of an instrument's heaviest are dropped.
NEGLIGIBLE = 1e-6
#: Ages are found to better than this. [y]
AGE_TOLERANCE_YEARS = 2e-4
#: Heights are found to better than this. [mm]
RISE_TOLERANCE_MM = 1e-5
#: Instruments worked on at a time.
CHUNK = 512
MAX_ROUNDS = 80


@dataclass(frozen=True)
class _Cells:
    """Kept cells of n instruments, one ragged row each, laid end to end.

    ``starts`` is where each row begins, ``row`` the row of each cell, ``law`` the index of its
    (age, exponent) in a flat (n, A, P) array.
    """

    starts: NDArray[np.intp]
    row: NDArray[np.intp]
    law: NDArray[np.intp]
    weight: FloatArray
    origin: FloatArray
    rate: FloatArray
    scale: FloatArray
    dof: FloatArray

    def mixture(self, x: FloatArray) -> FloatArray:
        """Σ w·F(x) of each row."""
        return np.asarray(np.add.reduceat(self.weight * student_cdf(self.dof, x), self.starts))

    def take(self, rows: NDArray[np.intp], laws: int) -> _Cells:
        """Some of the rows."""
        counts = np.diff(np.append(self.starts, len(self.row)))[rows]
        starts = np.cumsum(counts) - counts
        index = np.arange(counts.sum()) + np.repeat(self.starts[rows] - starts, counts)
        row = np.repeat(np.arange(len(rows)), counts)
        law = self.law[index] - (self.row[index] - row) * laws
        picked = (self.weight, self.origin, self.rate, self.scale, self.dof)
        return _Cells(starts, row, law, *(a[index] for a in picked))


def student_cdf(dof: ArrayLike, x: ArrayLike) -> FloatArray:
    """Distribution function of Student's t, exact below 6 degrees of freedom and to 4e-8 from
    there.

    Parameters
    ----------
    dof, x : array_like
        Broadcast against each other.

    Returns
    -------
    ndarray

    Notes
    -----
    From 6 degrees of freedom x is turned into a normal deviate by Hill's series (G. W. Hill,
    Algorithm 395, Comm. ACM 13, 1970; formula from memory, checked against scipy), several times
    faster than the incomplete beta function.
    """
    nu, value = np.broadcast_arrays(np.asarray(dof, dtype=float), np.asarray(x, dtype=float))
    if nu.size and nu.min() < 6.0:
        return np.asarray(stdtr(nu, value))
    a = nu - 0.5
    b = 48.0 * a * a
    y = a * np.log1p(value * value / nu)
    z = ((-0.4 * y - 3.3) * y - 24.0) * y - 85.5
    z = (z / (0.8 * y * y + 100.0 + b) + y + 3.0) / b + 1.0
    return np.asarray(ndtr(np.copysign(z * np.sqrt(y), value)))


def _cells(fit: LiftFit, reading_noise: bool = False) -> _Cells:
    """Kept cells of a fit whose instruments are all usable."""
    n, b = len(fit), fit.weight.shape[-1]
    weight = fit.weight.reshape(n, -1)
    keep = weight > NEGLIGIBLE * weight.max(axis=1, keepdims=True)
    flat = np.flatnonzero(keep)
    counts = keep.sum(axis=1)
    starts = np.cumsum(counts) - counts
    row = np.repeat(np.arange(n), counts)
    kept = weight.reshape(-1)[flat]
    kept = kept / np.repeat(np.add.reduceat(kept, starts), counts)
    unit = fit.covariance[:, 0, 0] + (1.0 if reading_noise else 0.0)
    law = flat // b
    rate = fit.rates_mm[flat % b]
    spread = fit.spread0[row] + rate * (
        rate * fit.spread2.reshape(-1)[law] - 2.0 * fit.spread1.reshape(-1)[law]
    )
    origin = fit.base[row, 0] - rate * fit.drag[..., 0].reshape(-1)[law]
    scale = np.sqrt(np.maximum(spread, 0.0) * (unit / fit.dof)[row])
    return _Cells(starts, row, law, kept, origin, rate, scale, fit.dof[row])


Distribution = Callable[[FloatArray, NDArray[np.intp]], FloatArray]


def solve_increasing(
    distribution: Distribution,
    probability: FloatArray,
    low: FloatArray,
    high: FloatArray,
    tolerance: float,
) -> FloatArray:
    """Where each of many increasing distribution functions reaches its probability.

    Parameters
    ----------
    distribution : callable
        Called with points (k,) and the indices (k,) of the problems they belong to; returns
        probabilities (k,).
    probability, low, high : (n,) ndarray
        The probability lies between the distribution's values at ``low`` and ``high``.
    tolerance : float
        Width of the bracket at which to stop.

    Returns
    -------
    (n,) ndarray

    Notes
    -----
    Regula falsi on the normal scores, where a mixture is nearly straight, safeguarded: an end that
    stays put has its score halved (Illinois), and every fourth step bisects.
    """
    target = ndtri(probability)
    root = 0.5 * (low + high)
    live = np.flatnonzero(high - low > tolerance)
    a, b = low[live].copy(), high[live].copy()
    fa = _score(distribution(a, live), target[live])
    fb = _score(distribution(b, live), target[live])
    last = np.zeros(len(live))
    for turn in range(MAX_ROUNDS):
        if not live.size:
            break
        step = 0.5 * (a + b) if turn % 4 == 3 else (a * fb - b * fa) / (fb - fa)
        inside = (step > a) & (step < b)
        x = np.where(inside, step, 0.5 * (a + b))
        f = _score(distribution(x, live), target[live])
        up = f < 0
        fb = np.where(up & (last > 0), 0.5 * fb, fb)
        fa = np.where(~up & (last < 0), 0.5 * fa, fa)
        a, fa = np.where(up, x, a), np.where(up, f, fa)
        b, fb = np.where(up, b, x), np.where(up, fb, f)
        last = np.where(up, 1.0, -1.0)
        slope_step = np.abs(f) * (b - a) / (fb - fa)
        done = (b - a < tolerance) | (slope_step < 0.2 * tolerance)
        root[live] = x
        keep = np.flatnonzero(~done)
        live = live[keep]
        a, b, fa, fb, last = (v[keep] for v in (a, b, fa, fb, last))
    return root


def _score(probability: FloatArray, target: FloatArray) -> FloatArray:
    """Normal score less its target, kept finite."""
    return np.asarray(np.clip(ndtri(probability), -9.0, 9.0) - target)


def _limits(fit: LiftFit, name: str, value: ArrayLike) -> tuple[FloatArray, bool]:
    """(N, k) array and whether it came as (N,)."""
    array = np.asarray(value, dtype=float)
    n = len(fit)
    if array.ndim == 0:
        array = np.full(n, float(array))
    if array.ndim not in (1, 2) or len(array) != n:
        raise ValueError(f"{name}: expected shape ({n},) or ({n}, k), got {array.shape}")
    return (array[:, None], True) if array.ndim == 1 else (array, False)


def _probabilities(values: Sequence[float]) -> FloatArray:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or not np.all((array > 0) & (array < 1)):
        raise ValueError(f"probabilities: must lie between 0 and 1, got {values}")
    return array


def crossing(
    fit: LiftFit,
    limit_mm: ArrayLike,
    *,
    horizon_age_years: ArrayLike,
    probabilities: Sequence[float] = (0.1, 0.5, 0.9),
) -> FloatArray:
    """Age at which the lasting rise reaches a limit: early, likely and late.

    Parameters
    ----------
    fit : LiftFit
    limit_mm : (N,) or (N, k) array_like
        Bridge rise not to be passed, on the scale of the fitted readings; NaN gives NaN. [mm]
    horizon_age_years : (N,) array_like
        Age after which no forecast is made. [y]
    probabilities : sequence of q floats
        Chances of having crossed by the age returned.

    Returns
    -------
    (N, q) or (N, k, q) ndarray
        Ages; 0 where the limit lay below the rise at the origin, NaN past the horizon and where
        the fit is not usable. [y]

    Raises
    ------
    ValueError
        On shapes that do not fit, probabilities outside (0, 1), or a horizon that is not positive.
    """
    limits, single = _limits(fit, "limit_mm", limit_mm)
    horizon = _limits(fit, "horizon_age_years", horizon_age_years)[0][:, 0]
    if not np.all(horizon > 0):
        raise ValueError(f"horizon_age_years: must be positive, got {horizon[~(horizon > 0)][0]}")
    wanted = _probabilities(probabilities)
    ages = np.full((*limits.shape, len(wanted)), np.nan)
    usable = np.flatnonzero(fit.usable & np.isfinite(fit.dof))
    for start in range(0, len(usable), CHUNK):
        rows = usable[start : start + CHUNK]
        part = fit.take(rows)
        cells = _cells(part)
        for k in range(limits.shape[1]):
            ages[rows, k] = _cross(part, cells, limits[rows, k], horizon[rows], wanted)
    return ages[:, 0] if single else ages


@dataclass
class _Crossings:
    """Chance of having passed a limit by an age, for problems that drop out as they are solved."""

    fit: LiftFit
    cells: _Cells
    limit: FloatArray
    rows: NDArray[np.intp]

    def __call__(self, age: FloatArray, live: NDArray[np.intp]) -> FloatArray:
        """Chances at ages (k,) of the problems ``live`` (k,), a shrinking choice of the first."""
        if len(live) < len(self.rows):
            position = np.searchsorted(self.rows, live)
            self.cells = self.cells.take(position, self.fit.spread1[0].size)
            self.rows = live
        power = _law_powers(self.fit, age, live)
        lift = self.cells.origin + self.cells.rate * power[self.cells.law]
        lift -= self.limit[live][self.cells.row]
        return self.cells.mixture(_divide(lift, self.cells.scale))


def _cross(
    fit: LiftFit, cells: _Cells, limit: FloatArray, horizon: FloatArray, wanted: FloatArray
) -> FloatArray:
    """Ages at one limit, (n, q)."""
    n = len(fit)
    everyone = np.arange(n)
    ages = np.full((n, len(wanted)), np.nan)
    chance = _Crossings(fit, cells, limit, everyone)
    at_origin = chance(np.zeros(n), everyone)
    at_horizon = chance(horizon, everyone)
    known = ~np.isnan(limit)
    for j, q in enumerate(wanted):
        ages[known & (at_origin >= q), j] = 0.0
        rows = np.flatnonzero(known & (at_origin < q) & (at_horizon >= q))
        if rows.size:
            part = fit.take(rows)
            ages[rows, j] = solve_increasing(
                _Crossings(
                    part,
                    cells.take(rows, fit.spread1[0].size),
                    limit[rows],
                    np.arange(len(rows)),
                ),
                np.full(len(rows), q),
                np.zeros(len(rows)),
                horizon[rows],
                AGE_TOLERANCE_YEARS,
            )
    return ages


def _law_powers(fit: LiftFit, age: FloatArray, rows: NDArray[np.intp]) -> FloatArray:
    """(t / 30 y)^p of every law of some instruments, flat."""
    nodes, p = fit.spread1.shape[1:]
    power = age_powers(age[:, None], fit.age_shift_years[rows], fit.exponents)[:, 0]
    return np.broadcast_to(power, (len(rows), nodes, p)).reshape(-1)


def _divide(x: FloatArray, scale: FloatArray) -> FloatArray:
    """x / scale, where a scale of 0 stands for certainty."""
    return np.asarray(x / np.maximum(scale, 1e-12))


def crossing_probability(fit: LiftFit, limit_mm: ArrayLike, age_years: ArrayLike) -> FloatArray:
    """Chance that the lasting rise has reached a limit by an age.

    Parameters
    ----------
    fit : LiftFit
    limit_mm : (N,) array_like
        Bridge rise not to be passed. [mm]
    age_years : (N,) or (N, k) array_like
        Ages to ask about. [y]

    Returns
    -------
    (N,) or (N, k) ndarray
        Chances; NaN where the fit is not usable or the limit is NaN.

    Raises
    ------
    ValueError
        On shapes that do not fit or a negative age.
    """
    limit = _limits(fit, "limit_mm", limit_mm)[0][:, 0]
    ages, single = _limits(fit, "age_years", age_years)
    if not np.all(ages >= 0):
        raise ValueError(f"age_years: must not be negative, got {ages[~(ages >= 0)][0]}")
    chance = np.full(ages.shape, np.nan)
    usable = np.flatnonzero(fit.usable & np.isfinite(fit.dof))
    for start in range(0, len(usable), CHUNK):
        rows = usable[start : start + CHUNK]
        part = fit.take(rows)
        cells = _cells(part)
        everyone = np.arange(len(rows))
        for k in range(ages.shape[1]):
            power = _law_powers(part, ages[rows, k], everyone)
            lift = cells.origin + cells.rate * power[cells.law] - limit[rows][cells.row]
            chance[rows, k] = cells.mixture(_divide(lift, cells.scale))
    return chance[:, 0] if single else chance


def lasting_rise(
    fit: LiftFit,
    age_years: ArrayLike,
    *,
    probabilities: Sequence[float] = (0.1, 0.5, 0.9),
    predictive: bool = False,
) -> FloatArray:
    """Quantiles of the rise at the reference climate, season taken out.

    Parameters
    ----------
    fit : LiftFit
    age_years : (N, k) array_like
        Ages to ask about. [y]
    probabilities : sequence of q floats
    predictive : bool
        Add the scatter of one reading of weight 1.

    Returns
    -------
    (N, k, q) ndarray
        Bridge rise; NaN where the fit is not usable. [mm]

    Raises
    ------
    ValueError
        On shapes that do not fit, a negative age, or probabilities outside (0, 1).
    """
    ages, single = _limits(fit, "age_years", age_years)
    if single:
        raise ValueError(f"age_years: expected shape ({len(fit)}, k), got {np.shape(age_years)}")
    if not np.all(ages >= 0):
        raise ValueError(f"age_years: must not be negative, got {ages[~(ages >= 0)][0]}")
    wanted = _probabilities(probabilities)
    rise = np.full((*ages.shape, len(wanted)), np.nan)
    usable = np.flatnonzero(fit.usable & np.isfinite(fit.dof))
    for start in range(0, len(usable), CHUNK):
        rows = usable[start : start + CHUNK]
        part = fit.take(rows)
        cells = _cells(part, reading_noise=predictive)
        for k in range(ages.shape[1]):
            rise[rows, k] = _rise_quantiles(part, cells, ages[rows, k], wanted)
    return rise


def _rise_quantiles(fit: LiftFit, cells: _Cells, age: FloatArray, wanted: FloatArray) -> FloatArray:
    """Quantiles of the mixture of rises at one age, (n, q)."""
    n = len(fit)
    power = _law_powers(fit, age, np.arange(n))
    mean = cells.origin + cells.rate * power[cells.law]
    reach = 60.0 * cells.scale
    low = np.minimum.reduceat(mean - reach, cells.starts)
    high = np.maximum.reduceat(mean + reach, cells.starts)
    result = np.empty((n, len(wanted)))
    for j, q in enumerate(wanted):

        def distribution(x: FloatArray, live: NDArray[np.intp]) -> FloatArray:
            if len(live) < n:
                full = low.copy()
                full[live] = x
                x = full
            return cells.mixture(_divide(x[cells.row] - mean, cells.scale))[live]

        result[:, j] = solve_increasing(distribution, np.full(n, q), low, high, RISE_TOLERANCE_MM)
    return result
