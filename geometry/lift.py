"""Lift of the bridge over time: the fit, and what it says of readings.

    rise = α + β·(t / 30 y)^p + γ·(moisture − reference) + ε

Wood under load creeps by a power law of time that slows with age (REFERENCES.md, timber-creep). The
fit weighs a grid of exponents p and rates β by how well each explains the readings; for each the
rest is conjugate and closed form (:mod:`geometry.linear`). Everything is batched over instruments;
one instrument is N = 1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtr

from geometry.constants import WILD_FROM_U, WILD_SHARE, WILD_SPREAD
from geometry.crossing import crossing, crossing_probability, lasting_rise
from geometry.fleet import FleetPrior, fleet_prior, learn_prior
from geometry.lift_model import FloatArray, LiftFit, LiftPrior, RowIndex, age_powers, regressors
from geometry.linear import project

__all__ = [
    "FleetPrior",
    "LiftFit",
    "LiftPrior",
    "components",
    "crossing",
    "crossing_probability",
    "fit_lift",
    "fleet_prior",
    "lasting_rise",
    "learn_prior",
    "surprise",
]

#: Three-point Gauss–Hermite rule: assumed ages for an unknown build year, in s.d., and their
#: weights.
AGE_NODES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)])
AGE_NODE_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0

#: Rounds of holding wild readings down.
ROBUST_ROUNDS = 4


def fit_lift(
    age_years: ArrayLike,
    rise_mm: ArrayLike,
    moisture_offset_pct: ArrayLike,
    weight: ArrayLike,
    *,
    prior: LiftPrior | None = None,
    age_sd_years: ArrayLike | None = None,
    robust: bool = True,
    chunk: int = 1024,
) -> LiftFit:
    """Fit the lift of N instruments to their readings.

    Parameters
    ----------
    age_years : (N, m) array_like
        Time under string tension at each reading, since building or the last new origin. [y]
    rise_mm : (N, m) array_like
        Bridge rise after undoing all logged work; NaN is a missing reading. [mm]
    moisture_offset_pct : (N, m) array_like
        Moisture content less that at the reference climate; NaN where the humidity is unknown: the
        season's swing is then added to the reading's variance. [% MC]
    weight : (N, m) array_like
        Relative precision of each reading, (``prior.noise_mm`` / its s.d.)²; 0 is padding, whose
        other values are ignored.
    prior : LiftPrior, optional
        Planning defaults if not given.
    age_sd_years : (N,) array_like, optional
        S.d. of the stated age, where the build year is a guess; 0 where it is known. [y]
    robust : bool
        Hold wild readings down. Off, the fit is the plain conjugate one.
    chunk : int
        Instruments worked on at a time; bounds the memory, changes no result.

    Returns
    -------
    LiftFit
        Instruments without a usable reading hold NaN and ``usable`` False.

    Raises
    ------
    ValueError
        On shapes that do not fit, negative or NaN weights, negative or missing ages of readings,
        infinite readings.
    """
    prior = LiftPrior() if prior is None else prior
    age, rise, offset, w = _readings(age_years, rise_mm, moisture_offset_pct, weight)
    n, m = age.shape
    prior.check_rows(n)
    shift = _age_shifts(age_sd_years, n)
    nodes = shift.shape[1]
    if chunk < 1:
        raise ValueError(f"chunk: must be at least 1, got {chunk}")
    p, b, r = len(prior.exponents), len(prior.rates_mm), 4 if prior.season_sd_mm > 0 else 2
    arrays = {
        "weight": np.empty((n, nodes, p, b)),
        "base": np.empty((n, r)),
        "drag": np.empty((n, nodes, p, r)),
        "spread0": np.empty(n),
        "spread1": np.empty((n, nodes, p)),
        "spread2": np.empty((n, nodes, p)),
        "covariance": np.empty((n, r, r)),
        "dof": np.empty(n),
        "reading_factor": np.empty((n, m)),
    }
    fit = LiftFit(
        prior=prior, usable=np.asarray((w > 0).any(axis=1)), age_shift_years=shift, **arrays
    )
    for start in range(0, n, chunk):
        rows = np.arange(start, min(start + chunk, n))
        w_rows, d_rows = _without_humidity(w[rows], offset[rows], prior)
        powers = age_powers(age[rows], shift[rows], fit.exponents)
        powers = np.broadcast_to(powers, (*powers.shape[:2], nodes, p))
        x = regressors(age[rows], d_rows, prior)
        factor = (w[rows] > 0).astype(float)
        _fit_rows(fit, rows, powers, rise[rows], x, w_rows, factor)
        if robust:
            _hold_wild_readings(fit, rows, powers, rise[rows], x, w_rows)
    return fit


def _hold_wild_readings(
    fit: LiftFit,
    rows: RowIndex,
    powers: FloatArray,
    rise: FloatArray,
    x: FloatArray,
    w: FloatArray,
) -> None:
    """Hold readings down by their chance of being wild, and refit the instruments that have any.

    The first round holds down only the worst reading: a wild one drags the fit away from good
    ones, which must not be blamed before it is out of the way.
    """
    real = (w > 0).astype(float)
    residual = _standard_residuals(fit.take(rows), powers, rise, x, w, fit.prior.noise_mm)
    for turn in range(ROBUST_ROUNDS):
        size = np.abs(residual)
        suspect = np.flatnonzero((size > WILD_FROM_U).any(axis=1))
        if not suspect.size:
            return
        if turn == 0:
            residual = np.where(size == size.max(axis=1, keepdims=True), residual, 0.0)
        rows = rows[suspect]
        powers, rise, w, real, residual = (a[suspect] for a in (powers, rise, w, real, residual))
        x = x[:, suspect]
        _fit_rows(fit, rows, powers, rise, x, w, real * _share_of_weight(residual))
        residual = _standard_residuals(fit.take(rows), powers, rise, x, w, None)


def _share_of_weight(residual: FloatArray) -> FloatArray:
    """Expected precision of a reading over a good one's: a normal mixture of good and wild."""
    good = (1.0 - WILD_SHARE) * np.exp(-0.5 * residual**2)
    wild = WILD_SHARE / WILD_SPREAD * np.exp(-0.5 * (residual / WILD_SPREAD) ** 2)
    total = good + wild + np.finfo(float).tiny
    return np.asarray((good + wild / WILD_SPREAD**2) / total)


def _standard_residuals(
    fit: LiftFit,
    powers: FloatArray,
    rise: FloatArray,
    x: FloatArray,
    w: FloatArray,
    noise_mm: float | None,
) -> FloatArray:
    """Residuals about the mixture's mean line over their s.d., leverage allowed for, (n, m).

    ``noise_mm`` caps the noise they are measured by; padding gets 0.
    """
    rate = fit.rates_mm
    first = fit.weight @ rate
    second = fit.weight @ rate**2
    start = np.einsum("rnm,nr->nm", x, fit.base)
    drag = np.einsum("rnm,napr->nmap", x, fit.drag)
    lift = powers - drag
    gain = np.einsum("nmap,nap->nm", lift, first)
    gain2 = np.einsum("nmap,nap->nm", lift**2, second)
    variance = fit.mean_spread() / fit.dof
    if noise_mm is not None:
        variance = np.minimum(variance, noise_mm**2)
    reading = variance[:, None] / np.where(w > 0, w, 1.0)
    known = variance[:, None] * np.einsum("inm,nij,jnm->nm", x, fit.covariance, x)
    known = known + np.maximum(gain2 - gain**2, 0.0)
    left = reading * np.maximum(1.0 - known / reading, 0.05)
    return np.where(w > 0, (rise - start - gain) / np.sqrt(left), 0.0)


def _fit_rows(
    fit: LiftFit,
    rows: RowIndex,
    powers: FloatArray,
    rise: FloatArray,
    x: FloatArray,
    w: FloatArray,
    factor: FloatArray,
) -> None:
    """Fit some instruments and write them into ``fit``.

    ``powers`` is (n, m, A, P), the readings and their factors are (n, m).
    """
    prior = fit.prior
    n, m, nodes, p = powers.shape
    responses = np.empty((1 + nodes * p, m, n))
    responses[0] = rise.T
    responses[1:] = powers.reshape(n, m, nodes * p).transpose(2, 1, 0)
    mean, sd = prior.coefficients()
    precision = (prior.noise_mm / sd) ** 2
    prior_mean = np.zeros((len(x), 1 + nodes * p))
    prior_mean[:, 0] = mean
    weight = (w * factor).T
    reduced = project(x.transpose(0, 2, 1), responses, weight, precision, prior_mean)
    shape = prior.noise_shape - 0.5 * np.count_nonzero(precision == 0)
    dof = 2.0 * shape + factor.sum(axis=1)
    empty = ~fit.usable[rows] | (dof <= 0)
    dof = np.where(empty, np.nan, dof)

    def blank(array: FloatArray) -> FloatArray:
        array[empty] = np.nan
        return array

    cells = (n, nodes, p)
    fit.dof[rows] = dof
    fit.reading_factor[rows] = factor
    fit.base[rows] = blank(reduced.coefficients[:, :, 0])
    drag = blank(reduced.coefficients[:, :, 1:]).reshape(n, len(x), nodes, p)
    fit.drag[rows] = drag.transpose(0, 2, 3, 1)
    fit.spread0[rows] = 2.0 * prior.noise_shape * prior.noise_mm**2 + reduced.cross(0, 0)
    fit.spread1[rows] = reduced.cross(0, slice(1, None)).reshape(cells)
    fit.spread2[rows] = reduced.squares(slice(1, None)).reshape(cells)
    fit.covariance[rows] = blank(reduced.covariance)
    fit.weight[rows] = _cell_weights(fit, rows)


def _cell_weights(fit: LiftFit, rows: RowIndex) -> FloatArray:
    """Prior weight times marginal likelihood of each cell, scaled to 1; (n, A, P, B).

    The normal matrix is the same in all cells of an instrument, so only the sum of squares tells
    them apart.
    """
    rate = fit.rates_mm
    spread = fit.spread1[rows, :, :, None] * (-2.0 * rate)
    spread += fit.spread2[rows, :, :, None] * rate**2
    spread += fit.spread0[rows, None, None, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        log_weight = np.log(spread, out=spread)
        log_weight *= -0.5 * fit.dof[rows, None, None, None]
        if fit.age_shift_years.shape[1] > 1:
            uncertain = fit.age_shift_years[rows][:, 2:] > 0
            node = np.where(uncertain, AGE_NODE_WEIGHTS, [0.0, 1.0, 0.0])
            log_weight += np.log(node)[:, :, None, None]
        log_prior = fit.prior.log_weight()
        log_weight += (log_prior[rows] if len(log_prior) > 1 else log_prior)[:, None]
        log_weight -= log_weight.max(axis=(1, 2, 3), keepdims=True)
        weight = np.exp(log_weight, out=log_weight)
    weight /= weight.sum(axis=(1, 2, 3), keepdims=True)
    return weight


def components(fit: LiftFit) -> dict[str, FloatArray]:
    """Posterior means that take a reading apart into lasting lift and season.

    Correct a reading for season with ``rise − moisture_slope·offset``.

    Parameters
    ----------
    fit : LiftFit

    Returns
    -------
    dict of (N,) ndarray
        ``origin_rise_mm``; ``moisture_slope`` and ``moisture_slope_sd`` [mm / % MC];
        ``rate_mm_per_30_years`` (median over the cells) and ``exponent`` (mean); ``noise_mm``,
        s.d. of a reading of weight 1. NaN where not usable.
    """
    rate = fit.rates_mm
    mean, spread = fit.coefficients()
    variance = fit.mean_spread() / np.where(fit.dof > 2, fit.dof - 2.0, np.nan)
    by_rate = fit.weight.sum(axis=(1, 2))
    below = np.cumsum(by_rate, axis=1) - 0.5 * by_rate
    median = (
        np.exp([np.interp(0.5, row, np.log(rate)) for row in below]) if len(fit) else np.empty(0)
    )
    return {
        "origin_rise_mm": mean[:, 0],
        "moisture_slope": mean[:, 1],
        "moisture_slope_sd": np.sqrt(spread[:, 1]),
        "rate_mm_per_30_years": np.where(fit.usable, median, np.nan),
        "exponent": fit.weight.sum(axis=(1, 3)) @ fit.exponents,
        "noise_mm": np.sqrt(variance),
    }


def surprise(
    fit_before: LiftFit,
    age_years: ArrayLike,
    rise_mm: ArrayLike,
    moisture_offset_pct: ArrayLike,
    weight: ArrayLike = 1.0,
) -> FloatArray:
    """How far a new reading lies from what the readings before it led one to expect.

    Parameters
    ----------
    fit_before : LiftFit
        Fit to the readings before this one.
    age_years, rise_mm, moisture_offset_pct, weight : (N,) array_like
        The new reading, as for :func:`fit_lift`; NaN moisture is unknown humidity, NaN rise gives
        NaN.

    Returns
    -------
    (N,) ndarray
        Normal score of the reading in its predictive distribution. Beyond ±3 it is a jump, not
        creep: a loose brace, a lifting bridge, a misread gauge.

    Raises
    ------
    ValueError
        On shapes that do not fit, and negative ages or weights that are not positive.
    """
    n = len(fit_before)
    shape = (n,)
    age, rise, offset, w = (
        _as_shape(name, value, shape)
        for name, value in (
            ("age_years", age_years),
            ("rise_mm", rise_mm),
            ("moisture_offset_pct", moisture_offset_pct),
            ("weight", weight),
        )
    )
    if not np.all(age >= 0):
        raise ValueError(f"age_years: must not be negative, got {age[~(age >= 0)][0]}")
    if not np.all(w > 0):
        raise ValueError(f"weight: must be positive, got {w[~(w > 0)][0]}")
    w, offset = _without_humidity(w, offset, fit_before.prior)
    power = age_powers(age[:, None], fit_before.age_shift_years, fit_before.exponents)[:, 0]
    x = regressors(age[:, None], offset[:, None], fit_before.prior)[:, :, 0]
    start = np.einsum("rn,nr->n", x, fit_before.base)
    lift = power - np.einsum("rn,napr->nap", x, fit_before.drag)
    mean = start[:, None, None, None] + fit_before.rates_mm * lift[:, :, :, None]
    leverage = 1.0 / w + np.einsum("in,nij,jn->n", x, fit_before.covariance, x)
    scale = np.sqrt(fit_before.noise_variance() * leverage[:, None, None, None])
    score = (rise[:, None, None, None] - mean) / scale
    dof = fit_before.dof[:, None, None, None]
    below = (fit_before.weight * stdtr(dof, score)).sum(axis=(1, 2, 3))
    above = (fit_before.weight * stdtr(dof, -score)).sum(axis=(1, 2, 3))
    tail = np.minimum(below, above)  # the smaller tail keeps its digits
    return np.asarray(np.where(below < above, ndtri(tail), -ndtri(tail)))


def _readings(
    age_years: ArrayLike, rise_mm: ArrayLike, moisture_offset_pct: ArrayLike, weight: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Checked copies with harmless values in the padding; a missing rise gets weight 0."""
    age = np.asarray(age_years, dtype=float)
    if age.ndim != 2:
        raise ValueError(f"age_years: expected shape (N, m), got {age.shape}")
    rise = _as_shape("rise_mm", rise_mm, age.shape)
    offset = _as_shape("moisture_offset_pct", moisture_offset_pct, age.shape)
    w = _as_shape("weight", weight, age.shape)
    if not np.all(np.isfinite(w) & (w >= 0)):
        bad = w[~(np.isfinite(w) & (w >= 0))][0]
        raise ValueError(f"weight: must be finite and not negative, got {bad}")
    w = np.where(np.isnan(rise), 0.0, w)
    used = w > 0
    age, rise, offset = (np.where(used, a, 0.0) for a in (age, rise, offset))
    if not np.all(np.isfinite(age) & (age >= 0)):
        bad = age[~(np.isfinite(age) & (age >= 0))][0]
        raise ValueError(f"age_years: must be finite and not negative, got {bad}")
    for name, value in (("rise_mm", rise), ("moisture_offset_pct", offset)):
        if np.any(np.isinf(value)):
            raise ValueError(f"{name}: must be finite, got {value[np.isinf(value)][0]}")
    return age, rise, offset, w


def _as_shape(name: str, value: ArrayLike, shape: tuple[int, ...]) -> FloatArray:
    array = np.asarray(value, dtype=float)
    if array.ndim == 0:
        return np.full(shape, float(array))
    if array.shape != shape:
        raise ValueError(f"{name}: expected shape {shape}, got {array.shape}")
    return array


def _age_shifts(age_sd_years: ArrayLike | None, n: int) -> FloatArray:
    """Shifts of age to mix over, (N, 1) if every age is known and (N, 3) otherwise. [y]"""
    if age_sd_years is None:
        return np.zeros((n, 1))
    sd = _as_shape("age_sd_years", age_sd_years, (n,))
    if not np.all(np.isfinite(sd) & (sd >= 0)):
        bad = sd[~(np.isfinite(sd) & (sd >= 0))][0]
        raise ValueError(f"age_sd_years: must be finite and not negative, got {bad}")
    return sd[:, None] * AGE_NODES if sd.any() else np.zeros((n, 1))


def _without_humidity(
    w: FloatArray, offset: FloatArray, prior: LiftPrior
) -> tuple[FloatArray, FloatArray]:
    """Unknown humidity: take the reference climate, and add the season's swing to the variance."""
    unknown = np.isnan(offset)
    if not unknown.any():
        return w, offset
    slope2 = prior.moisture_slope_mean**2
    if np.isfinite(prior.moisture_slope_sd):
        slope2 += prior.moisture_slope_sd**2
    swing = slope2 * prior.moisture_swing_sd_pct**2 / prior.noise_mm**2
    return np.where(unknown, w / (1.0 + w * swing), w), np.where(unknown, 0.0, offset)
