"""When the lift reaches a limit, and where it will be: quantiles of the fitted mixture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from geometry.lift_mixture import (
    AnyFloat,
    Distribution,
    Mixture,
    law_powers,
    mixture_of,
    solve_increasing,
)
from geometry.lift_model import RATE_YEARS, FloatArray, LiftFit, RowIndex

#: Ages are found to better than this, as far as single precision goes. [y]
AGE_TOLERANCE_YEARS = 3e-4
#: An age below this is the origin. [y]
ORIGIN_YEARS = 1e-3
#: Heights are found to better than this. [mm]
RISE_TOLERANCE_MM = 1e-4
#: Instruments worked on at a time.
CHUNK = 512
#: Bins of log age for the first guess of a crossing.
GUESS_BINS = 24
#: Share of the cells in the first bin from which an instrument may have crossed at the origin.
EARLY_FROM = 0.005


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


def _chunks(fit: LiftFit) -> Iterator[RowIndex]:
    """Usable instruments, like beside like so that they share negligible cells, in chunks."""
    usable = np.flatnonzero(fit.usable & np.isfinite(fit.dof))
    if len(usable) > CHUNK:
        mean_log_rate = fit.weight.sum(axis=(1, 2)) @ np.log(fit.rates_mm)
        usable = usable[np.argsort(mean_log_rate[usable])]
    for start in range(0, len(usable), CHUNK):
        yield usable[start : start + CHUNK]


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
    for rows in _chunks(fit):
        part = fit.take(rows)
        mixture = mixture_of(part, fast=True)
        for k in range(limits.shape[1]):
            ages[rows, k] = _cross(part, mixture, limits[rows, k], horizon[rows], wanted)
    return ages[:, 0] if single else ages


@dataclass
class _Passed:
    """Chance of having passed a limit by an age, for problems that drop out as they are solved."""

    fit: LiftFit
    mixture: Mixture
    threshold: AnyFloat
    live: RowIndex

    def of(self, rows: RowIndex) -> Distribution:
        """The distribution functions of some of the problems."""
        return lambda log_age, live: self.at(log_age, rows[live])

    def at(self, log_age: FloatArray, live: RowIndex) -> FloatArray:
        """Chances at log ages (k,) of problems (k,), which are among those of the call before."""
        if 4 * len(live) < 3 * len(self.live):
            place = np.searchsorted(self.live, live)
            self.fit, self.mixture = self.fit.take(place), self.mixture.take(place)
            self.threshold, self.live = self.threshold[:, place], live
        age = np.exp(log_age)
        if len(live) < len(self.live):
            place = np.searchsorted(self.live, live)
            age = np.ones(len(self.live))
            age[place] = np.exp(log_age)
        score = self.mixture.height(law_powers(self.fit, age))
        score -= self.threshold
        chance = self.mixture.chance(score)
        return chance if len(live) == len(self.live) else chance[place]


def _cross(
    fit: LiftFit, mixture: Mixture, limit: FloatArray, horizon: FloatArray, wanted: FloatArray
) -> FloatArray:
    """Ages at one limit, (n, q)."""
    ages = np.full((len(fit), len(wanted)), np.nan)
    known = np.flatnonzero(~np.isnan(limit))
    if not known.size:
        return ages
    if len(known) < len(fit):
        ages[known] = _cross(
            fit.take(known), mixture.take(known), limit[known], horizon[known], wanted
        )
        return ages
    threshold = mixture.per_mm * limit.astype(mixture.per_mm.dtype)
    low, high = np.full(len(fit), np.log(ORIGIN_YEARS)), np.log(horizon)
    everyone = np.arange(len(fit))
    guesses, slope, early = _guess(fit, mixture, threshold, low, high, wanted)
    at_origin = np.zeros(len(fit))
    if early.size:
        at_origin[early] = _Passed(fit, mixture, threshold, everyone).at(low[early], early)
    at_horizon = _Passed(fit, mixture, threshold, everyone).at(high, everyone)
    for j, q in enumerate(wanted):
        ages[at_origin >= q, j] = 0.0
        rows = np.flatnonzero((at_origin < q) & (at_horizon >= q))
        if not rows.size:
            continue
        log_age = solve_increasing(
            _Passed(fit, mixture, threshold, everyone).of(rows),
            np.full(len(rows), q),
            low[rows],
            high[rows],
            AGE_TOLERANCE_YEARS,
            guess=guesses[rows, j],
            slope=slope[rows],
            unit=np.exp,
        )
        ages[rows, j] = np.exp(log_age)
    return ages


def _guess(
    fit: LiftFit,
    mixture: Mixture,
    threshold: AnyFloat,
    low: FloatArray,
    high: FloatArray,
    wanted: FloatArray,
) -> tuple[FloatArray, FloatArray, RowIndex]:
    """First guesses of log ages, (n, q), from a histogram of the cells' own crossings.

    Also the slope of the normal score against log age, (n,), and the instruments of which some cell
    lies beyond the limit at the origin already.
    """
    n = len(fit)
    exponent = np.tile(fit.exponents, fit.spread1.shape[1])[mixture.law].astype(threshold.dtype)
    needed = threshold - mixture.origin
    needed /= mixture.rate
    np.maximum(needed, np.finfo(threshold.dtype).tiny, out=needed)
    np.log(needed, out=needed)
    needed /= exponent[:, None]
    per_bin = (high - low) / GUESS_BINS
    needed += (np.log(RATE_YEARS) - low).astype(threshold.dtype)
    needed /= per_bin.astype(threshold.dtype)
    np.clip(needed, 0.0, GUESS_BINS, out=needed)
    place = needed.astype(np.intp)
    place += np.arange(n) * (GUESS_BINS + 1)
    mass = np.bincount(place.ravel(), mixture.weight.ravel(), n * (GUESS_BINS + 1))
    below = np.cumsum(mass.reshape(n, -1), axis=1)
    guesses = np.empty((n, len(wanted)))
    for j, q in enumerate(wanted):
        after = np.minimum((below < q).sum(axis=1), GUESS_BINS)
        before = np.where(after > 0, below[np.arange(n), after - 1], 0.0)
        inside = mass.reshape(n, -1)[np.arange(n), after]
        share = (q - before) / np.maximum(inside, 1e-9)
        guesses[:, j] = low + per_bin * (after + np.clip(share, 0.0, 1.0))
    width = np.abs(guesses[:, -1] - guesses[:, 0])
    reach = np.ptp(ndtri(wanted))
    slope = np.maximum(reach, 0.5) / np.maximum(width, per_bin)
    return guesses, slope, np.flatnonzero(below[:, 0] > EARLY_FROM)


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
    for rows in _chunks(fit):
        part = fit.take(rows)
        mixture = mixture_of(part, fast=False)
        for k in range(ages.shape[1]):
            height = mixture.height(law_powers(part, ages[rows, k]))
            chance[rows, k] = mixture.chance(height - mixture.per_mm * limit[rows])
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
    count = ages.shape[1]
    rise = np.full((*ages.shape, len(wanted)), np.nan)
    per_turn = max(1, CHUNK // max(count, 1))
    for chunk in _chunks(fit):
        for start in range(0, len(chunk), per_turn):
            rows = chunk[start : start + per_turn]
            repeated = fit.take(np.repeat(rows, count))
            mixture = mixture_of(repeated, fast=False, reading_noise=predictive)
            found = _rise_quantiles(repeated, mixture, ages[rows].ravel(), wanted)
            rise[rows] = found.reshape(len(rows), count, -1)
    return rise


def _rise_quantiles(
    fit: LiftFit, mixture: Mixture, age: FloatArray, wanted: FloatArray
) -> FloatArray:
    """Quantiles of the mixture of rises at one age of each instrument, (n, q)."""
    n = len(fit)
    height = mixture.height(law_powers(fit, age))
    mean = height / mixture.per_mm
    centre = np.einsum("cn,cn->n", mixture.weight, mean)
    within = 1.0 / mixture.per_mm**2 + (mean - centre) ** 2
    sd = np.sqrt(np.einsum("cn,cn->n", mixture.weight, within))
    # beyond 60 scales of every cell lies less than the probabilities anyone asks for
    low = np.min(mean - 60.0 / mixture.per_mm, axis=0)
    high = np.max(mean + 60.0 / mixture.per_mm, axis=0)
    result = np.empty((n, len(wanted)))

    def below(x: FloatArray, live: RowIndex) -> FloatArray:
        full = centre.copy()
        full[live] = x * sd[live] + centre[live]
        return mixture.chance(mixture.per_mm * full - height)[live]

    for j, q in enumerate(wanted):
        found = solve_increasing(
            below,
            np.full(n, q),
            (low - centre) / sd,
            (high - centre) / sd,
            RISE_TOLERANCE_MM,
            guess=np.zeros(n),
        )
        result[:, j] = centre + sd * found
    return result
