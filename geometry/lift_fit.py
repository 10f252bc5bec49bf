"""The arithmetic of the lift's fit: cells weighed in closed form, wild readings held down.

Inside, instruments run last: sums over readings and cells are then sums of long contiguous rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometry._checks import FloatArray
from geometry.constants import WILD_FROM_U, WILD_LEAST_READINGS, WILD_SHARE, WILD_SPREAD
from geometry.lift_model import LiftFit, LiftPrior, RowIndex, age_powers, regressors
from geometry.linear import project

#: Three-point Gauss–Hermite rule: assumed ages for an unknown build year, in s.d., and their
#: weights.
AGE_NODES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)])
AGE_NODE_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0

#: Rounds of holding wild readings down.
ROBUST_ROUNDS = 4
#: A reading's share of its weight that moves by less than this is settled.
SETTLED = 0.02
#: A reading that decides the line alone leaves no residual; its s.d. is taken as at least this share.
LEAST_LEFT = 0.05


@dataclass(frozen=True)
class Readings:
    """Readings of n instruments as the fit takes them.

    Attributes
    ----------
    powers : (L, m, n) ndarray
        (t / 30 y)^p of each law, a law being an age shift and an exponent.
    rise : (m, n) ndarray
        Bridge rise. [mm]
    regressors : (R, m, n) ndarray
        See :func:`geometry.lift_model.regressors`.
    weight : (m, n) ndarray
        Relative precision, 0 for padding.
    """

    powers: FloatArray
    rise: FloatArray
    regressors: FloatArray
    weight: FloatArray

    def take(self, columns: RowIndex) -> Readings:
        """Readings of some of the instruments."""
        return Readings(
            self.powers[:, :, columns],
            self.rise[:, columns],
            self.regressors[:, :, columns],
            self.weight[:, columns],
        )


def readings_of(
    fit: LiftFit,
    rows: RowIndex,
    age: FloatArray,
    rise: FloatArray,
    offset: FloatArray,
    weight: FloatArray,
) -> Readings:
    """Readings of some instruments from (N, m) arrays."""
    weight, offset = without_humidity(weight[rows], offset[rows], fit.prior)
    shift = fit.age_shift_years[rows]
    powers = age_powers(age[rows].T, shift.T[:, None], fit.exponents)
    powers = np.broadcast_to(powers, (len(fit.exponents), shift.shape[1], *powers.shape[2:]))
    return Readings(
        powers=powers.swapaxes(0, 1).reshape(-1, *powers.shape[2:]),
        rise=np.ascontiguousarray(rise[rows].T),
        regressors=regressors(np.ascontiguousarray(age[rows].T), offset.T, fit.prior),
        weight=np.ascontiguousarray(weight.T),
    )


def fit_rows(fit: LiftFit, rows: RowIndex, readings: Readings, factor: FloatArray) -> None:
    """Fit some instruments and write them into ``fit``.

    Parameters
    ----------
    fit : LiftFit
        Whose arrays are filled in.
    rows : (n,) int ndarray
    readings : Readings
        Theirs.
    factor : (m, n) ndarray
        Share of its weight that each reading is taken at, 0 for padding.
    """
    prior = fit.prior
    n, laws = len(rows), len(readings.powers)
    mean, sd = prior.coefficients()
    precision = (prior.noise_mm / sd) ** 2
    prior_mean = np.zeros((len(mean), 1 + laws))
    prior_mean[:, 0] = mean
    responses = np.concatenate([readings.rise[None], readings.powers])
    weight = readings.weight * factor
    reduced = project(readings.regressors, responses, weight, precision, prior_mean)
    shape = prior.noise_shape - 0.5 * np.count_nonzero(precision == 0)
    dof = 2.0 * shape + factor.sum(axis=0)
    empty = ~fit.usable[rows] | (dof <= 0)
    dof[empty] = np.nan
    reduced.coefficients[empty] = np.nan
    reduced.covariance[empty] = np.nan
    cells = (n, *fit.spread1.shape[1:])
    fit.dof[rows] = dof
    fit.reading_factor[rows] = factor.T
    fit.base[rows] = reduced.coefficients[:, :, 0]
    drag = reduced.coefficients[:, :, 1:].swapaxes(1, 2)
    fit.drag[rows] = drag.reshape(*cells, -1)
    fit.spread0[rows] = 2.0 * prior.noise_shape * prior.noise_mm**2 + reduced.cross(0, 0)
    fit.spread1[rows] = reduced.cross(0, slice(1, None)).reshape(cells)
    fit.spread2[rows] = reduced.squares(slice(1, None)).reshape(cells)
    fit.covariance[rows] = reduced.covariance
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


def hold_wild_readings(fit: LiftFit, rows: RowIndex, readings: Readings) -> None:
    """Hold readings down by their chance of being wild, and refit the instruments that have any.

    The first round holds down only the worst reading: a wild one drags the fit away from good
    ones, which must not be blamed before it is out of the way. Among fewer than four readings nothing
    says which is the wild one.
    """
    real = (readings.weight > 0).astype(float)
    factor = real
    residual = _standard_residuals(fit.take(rows), readings, fit.prior.noise_mm)
    for turn in range(ROBUST_ROUNDS):
        size = np.abs(residual)
        share = _share_of_weight(residual)
        if turn == 0:
            share = np.where(size == size.max(axis=0), share, 1.0)
        judged = (size > WILD_FROM_U).any(axis=0) & (real.sum(axis=0) >= WILD_LEAST_READINGS)
        wanted = np.where(judged, real * share, factor)
        moving = np.flatnonzero((np.abs(wanted - factor) > SETTLED).any(axis=0))
        if not moving.size:
            return
        rows, readings, real = rows[moving], readings.take(moving), real[:, moving]
        factor = wanted[:, moving]
        fit_rows(fit, rows, readings, factor)
        residual = _standard_residuals(fit.take(rows), readings, None)


def _share_of_weight(residual: FloatArray) -> FloatArray:
    """Expected precision of a reading over a good one's: a normal mixture of good and wild."""
    good = (1.0 - WILD_SHARE) * np.exp(-0.5 * residual**2)
    wild = WILD_SHARE / WILD_SPREAD * np.exp(-0.5 * (residual / WILD_SPREAD) ** 2)
    total = good + wild + np.finfo(float).tiny
    return np.asarray((good + wild / WILD_SPREAD**2) / total)


def _standard_residuals(fit: LiftFit, readings: Readings, noise_mm: float | None) -> FloatArray:
    """Residuals about the mixture's mean line over their s.d., leverage allowed for, (m, n).

    ``noise_mm`` caps the noise they are measured by; padding gets 0.
    """
    n = len(fit)
    x, w = readings.regressors, readings.weight
    first, second = (
        np.ascontiguousarray((fit.weight @ rate).reshape(n, -1).T)
        for rate in (fit.rates_mm, fit.rates_mm**2)
    )
    base, drag = fit.base.T, fit.drag.reshape(n, -1, len(x))
    line, gain2 = np.zeros_like(w), np.zeros_like(w)
    gain = np.zeros_like(w)
    for r in range(len(x)):
        line += base[r] * x[r]
    for law in range(len(first)):
        lift = readings.powers[law].copy()
        for r in range(len(x)):
            lift -= drag[:, law, r] * x[r]
        gain += first[law] * lift
        lift *= lift
        gain2 += second[law] * lift
    variance = fit.mean_spread() / fit.dof
    if noise_mm is not None:
        variance = np.minimum(variance, noise_mm**2)
    leverage = np.zeros_like(w)
    for r in range(len(x)):
        along = fit.covariance[:, r, r] * x[r]
        for q in range(r + 1, len(x)):
            along += 2.0 * fit.covariance[:, r, q] * x[q]
        leverage += along * x[r]
    known = variance * leverage + np.maximum(gain2 - gain**2, 0.0)
    reading = variance / np.where(w > 0, w, 1.0)
    left = reading * np.maximum(1.0 - known / reading, LEAST_LEFT)
    return np.where(w > 0, (readings.rise - line - gain) / np.sqrt(left), 0.0)


def without_humidity(
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
