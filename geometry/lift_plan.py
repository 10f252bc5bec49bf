"""What one more reading would buy: how much narrower it is expected to make the range of dates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from geometry._checks import FloatArray
from geometry.crossing import crossing
from geometry.lift import fit_lift, surprise
from geometry.lift_fit import AGE_NODE_WEIGHTS, AGE_NODES
from geometry.lift_mixture import solve_increasing
from geometry.lift_model import LiftFit, LiftPrior, RowIndex

#: Normal scores of the readings tried, and their weights: the three-point Gauss–Hermite rule.
SCORES, SCORE_WEIGHTS = AGE_NODES, AGE_NODE_WEIGHTS
#: A reading tried is sought this far from the last, and to this. [mm]
REACH_MM, TOLERANCE_MM = 60.0, 1e-3


@dataclass(frozen=True)
class Narrowing:
    """Width of the range of dates now and as expected after one more reading, (N,) each. [y]

    0 where even the early date is past the horizon, NaN without a usable reading or a limit.
    """

    now_years: FloatArray
    after_years: FloatArray


def expected_narrowing(
    age_years: ArrayLike,
    rise_mm: ArrayLike,
    moisture_offset_pct: ArrayLike,
    weight: ArrayLike,
    *,
    next_age_years: ArrayLike,
    next_offset_pct: ArrayLike,
    limit_mm: ArrayLike,
    horizon_age_years: ArrayLike,
    prior: LiftPrior | None = None,
    age_sd_years: ArrayLike | None = None,
) -> Narrowing:
    """Expected width of the 10–90 % range of dates after one more reading.

    Parameters
    ----------
    age_years, rise_mm, moisture_offset_pct, weight, prior, age_sd_years
        The readings so far, as for :func:`geometry.lift.fit_lift`.
    next_age_years, next_offset_pct : (N,) array_like
        When the next reading would be taken, and the moisture then (a dry month is below 0); NaN if its
        humidity would not be read. [y], [% MC]
    limit_mm, horizon_age_years : (N,) array_like
        As for :func:`geometry.crossing.crossing`. A late date past the horizon counts as the horizon.

    Returns
    -------
    Narrowing

    Raises
    ------
    ValueError
        As :func:`geometry.lift.fit_lift` and :func:`geometry.crossing.crossing`.

    Notes
    -----
    Three readings are tried, low, middle and high in the present forecast, and the widths after each
    are averaged with the weights of the Gauss–Hermite rule. A width is an expectation: one reading may
    widen the range by contradicting what was thought.
    """
    columns = [
        np.asarray(a, dtype=float) for a in (age_years, rise_mm, moisture_offset_pct, weight)
    ]
    fit = fit_lift(*columns, prior=prior, age_sd_years=age_sd_years)
    n = len(fit)
    age, offset, limit, horizon = (
        np.broadcast_to(np.asarray(a, dtype=float), (n,))
        for a in (next_age_years, next_offset_pct, limit_mm, horizon_age_years)
    )
    now = _widths(fit, limit, horizon)
    # The readings tried, all at once: each row of the fit as often as there are scores.
    every = np.tile(np.arange(n), len(SCORES))
    score = np.repeat(SCORES, n)
    reading = _reading_of_score(
        fit.take(every), age[every], offset[every], columns[1][every], score
    )
    added = (age[every], reading, offset[every], np.isfinite(reading).astype(float))
    refit = fit_lift(
        *(np.column_stack([c[every], a]) for c, a in zip(columns, added, strict=True)),
        prior=None if prior is None else prior.take(every),
        age_sd_years=None if age_sd_years is None else np.broadcast_to(age_sd_years, (n,))[every],
    )
    widths = _widths(refit, limit[every], horizon[every]).reshape(len(SCORES), n)
    after = SCORE_WEIGHTS @ widths
    return Narrowing(now_years=now, after_years=np.where(np.isnan(now), np.nan, after))


def _widths(fit: LiftFit, limit: FloatArray, horizon: FloatArray) -> FloatArray:
    """Years from the early date to the late one, both no later than the horizon; NaN without either."""
    dates = crossing(fit, limit, horizon_age_years=horizon, probabilities=(0.1, 0.9))
    capped = np.where(np.isnan(dates), horizon[:, None], dates)
    return np.where(fit.usable & ~np.isnan(limit), capped[:, 1] - capped[:, 0], np.nan)


def _reading_of_score(
    fit: LiftFit, age: FloatArray, offset: FloatArray, rise: FloatArray, score: float | FloatArray
) -> FloatArray:
    """The reading that would have a given normal score in the present forecast, (n,). [mm]"""
    n = len(fit)
    chance = np.broadcast_to(ndtr(score), (n,))
    found = np.full(n, np.nan)
    rows = np.flatnonzero(fit.usable)
    part = fit.take(rows)
    middle = np.nanmean(rise[rows], axis=1) if rows.size else np.empty(0)

    def below(x: FloatArray, live: RowIndex) -> FloatArray:
        return np.asarray(ndtr(surprise(part.take(live), age[rows][live], x, offset[rows][live])))

    found[rows] = solve_increasing(
        below,
        chance[rows],
        middle - REACH_MM,
        middle + REACH_MM,
        TOLERANCE_MM,
        guess=middle,
    )
    return found
