"""Invented instruments whose lift is *not* made by the fitted model, with the truth known.

The lasting lift is a power law of random exponent plus a glue creep that dies out; the wood
follows the air's moisture late; 3 readings in 100 are wild; meters are biased and some readings
have none; work done is undone with an error that stays; some build years are guesses. Every figure
here is a planning assumption without a published source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometry.moisture import equilibrium_moisture_content

REFERENCE_HUMIDITY_PCT = 45.0
TEMPERATURE_C = 21.0
WILD_SHARE = 0.03
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Fleet:
    """Simulated instruments, cut at their last check-in.

    Readings are (N, m), padded on the right with weight 0; the rest is (N,). Ages are those the
    shop believes. ``next_*`` is the check-in after the cut.
    """

    age_years: np.ndarray
    rise_mm: np.ndarray
    moisture_offset_pct: np.ndarray
    weight: np.ndarray
    age_sd_years: np.ndarray
    age_now_years: np.ndarray
    limit_mm: np.ndarray
    years_to_crossing: np.ndarray
    wild: np.ndarray
    next_age_years: np.ndarray
    next_rise_mm: np.ndarray
    next_offset_pct: np.ndarray
    next_wild: np.ndarray

    @property
    def readings(self) -> np.ndarray:
        """Number of readings of each instrument."""
        return (self.weight > 0).sum(axis=1)


@dataclass(frozen=True)
class Laws:
    """What truly lifts each instrument, all (N,)."""

    origin: np.ndarray
    rate: np.ndarray
    exponent: np.ndarray
    glue_share: np.ndarray
    glue_years: np.ndarray

    def lasting(self, age: np.ndarray) -> np.ndarray:
        """Lasting rise at ages (N, k). [mm]"""
        origin, rate, exponent, share, years = (
            a[:, None]
            for a in (self.origin, self.rate, self.exponent, self.glue_share, self.glue_years)
        )
        wood = (age / 30.0) ** exponent
        glue = np.expm1(-age / years) / np.expm1(-30.0 / years)
        return origin + rate * ((1.0 - share) * wood + share * glue)

    def crossing_age(self, limit: np.ndarray) -> np.ndarray:
        """Age at which the lasting rise reaches limits (N,), by bisection on its logarithm. [y]"""
        low, high = np.full(len(limit), -9.0), np.full(len(limit), 30.0)
        for _ in range(60):
            middle = 0.5 * (low + high)
            below = self.lasting(np.exp(middle)[:, None])[:, 0] < limit
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.exp(high)


def simulate(
    count: int, seed: int, rate_factor: float = 1.0, most: int = 12, gauge_mm: float = 0.12
) -> Fleet:
    """A fleet rising ``rate_factor`` times the planning default, of 1 to ``most`` readings each.

    A quarter each have 1, 2–3, 4–6 and 7 or more readings. The limit is what is left of the saddle: 0.05
    to 1.2 mm above the lasting rise at the cut, whatever the rate.
    """
    rng = np.random.default_rng(seed)
    laws = Laws(
        origin=rng.normal(-2.0, 1.5, count),
        rate=1.6 * rate_factor * np.exp(rng.normal(0.0, 0.7, count)),
        exponent=rng.uniform(0.2, 0.9, count),
        glue_share=rng.uniform(0.0, 0.3, count),
        glue_years=rng.uniform(3.0, 20.0, count),
    )
    bins = np.array([(1, 1), (2, 3), (4, 6), (7, most)])[rng.integers(0, 4, count)]
    last = rng.integers(bins[:, 0], bins[:, 1] + 1) - 1
    age = _check_in_ages(rng, count, most + 1)
    swing, offset = _season(rng, age)
    wild = rng.random(age.shape) < WILD_SHARE
    rise = laws.lasting(age) + swing + _work_errors(rng, last, age.shape)
    rise += _gauge_errors(rng, wild, gauge_mm)
    rise = np.round(rise / 0.05) * 0.05
    row = np.arange(count)
    guessed = rng.random(count) < 0.15
    age_sd = np.where(guessed, np.minimum(4.0, 0.3 * age[:, 0]), 0.0)
    stated = age + np.maximum(age_sd * rng.normal(size=count), -age[:, 0])[:, None]
    limit = laws.lasting(age[row, last][:, None])[:, 0] + rng.uniform(0.05, 1.2, count)
    used = np.arange(most) <= last[:, None]
    return Fleet(
        age_years=np.where(used, stated[:, :-1], 0.0),
        rise_mm=np.where(used, rise[:, :-1], np.nan),
        moisture_offset_pct=np.where(used, offset[:, :-1], np.nan),
        weight=used.astype(float),
        age_sd_years=age_sd,
        age_now_years=stated[row, last],
        limit_mm=limit,
        years_to_crossing=laws.crossing_age(limit) - age[row, last],
        wild=wild[:, :-1] & used,
        next_age_years=stated[row, last + 1],
        next_rise_mm=rise[row, last + 1],
        next_offset_pct=offset[row, last + 1],
        next_wild=wild[row, last + 1],
    )


def _work_errors(rng: np.random.Generator, last: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Error of the work undone between each check-in and the last, (N, m): a quarter come with work. [mm]"""
    step = rng.normal(0.0, 0.10, shape) * (rng.random(shape) < 0.25)
    error = np.cumsum(step, axis=1) - step
    return error - error[np.arange(len(last)), last][:, None]


def _gauge_errors(rng: np.random.Generator, wild: np.ndarray, gauge_mm: float) -> np.ndarray:
    """Errors of the gauge, some hands steadier than others, and of wild readings, (N, m). [mm]"""
    hand = np.exp(rng.normal(0.0, 0.25, (len(wild), 1)))
    error = rng.normal(0.0, gauge_mm, wild.shape) * hand
    error += wild * rng.choice([-1.0, 1.0], wild.shape) * rng.uniform(0.7, 3.0, wild.shape)
    return error


def _check_in_ages(rng: np.random.Generator, count: int, most: int) -> np.ndarray:
    """Ages at check-ins, (N, most): a third come in new, the rest at any age to 40. [y]"""
    new = rng.random(count) < 1 / 3
    first = np.where(new, rng.uniform(0.0, 2.0, count), rng.uniform(2.0, 40.0, count))
    gaps = 0.25 + rng.exponential(0.9, (count, most))
    gaps[:, 0] = first
    return np.cumsum(gaps, axis=1)


def _season(rng: np.random.Generator, age: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What the season truly does to the rise, and the moisture offset the shop works out, both (N,
    m).

    The wood lags behind the air by 15 to 75 days, so its season is weaker and later than the
    meter's, and takes up a third of the weather. Meters are biased by up to several % RH; some
    shops have none.
    """
    count = len(age)
    spread = rng.uniform(6.0, 18.0, (count, 1))
    phase = 2.0 * np.pi * (age + rng.random((count, 1)))
    weather = rng.normal(0.0, 5.0, age.shape)
    lag = 2.0 * np.pi * rng.uniform(15.0, 75.0, (count, 1)) / DAYS_PER_YEAR
    late = spread / np.hypot(1.0, lag) * np.sin(phase - np.arctan(lag))
    slope = 0.2 * np.exp(rng.normal(0.0, 0.4, (count, 1)))
    swing = slope * _moisture_offset(47.0 + late + 0.33 * weather)
    bias = rng.normal(0.0, 4.0, (count, 1)) + rng.normal(0.0, 2.0, age.shape)
    offset = _moisture_offset(47.0 + spread * np.sin(phase) + weather + bias)
    no_meter = rng.random((count, 1)) < 0.08
    return swing, np.where(no_meter | (rng.random(age.shape) < 0.08), np.nan, offset)


def _moisture_offset(humidity_pct: np.ndarray) -> np.ndarray:
    """Moisture content less that at the reference climate. [% MC]"""
    humidity = np.clip(humidity_pct, 10.0, 90.0)
    reference = equilibrium_moisture_content(REFERENCE_HUMIDITY_PCT, TEMPERATURE_C)
    return equilibrium_moisture_content(humidity, TEMPERATURE_C) - reference
