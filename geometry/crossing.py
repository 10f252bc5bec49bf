"""When the lift reaches a limit, and where it will be: quantiles of the fitted mixture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from geometry._checks import FloatArray, as_not_negative, as_numbers, as_positive
from geometry.constants import RATE_YEARS
from geometry.lift_mixture import (
    SCORE_REACH,
    Mixture,
    mixture_of,
    normal_score,
    solve_increasing,
)
from geometry.lift_model import LiftFit, RowIndex

#: Ages are found to better than this, as far as single precision goes. [y]
AGE_TOLERANCE_YEARS = 3e-4
#: An age below this is the origin. [y]
ORIGIN_YEARS = 1e-3
#: Heights are found to better than this. [mm]
RISE_TOLERANCE_MM = 1e-4
#: Instruments worked on at a time, and the weight under which a rate does not count in sorting them.
CHUNK = 1536
LIGHT = 1e-5
#: Bins of log age for the first guess of a crossing.
GUESS_BINS = 24
#: Share of the cells in the first bin from which an instrument may have crossed at the origin.
EARLY_FROM = 0.005
#: Share of the cells past the horizon from which an instrument's quantiles may be.
LATE_FROM = 1e-4


def _limits(fit: LiftFit, name: str, value: ArrayLike) -> tuple[FloatArray, bool]:
    """(N, k) array and whether it came as (N,)."""
    array = as_numbers(name, value)
    n = len(fit)
    if array.ndim == 0:
        array = np.full(n, float(array))
    if array.ndim not in (1, 2) or len(array) != n:
        raise ValueError(f"{name} must have shape ({n},) or ({n}, k), got {array.shape}")
    return (array[:, None], True) if array.ndim == 1 else (array, False)


def _probabilities(values: Sequence[float]) -> FloatArray:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or not np.all((array > 0) & (array < 1)):
        raise ValueError(f"probabilities must lie between 0 and 1, got {values}")
    return array


def _chunks(fit: LiftFit, problems: int = 1) -> Iterator[RowIndex]:
    """Usable instruments, like beside like so that they share negligible cells, in chunks of
    ``CHUNK`` problems."""
    usable = np.flatnonzero(fit.usable & np.isfinite(fit.dof))
    size = max(1, CHUNK // max(problems, 1))
    if len(usable) > size:
        heavy = fit.weight[usable].max(axis=(1, 2)) > LIGHT
        slowest, fastest = heavy.argmax(axis=1), -heavy[:, ::-1].argmax(axis=1)
        usable = usable[np.lexsort((fastest, slowest))]
    for start in range(0, len(usable), size):
        yield usable[start : start + size]


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
    as_positive("horizon_age_years", horizon)
    wanted = _probabilities(probabilities)
    ages = np.full((*limits.shape, len(wanted)), np.nan)
    for rows in _chunks(fit, ages[0].size if len(fit) else 1):
        mixture = mixture_of(fit.take(rows), fast=True)
        who, which = np.nonzero(~np.isnan(limits[rows]))
        if who.size:
            limited = mixture.take(who).less(limits[rows[who], which])
            ages[rows[who], which] = _cross(limited, np.log(horizon[rows[who]]), wanted)
    return ages[:, 0] if single else ages


@dataclass
class _Passed:
    """Chance of having passed a limit by an age, for problems that drop out as they are solved.

    The mixture's origins are less the limit; ``live`` are the problems it holds.
    """

    mixture: Mixture
    live: RowIndex

    def at(self, log_age: FloatArray, live: RowIndex) -> FloatArray:
        """Chances at log ages (k,) of problems (k,), which are among those of the call before."""
        if len(live) == len(self.live):
            return self.mixture.chance_at(log_age)
        place = np.searchsorted(self.live, live)
        if 4 * len(live) < 3 * len(self.live):
            self.mixture, self.live = self.mixture.take(place), live
            return self.mixture.chance_at(log_age)
        everyone = np.zeros(len(self.live))
        everyone[place] = log_age
        return self.mixture.chance_at(everyone)[place]


def _cross(limited: Mixture, high: FloatArray, wanted: FloatArray) -> FloatArray:
    """Ages at which each of n mixtures, less its limit, passes 0, (n, q); ``high`` is a log age."""
    n, q = len(high), len(wanted)
    low = np.full(n, np.log(ORIGIN_YEARS))
    guesses, early, late = _guess(limited, low, high, wanted)
    at_origin, at_horizon = np.zeros(n), np.ones(n)
    if early.size:
        at_origin[early] = limited.take(early).chance_at(low[early])
    if late.size:
        at_horizon[late] = limited.take(late).chance_at(high[late])
    passed = at_origin[:, None] >= wanted
    # The same few points serve all the quantiles as brackets and first secants; those of quantiles
    # passed at the origin, or not by the horizon, fall together with these.
    points = np.column_stack([low, *[high] * (q + 1)])
    scores = np.repeat(normal_score(at_horizon)[:, None], q + 2, axis=1)
    scores[:, 0] = -SCORE_REACH
    points[:, 1:-1] = np.where(passed, low[:, None], points[:, 1:-1])
    scores[:, 1:-1] = np.where(passed, -SCORE_REACH, scores[:, 1:-1])
    ages = np.where(passed, 0.0, np.nan)
    row, place = np.nonzero(~passed & (at_horizon[:, None] >= wanted))
    if row.size:
        asked = limited.take(row)
        points[row, place + 1] = guesses[row, place]
        scores[row, place + 1] = normal_score(asked.chance_at(guesses[row, place]))
        ages[row, place] = _solve(asked, points[row], scores[row], wanted[place])
    return ages


def _solve(
    mixture: Mixture, points: FloatArray, scores: FloatArray, wanted: FloatArray
) -> FloatArray:
    """Ages at which chances (n,) are reached, from scores at increasing log ages (n, k)."""
    row = np.arange(len(points))
    target = ndtri(wanted)
    above = np.clip((scores < target[:, None]).sum(axis=1), 1, points.shape[1] - 1)
    a, b = points[row, above - 1], points[row, above]
    fa, fb = scores[row, above - 1] - target, scores[row, above] - target
    with np.errstate(divide="ignore", invalid="ignore"):
        guess = np.where(fb > fa, a - fa * (b - a) / (fb - fa), 0.5 * (a + b))
    near = np.abs(fa) < np.abs(fb)
    log_age = solve_increasing(
        _Passed(mixture, row).at,
        wanted,
        a,
        b,
        AGE_TOLERANCE_YEARS,
        guess=guess,
        known=(np.where(near, a, b), np.where(near, fa, fb) + target),
        unit=np.exp,
    )
    return np.exp(log_age)


def _guess(
    mixture: Mixture, low: FloatArray, high: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, RowIndex, RowIndex]:
    """First guesses of log ages, (n, q), from a histogram of the cells' own crossings.

    Also the instruments of which some cells lie beyond the limit at the origin already, and those
    of which some never do up to the horizon.
    """
    n = len(low)
    kind = mixture.origin.dtype
    needed = mixture.origin / mixture.rate
    np.negative(needed, out=needed)
    np.maximum(needed, np.finfo(kind).tiny, out=needed)
    np.log(needed, out=needed)
    needed /= mixture.exponent.astype(kind)[:, None]
    per_bin = (high - low) / GUESS_BINS
    needed += (np.log(RATE_YEARS) - low).astype(kind)
    needed /= per_bin.astype(kind)
    np.clip(needed, 0.0, GUESS_BINS, out=needed)
    place = needed.astype(np.intp)
    place += np.arange(n) * (GUESS_BINS + 1)
    mass = np.bincount(place.ravel(), mixture.weight.ravel(), n * (GUESS_BINS + 1))
    mass = mass.reshape(n, -1)
    below = np.cumsum(mass, axis=1)
    guesses = np.empty((n, len(wanted)))
    row = np.arange(n)
    for j, q in enumerate(wanted):
        after = np.minimum((below < q).sum(axis=1), GUESS_BINS)
        before = np.where(after > 0, below[row, after - 1], 0.0)
        share = (q - before) / np.maximum(mass[row, after], 1e-9)
        guesses[:, j] = low + per_bin * (after + np.clip(share, 0.0, 1.0))
    early = np.flatnonzero(below[:, 0] > EARLY_FROM)
    return np.maximum.accumulate(guesses, axis=1), early, np.flatnonzero(mass[:, -1] > LATE_FROM)


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
        Chances, to 2e-6; NaN where the fit is not usable or the limit is NaN.

    Raises
    ------
    ValueError
        On shapes that do not fit or a negative age.
    """
    limit = _limits(fit, "limit_mm", limit_mm)[0][:, 0]
    ages, single = _limits(fit, "age_years", age_years)
    as_not_negative("age_years", ages)
    chance = np.full(ages.shape, np.nan)
    count = ages.shape[1]
    for rows in _chunks(fit, count):
        limited = mixture_of(fit.take(rows), fast=True).less(limit[rows])
        asked = limited.take(np.repeat(np.arange(len(rows)), count))
        with np.errstate(divide="ignore"):
            chance[rows] = asked.chance_at(np.log(ages[rows].ravel())).reshape(-1, count)
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
        raise ValueError(f"age_years must have shape ({len(fit)}, k), got {np.shape(age_years)}")
    as_not_negative("age_years", ages)
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
    with np.errstate(divide="ignore"):
        height = mixture.height(np.log(age))
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
            guess=np.full(n, ndtri(q)),  # the mixture is nearly normal
        )
        result[:, j] = centre + sd * found
    return result
