"""Lift of the bridge over time: the fit, and what it says of readings.

    rise = α + β·(t / 30 y)^p + γ·(moisture − reference) + ε

Wood under load creeps by a power law of time that slows with age (REFERENCES.md, timber-creep). The
fit weighs a grid of exponents p and rates β by how well each explains the readings; for each the
rest is conjugate and closed form (:mod:`geometry.linear`). Everything is batched over instruments;
one instrument is N = 1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtr

from geometry._checks import FloatArray, as_not_negative, as_numbers, as_positive, as_reading
from geometry.crossing import crossing, crossing_probability, lasting_rise
from geometry.fleet import FleetPrior, fleet_prior, learn_prior
from geometry.lift_fit import AGE_NODES, fit_rows, hold_wild_readings, readings_of, without_humidity
from geometry.lift_model import LiftFit, LiftPrior, age_powers, regressors

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
    "seasonal_part",
    "surprise",
]


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
    if chunk < 1:
        raise ValueError(f"chunk must be at least 1, got {chunk}")
    usable = np.asarray((w > 0).any(axis=1))
    fit = _unfitted(prior, usable, _age_shifts(age_sd_years, n), m)
    for start in range(0, n, chunk):
        rows = np.arange(start, min(start + chunk, n))
        readings = readings_of(fit, rows, age, rise, offset, w)
        fit_rows(fit, rows, readings, (readings.weight > 0).astype(float))
        if robust:
            hold_wild_readings(fit, rows, readings)
    # Under flat priors the readings may leave a coefficient open: nothing can be said then.
    usable &= np.isfinite(fit.weight[:, 0, 0, 0])
    return fit


def _unfitted(prior: LiftPrior, usable: NDArray[np.bool_], shift: FloatArray, m: int) -> LiftFit:
    """A fit of m readings an instrument whose arrays are yet to be filled."""
    cells = (*shift.shape, len(prior.exponents))
    n, r = len(usable), len(prior.coefficients()[0])
    return LiftFit(
        prior=prior,
        usable=usable,
        age_shift_years=shift,
        weight=np.empty((*cells, len(prior.rates_mm))),
        base=np.empty((n, r)),
        drag=np.empty((*cells, r)),
        spread0=np.empty(n),
        spread1=np.empty(cells),
        spread2=np.empty(cells),
        covariance=np.empty((n, r, r)),
        dof=np.empty(n),
        reading_factor=np.empty((n, m)),
    )


def components(fit: LiftFit) -> dict[str, FloatArray]:
    """Posterior means that take a reading apart into lasting lift and season.

    Correct a reading for moisture with ``rise − moisture_slope·offset``, or for all of the season with
    :func:`seasonal_part`.

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


def seasonal_part(fit: LiftFit, age_years: ArrayLike, moisture_offset_pct: ArrayLike) -> FloatArray:
    """What the season does to readings, by the posterior mean: take it off to see the lasting lift.

    Parameters
    ----------
    fit : LiftFit
    age_years, moisture_offset_pct : (N, k) array_like
        As for :func:`fit_lift`; NaN moisture counts as the reference climate. [y], [% MC]

    Returns
    -------
    (N, k) ndarray
        Moisture at the reading and the time of year together; NaN where not usable. [mm]

    Raises
    ------
    ValueError
        On shapes that do not fit and negative ages.
    """
    age = as_not_negative("age_years", age_years)
    if age.ndim != 2 or len(age) != len(fit):
        raise ValueError(f"age_years must have shape ({len(fit)}, k), got {age.shape}")
    offset = as_reading("moisture_offset_pct", moisture_offset_pct)
    offset = np.nan_to_num(_as_shape("moisture_offset_pct", offset, age.shape))
    x = regressors(age, offset, fit.prior)
    return np.asarray(np.einsum("rnk,nr->nk", x[1:], fit.coefficients()[0][:, 1:]))


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
    as_not_negative("age_years", age)
    as_positive("weight", w)
    w, offset = without_humidity(w, offset, fit_before.prior)
    shift = fit_before.age_shift_years.T
    power = age_powers(age, shift, fit_before.exponents).transpose(2, 1, 0)
    x = regressors(age, offset, fit_before.prior)
    start = np.einsum("rn,nr->n", x, fit_before.base)
    lift = power - np.einsum("rn,napr->nap", x, fit_before.drag)
    mean = start[:, None, None, None] + fit_before.rates_mm * lift[:, :, :, None]
    leverage = 1.0 / w + np.einsum("in,nij,jn->n", x, fit_before.covariance, x)
    scale = np.sqrt(fit_before.noise_variance() * leverage[:, None, None, None])
    score = (rise[:, None, None, None] - mean) / scale
    dof = fit_before.dof[:, None, None, None]
    outer = stdtr(dof, -np.abs(score))
    below = (fit_before.weight * np.where(score < 0, outer, 1.0 - outer)).sum(axis=(1, 2, 3))
    above = (fit_before.weight * np.where(score < 0, 1.0 - outer, outer)).sum(axis=(1, 2, 3))
    tail = np.minimum(below, above)  # the smaller tail keeps its digits
    return np.asarray(np.where(below < above, ndtri(tail), -ndtri(tail)))


def _readings(
    age_years: ArrayLike, rise_mm: ArrayLike, moisture_offset_pct: ArrayLike, weight: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Checked copies with harmless values in the padding; a missing rise gets weight 0."""
    age = as_numbers("age_years", age_years)
    if age.ndim != 2:
        raise ValueError(f"age_years must have shape (N, m), got {age.shape}")
    rise = _as_shape("rise_mm", rise_mm, age.shape)
    offset = _as_shape("moisture_offset_pct", moisture_offset_pct, age.shape)
    w = _as_shape("weight", weight, age.shape)
    as_not_negative("weight", w)
    w = np.where(np.isnan(rise), 0.0, w)
    used = w > 0
    age, rise, offset = (np.where(used, a, 0.0) for a in (age, rise, offset))
    as_not_negative("age_years", age)
    as_reading("rise_mm", rise)
    as_reading("moisture_offset_pct", offset)
    return age, rise, offset, w


def _as_shape(name: str, value: ArrayLike, shape: tuple[int, ...]) -> FloatArray:
    array = as_numbers(name, value)
    if array.ndim == 0:
        return np.full(shape, float(array))
    if array.shape != shape:
        raise ValueError(f"{name} must have shape {shape}, got {array.shape}")
    return array


def _age_shifts(age_sd_years: ArrayLike | None, n: int) -> FloatArray:
    """Shifts of age to mix over, (N, 1) if every age is known and (N, 3) otherwise. [y]"""
    if age_sd_years is None:
        return np.zeros((n, 1))
    sd = as_not_negative("age_sd_years", _as_shape("age_sd_years", age_sd_years, (n,)))
    return sd[:, None] * AGE_NODES if sd.any() else np.zeros((n, 1))
