"""The lift model's prior, its fitted state, and the cells that both are made of.

A *cell* is one law of lift, ``β·(t / 30 y)^p``, for one assumed age: exponent p, rate β (mm gained
in the first 30 years) and, where the build year is unknown, one of three shifts of age. Within a
cell everything else has a closed form.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometry._checks import FloatArray
from geometry.constants import (
    LIFT_EXPONENTS,
    LIFT_LOG_RATE_SD,
    LIFT_NOISE_MM,
    LIFT_NOISE_SHAPE,
    LIFT_RATE_MM,
    LIFT_RATE_RANGE_MM,
    LIFT_RATES,
    MOISTURE_SLOPE_MM_PER_PCT,
    MOISTURE_SWING_SD_PCT,
    ORIGIN_RISE_MM,
    RATE_YEARS,
)

RowIndex = NDArray[np.intp]


@cache
def _default_rates() -> tuple[float, ...]:
    return tuple(float(rate) for rate in np.geomspace(*LIFT_RATE_RANGE_MM, LIFT_RATES))


def _equal_weights() -> tuple[float, ...]:
    return (1.0 / len(LIFT_EXPONENTS),) * len(LIFT_EXPONENTS)


@dataclass(frozen=True)
class LiftPrior:
    """What is assumed of an instrument before its readings. Each is a planning default, no
    published source.

    ``log_rate_mean``, ``log_rate_sd`` and ``exponent_weights`` may also hold one value (or row)
    per instrument, as the shop's own prior by group does.

    Attributes
    ----------
    log_rate_mean : float or (N,) ndarray
        Mean of log β, β in mm over the first 30 years. Planning default, no published source.
    log_rate_sd : float or (N,) ndarray
        Standard deviation of log β; infinite is flat over the grid. Planning default, no published
        source.
    exponents : (P,) tuple
        Exponents p of the power laws. Planning default, no published source.
    exponent_weights : (P,) tuple or (N, P) ndarray
        Their prior weights, scaled to 1. Planning default, no published source.
    origin_rise_mean_mm, origin_rise_sd_mm : float
        Bridge rise when the strings went on; an infinite s.d. is flat. Planning default, no
        published source.
    moisture_slope_mean, moisture_slope_sd : float
        Rise per 1 % of moisture content. [mm / % MC] Planning default, no published source.
    moisture_swing_sd_pct : float
        Seasonal s.d. of the moisture content, for readings without humidity. [% MC] Planning
        default, no published source.
    season_sd_mm : float
        S.d. of each half (sine and cosine of the year) of the season that the humidity at the reading
        does not explain: wood follows the air weeks late. 0, the default, leaves it out; a fleet teaches
        it (:func:`geometry.fleet.learn_prior`). Planning default, no
        published source.
    noise_mm, noise_shape : float
        S.d. of a reading of weight 1 and how firmly it is held: 2·shape readings' worth; shape 0 is
        flat in log σ. Planning default, no published source.
    rates_mm : (B,) tuple
        Grid of β. [mm per 30 y] Planning default, no published source.
    """

    log_rate_mean: float | FloatArray = float(np.log(LIFT_RATE_MM))
    log_rate_sd: float | FloatArray = LIFT_LOG_RATE_SD
    exponents: tuple[float, ...] = LIFT_EXPONENTS
    exponent_weights: tuple[float, ...] | FloatArray = field(default_factory=_equal_weights)
    origin_rise_mean_mm: float = ORIGIN_RISE_MM[0]
    origin_rise_sd_mm: float = ORIGIN_RISE_MM[1]
    moisture_slope_mean: float = MOISTURE_SLOPE_MM_PER_PCT[0]
    moisture_slope_sd: float = MOISTURE_SLOPE_MM_PER_PCT[1]
    moisture_swing_sd_pct: float = MOISTURE_SWING_SD_PCT
    season_sd_mm: float = 0.0
    noise_mm: float = LIFT_NOISE_MM
    noise_shape: float = LIFT_NOISE_SHAPE
    rates_mm: tuple[float, ...] = field(default_factory=_default_rates)

    def __post_init__(self) -> None:
        for name in ("log_rate_sd", "origin_rise_sd_mm", "moisture_slope_sd", "noise_mm"):
            value = np.asarray(getattr(self, name), dtype=float)
            if not np.all(value > 0):
                raise ValueError(f"{name} must be positive, got {value[~(value > 0)].flat[0]}")
        for name in ("exponents", "rates_mm"):
            value = np.asarray(getattr(self, name), dtype=float)
            if value.ndim != 1 or not value.size or not np.all((value > 0) & np.isfinite(value)):
                raise ValueError(f"{name} must be a row of positive numbers, got {value}")
            # a prior that was stored comes back with lists
            object.__setattr__(self, name, tuple(value.tolist()))
        weights = np.asarray(self.exponent_weights, dtype=float)
        if weights.shape[-1:] != (len(self.exponents),):
            raise ValueError(
                f"exponent_weights must be {len(self.exponents)} weights, got shape {weights.shape}"
            )
        if not (np.all(weights >= 0) and np.all(weights.sum(axis=-1) > 0)):
            raise ValueError(f"exponent_weights must be weights, got {weights}")
        for name in ("noise_shape", "season_sd_mm"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name} must not be negative, got {getattr(self, name)}")

    def coefficients(self) -> tuple[FloatArray, FloatArray]:
        """Prior mean and s.d. of the regressors' coefficients, (R,) each; see :func:`regressors`."""
        mean = [self.origin_rise_mean_mm, self.moisture_slope_mean]
        sd = [self.origin_rise_sd_mm, self.moisture_slope_sd]
        if self.season_sd_mm > 0:
            mean += [0.0, 0.0]
            sd += [self.season_sd_mm, self.season_sd_mm]
        return np.array(mean), np.array(sd)

    def log_weight(self) -> FloatArray:
        """Log prior weight of each (exponent, rate), (1 or N, P, B); each row sums to 1."""
        mean = np.atleast_1d(np.asarray(self.log_rate_mean, dtype=float))
        sd = np.atleast_1d(np.asarray(self.log_rate_sd, dtype=float))
        shares = np.atleast_2d(np.asarray(self.exponent_weights, dtype=float))
        offset = (np.log(np.asarray(self.rates_mm)) - mean[:, None]) / sd[:, None]
        density = -0.5 * offset**2
        density -= np.log(np.exp(density).sum(axis=1, keepdims=True))
        with np.errstate(divide="ignore"):
            share = np.log(shares / shares.sum(axis=1, keepdims=True))
        return np.asarray(share[:, :, None] + density[:, None, :])

    def take(self, rows: RowIndex) -> LiftPrior:
        """The prior of some of the instruments; what holds for all of them stays as it is."""
        alone = {"log_rate_mean": 0, "log_rate_sd": 0, "exponent_weights": 1}  # dimensions
        given = {name: np.asarray(getattr(self, name)) for name in alone}
        taken: dict[str, Any] = {
            name: value[rows]
            for name, value in given.items()
            if value.ndim > alone[name] and len(value) > 1
        }
        return replace(self, **taken)

    def check_rows(self, n: int) -> None:
        """Raise ValueError unless fields given per instrument hold n values."""
        for name, ndim in (("log_rate_mean", 0), ("log_rate_sd", 0), ("exponent_weights", 1)):
            value = np.asarray(getattr(self, name), dtype=float)
            if value.ndim > ndim and value.shape[0] not in (1, n):
                raise ValueError(f"{name} must be one value or {n}, got shape {value.shape}")


@dataclass(frozen=True)
class LiftFit:
    """The fitted lift of N instruments: a mixture of cells (A age shifts × P exponents × B rates).

    A reading's regressors are R: 1, its moisture offset and, unless left out, the sine and cosine of the
    year. In cell (a, p, β) their coefficients are Student t with ``dof`` degrees of freedom about ``base −
    β·drag[a, p]``, and a reading of weight 1 has variance ``(spread0 − 2β·spread1[a, p] + β²·spread2[a,
    p]) / dof``. The first coefficient is the rise at the origin and the reference climate. Instruments
    without a usable reading hold NaN.

    Attributes
    ----------
    prior : LiftPrior
    usable : (N,) bool ndarray
        Whether there was any reading to fit.
    weight : (N, A, P, B) ndarray
        Posterior weight of each cell; sums to 1.
    base : (N, R) ndarray
        Coefficients if β were 0: rise at the origin [mm], moisture slope [mm / % MC], season [mm, mm].
    drag : (N, A, P, R) ndarray
        What each unit of β takes off them.
    spread0 : (N,) ndarray
    spread1, spread2 : (N, A, P) ndarray
        Coefficients of the sum of squares, a quadratic in β. [mm², mm, 1]
    covariance : (N, R, R) ndarray
        Of the coefficients, over the variance of a reading of weight 1.
    dof : (N,) ndarray
    age_shift_years : (N, A) ndarray
        Added to the stated age in each age node; 0 where the age is known.
    reading_factor : (N, m) ndarray
        1 for a reading taken at full weight, near 0 for one held to be wild; 0 for padding.
    """

    prior: LiftPrior
    usable: NDArray[np.bool_]
    weight: FloatArray
    base: FloatArray
    drag: FloatArray
    spread0: FloatArray
    spread1: FloatArray
    spread2: FloatArray
    covariance: FloatArray
    dof: FloatArray
    age_shift_years: FloatArray
    reading_factor: FloatArray

    def __len__(self) -> int:
        return len(self.usable)

    @property
    def exponents(self) -> FloatArray:
        """Exponents of the cells, (P,)."""
        return np.asarray(self.prior.exponents, dtype=float)

    @property
    def rates_mm(self) -> FloatArray:
        """Rates of the cells, (B,). [mm per 30 y]"""
        return np.asarray(self.prior.rates_mm, dtype=float)

    def noise_variance(self, rows: slice = slice(None)) -> FloatArray:
        """Variance scale of a reading of weight 1 in each cell, (n, A, P, B). [mm²]"""
        rate = self.rates_mm
        total = (
            self.spread0[rows, None, None, None]
            - 2.0 * rate * self.spread1[rows, :, :, None]
            + rate**2 * self.spread2[rows, :, :, None]
        )
        return np.asarray(np.maximum(total, 0.0) / self.dof[rows, None, None, None])

    def mean_spread(self) -> FloatArray:
        """Sum of squares averaged over the cells, (N,). [mm²]"""
        first = self.weight @ self.rates_mm
        second = self.weight @ self.rates_mm**2
        quadratic = second * self.spread2 - 2.0 * first * self.spread1
        return np.asarray(self.spread0 + quadratic.sum(axis=(1, 2)))

    def coefficients(self) -> tuple[FloatArray, FloatArray]:
        """Posterior mean and variance of the regressors' coefficients, (N, R) each."""
        first, second = self.weight @ self.rates_mm, self.weight @ self.rates_mm**2
        drag = np.einsum("nap,napr->nr", first, self.drag)
        between = np.einsum("nap,napr->nr", second, self.drag**2) - drag**2
        noise = self.mean_spread() / np.where(self.dof > 2, self.dof - 2.0, np.nan)
        within = noise[:, None] * np.diagonal(self.covariance, axis1=1, axis2=2)
        return self.base - drag, within + np.maximum(between, 0.0)

    def take(self, rows: slice | RowIndex) -> LiftFit:
        """The fit of some of the instruments."""
        names = [n for n in self.__dataclass_fields__ if n != "prior"]
        return LiftFit(prior=self.prior, **{name: getattr(self, name)[rows] for name in names})


def regressors(age_years: FloatArray, offset_pct: FloatArray, prior: LiftPrior) -> FloatArray:
    """Regressors of readings beside the lift: 1, moisture offset and, if in the prior, the season.

    Parameters
    ----------
    age_years, offset_pct : ndarray
        Of one shape. The stated ages serve: a shift of age only shifts the year's phase, which is
        unknown anyway.

    Returns
    -------
    (R, ...) ndarray
    """
    rows = [np.ones_like(age_years), offset_pct]
    if prior.season_sd_mm > 0:
        phase = 2.0 * np.pi * age_years
        rows += [np.sin(phase), np.cos(phase)]
    return np.stack(rows)


def age_powers(age_years: FloatArray, shift_years: FloatArray, exponents: FloatArray) -> FloatArray:
    """(t / 30 y)^p at each age, age shift and exponent.

    Parameters
    ----------
    age_years : (..., n) ndarray
    shift_years : (A, ..., n) ndarray
        A shifted age is kept at a small positive value. Broadcasts against ``age_years``.
    exponents : (P,) ndarray

    Returns
    -------
    (P, A, ..., n) ndarray
        With A = 1 if no age is shifted.
    """
    if not shift_years.any():
        shifted = age_years[None]  # same values for every shift: work them out once
    else:
        shifted = age_years + shift_years
        shifted = np.where(shift_years != 0.0, np.maximum(shifted, SMALLEST_AGE_YEARS), shifted)
    with np.errstate(divide="ignore"):
        log_age = np.log(shifted / RATE_YEARS)
    return np.asarray(np.exp(np.multiply.outer(exponents, log_age)))


#: Where an uncertain age would put a reading before the strings went on. [y]
SMALLEST_AGE_YEARS = 0.01
