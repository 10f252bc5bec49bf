"""What a shop's own instruments teach about the next one: the prior of the lift, learnt by group.

Empirical Bayes. Each fit holds how well every law of lift (exponent and rate) explains one
instrument; a few rounds of expectation and maximisation turn the fleet's into the mean and spread of
the log rate and the weights of the exponents. The shop is drawn towards the planning defaults and each
group towards the shop, by a stated number of imaginary instruments, so that a small fleet does not
jump to conclusions. The spread of the rates is held hardest: a few readings each say little of it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry._checks import FloatArray
from geometry.constants import (
    COEFFICIENT_RANGE,
    EXPONENT_TRUST,
    HOLD_COEFFICIENTS,
    HOLD_MEAN,
    HOLD_NOISE,
    HOLD_SPREAD,
    NOISE_RANGE_MM,
    SEASON_SD_MM,
    SMALLEST_GROUP,
    SPREAD_RANGE,
    SPREAD_WIDENING,
    TELLING_READINGS,
)
from geometry.lift_model import LiftFit, LiftPrior

#: Rounds of expectation and maximisation on given fits, and of fits.
ROUNDS = 60
ROUNDS_OF_FITS = 2


@dataclass(frozen=True)
class FleetPrior:
    """The shop's prior and its groups'.

    Attributes
    ----------
    shop : LiftPrior
        For instruments of no known group. Its noise, origin, moisture slope and season are
        learnt too, and hold for every group.
    groups : dict
        Group label to its own LiftPrior, for groups with enough instruments.
    counts : dict
        Group label to the number of instruments it was learnt from; every group seen.
    instruments : int
        Number of instruments in the fleet that had readings.
    """

    shop: LiftPrior
    groups: dict[Hashable, LiftPrior]
    counts: dict[Hashable, int]
    instruments: int

    def prior_for(self, labels: Sequence[Hashable]) -> LiftPrior:
        """One prior for a batch of instruments, a row for each.

        Parameters
        ----------
        labels : sequence of N hashables
            Group of each instrument; unknown groups, and None, take the shop's.

        Returns
        -------
        LiftPrior
            With (N,) log rates and (N, P) exponent weights.
        """
        known = [self.groups.get(label, self.shop) for label in labels]
        if not known:
            return self.shop
        return replace(
            self.shop,
            log_rate_mean=np.array([p.log_rate_mean for p in known], dtype=float),
            log_rate_sd=np.array([p.log_rate_sd for p in known], dtype=float),
            exponent_weights=np.array([p.exponent_weights for p in known], dtype=float),
        )


def fleet_prior(
    fits: LiftFit | Iterable[LiftFit],
    groups: Sequence[Hashable] | None = None,
    *,
    prior: LiftPrior | None = None,
) -> FleetPrior:
    """Learn the prior of the lift from a fleet.

    Parameters
    ----------
    fits : LiftFit, or iterable of them
        Fits of the shop's instruments, all with the same exponents and rates; an iterable may make them
        chunk by chunk, only their cells' likelihoods are kept.
    groups : sequence of N hashables, optional
        Group of each instrument (top wood, bracing and strings, say), over all fits in order; None is
        no group.
    prior : LiftPrior, optional
        What the shop is drawn towards; planning defaults if not given.

    Returns
    -------
    FleetPrior
        Fit the fleet again with it; :func:`learn_prior` does so.

    Raises
    ------
    ValueError
        If the number of groups is not that of the instruments, or the fits' grids differ from the prior's.
    """
    prior = LiftPrior() if prior is None else prior
    chunks = [_lessons(fit, prior) for fit in ([fits] if isinstance(fits, LiftFit) else fits)]
    if not chunks:
        return FleetPrior(shop=prior, groups={}, counts={}, instruments=0)
    likelihood, usable, squares, readings, precision, mean, variance = (
        np.concatenate(parts) for parts in zip(*chunks, strict=True)
    )
    del chunks
    if groups is not None and len(groups) != len(usable):
        raise ValueError(f"groups must be {len(usable)} labels, got {len(groups)}")
    members: dict[Hashable, list[int]] = {}
    if groups is not None:
        for i in np.flatnonzero(usable).tolist():
            if groups[i] is not None:
                members.setdefault(groups[i], []).append(i)
    telling = usable & (readings >= TELLING_READINGS)
    # without a copy if it can be helped: this is the largest array of a fleet
    shop = _learn(likelihood if usable.all() else likelihood[usable], prior)
    shop = _learn_coefficients(mean[telling], variance[telling], precision[telling], shop)
    shop = replace(shop, noise_mm=_learn_noise(squares[usable], readings[usable], prior))
    learnt = {
        label: _learn(likelihood[rows], shop)
        for label, rows in members.items()
        if len(rows) >= SMALLEST_GROUP
    }
    return FleetPrior(
        shop=_widened(shop) if usable.any() else prior,
        groups={label: _widened(group) for label, group in learnt.items()},
        counts={label: len(rows) for label, rows in members.items()},
        instruments=int(np.count_nonzero(usable)),
    )


def learn_prior(
    fit_under: Callable[[LiftPrior], LiftFit | Iterable[LiftFit]],
    groups: Sequence[Hashable] | None = None,
    *,
    prior: LiftPrior | None = None,
    rounds: int = ROUNDS_OF_FITS,
) -> FleetPrior:
    """Learn the prior of the lift from a fleet in a few rounds of fits, always from the same start.

    Parameters
    ----------
    fit_under : callable
        Given a prior, fits all the shop's instruments under it; see ``fits`` of :func:`fleet_prior`.
    groups, prior : as for :func:`fleet_prior`
    rounds : int
        The default is the number the calibration was measured with. Many more settle on less scatter than
        long histories really have.

    Returns
    -------
    FleetPrior

    Raises
    ------
    ValueError
        As :func:`fleet_prior`, and if there are no rounds.
    """
    if rounds < 1:
        raise ValueError(f"rounds must be at least 1, got {rounds}")
    start = LiftPrior(season_sd_mm=SEASON_SD_MM) if prior is None else prior
    under = start
    for turn in range(rounds):
        last = turn == rounds - 1
        learnt = fleet_prior(fit_under(under), groups if last else None, prior=start)
        under = learnt.shop
    return learnt


Lessons = tuple[NDArray[np.float32], NDArray[np.bool_], *tuple[FloatArray, ...]]


def _lessons(fit: LiftFit, prior: LiftPrior) -> Lessons:
    """What each instrument teaches.

    Likelihood of each (exponent, rate) up to a factor, ages mixed over, (N, P, B); whether it is usable;
    its sum of squares without the prior's; the readings behind that; precision of its readings over the
    prior's; mean and variance of its coefficients, (N, R).
    """
    if fit.prior.exponents != prior.exponents or fit.prior.rates_mm != prior.rates_mm:
        raise ValueError("fits must have the exponents and rates of the prior")
    mass = fit.weight.sum(axis=1) * np.exp(-fit.prior.log_weight())
    with np.errstate(invalid="ignore"):
        mass /= mass.max(axis=(1, 2), keepdims=True)
    imaginary = 2.0 * fit.prior.noise_shape
    spread = fit.mean_spread()
    precision = fit.dof * fit.prior.noise_mm**2 / spread
    squares = spread - imaginary * fit.prior.noise_mm**2
    usable = fit.usable & np.isfinite(mass[:, 0, 0])
    readings = fit.dof - imaginary
    return mass.astype(np.float32), usable, squares, readings, precision, *fit.coefficients()


def _learn_noise(squares: FloatArray, readings: FloatArray, prior: LiftPrior) -> float:
    """Scatter of a reading of weight 1, by expectation–maximisation from the prior's. [mm]"""
    imaginary = 2.0 * prior.noise_shape
    variance = start = prior.noise_mm**2
    for _ in range(ROUNDS):
        precision = (imaginary + readings) / (imaginary * variance + squares)
        variance = (len(precision) + HOLD_NOISE) / (precision.sum() + HOLD_NOISE / start)
    return float(np.clip(np.sqrt(variance), *NOISE_RANGE_MM))


def _learn_coefficients(
    mean: FloatArray, variance: FloatArray, precision: FloatArray, prior: LiftPrior
) -> LiftPrior:
    """The prior with its origin, moisture slope and season moved by one step of EM from the fits.

    A shop's own hygrometer and rooms decide how much of the season the humidity at the reading
    explains, and so what is left to slope and season. The prior's spreads are in proportion to each
    instrument's scatter, hence the weights.
    """
    count = precision.sum()
    centre0, sd0 = prior.coefficients()
    held = np.isfinite(sd0)
    learnt = (precision @ mean + HOLD_COEFFICIENTS * centre0) / (count + HOLD_COEFFICIENTS)
    centre = np.where(np.arange(len(sd0)) < 2, learnt, 0.0)  # no season is early or late on average
    squares = precision @ (variance + (mean - centre) ** 2)
    squares += HOLD_COEFFICIENTS * np.where(held, sd0, 0.0) ** 2
    sd = np.sqrt(squares / (len(mean) + HOLD_COEFFICIENTS))
    sd = np.where(held, np.clip(sd, *(sd0 * limit for limit in COEFFICIENT_RANGE)), sd0)
    return replace(
        prior,
        origin_rise_mean_mm=float(centre[0]),
        origin_rise_sd_mm=float(sd[0]),
        moisture_slope_mean=float(centre[1]),
        moisture_slope_sd=float(sd[1]),
        season_sd_mm=float(np.sqrt(np.mean(sd[2:] ** 2))) if len(sd) > 2 else 0.0,
    )


def _widened(prior: LiftPrior) -> LiftPrior:
    """The prior with its spread of rates widened for laws that only roughly hold."""
    sd = np.minimum(SPREAD_WIDENING * float(prior.log_rate_sd), SPREAD_RANGE[1])
    return replace(prior, log_rate_sd=float(sd))


def _learn(likelihood: NDArray[np.float32], parent: LiftPrior) -> LiftPrior:
    """Expectation–maximisation from a parent prior, drawn towards it."""
    count = len(likelihood)
    if count == 0:
        return parent
    log_rate = np.log(np.asarray(parent.rates_mm))
    exponents = len(parent.exponents)
    flat = likelihood.reshape(count, -1)
    mean0, sd0 = float(parent.log_rate_mean), float(parent.log_rate_sd)
    shares0 = np.asarray(parent.exponent_weights, dtype=float)
    shares0 = shares0 / shares0.sum()
    prior = parent
    for _ in range(ROUNDS):
        cells = np.exp(prior.log_weight()).reshape(-1).astype(np.float32)
        # A cell's total responsibility is its prior times what the fleet's likelihoods make of it.
        evidence = flat @ cells
        total = (cells * (flat.T @ (1.0 / evidence))).astype(float).reshape(exponents, -1)
        by_rate = total.sum(axis=0)
        mean = (by_rate @ log_rate + HOLD_MEAN * mean0) / (count + HOLD_MEAN)
        squares = by_rate @ (log_rate - mean) ** 2 + HOLD_SPREAD * sd0**2
        squares += HOLD_MEAN * (mean - mean0) ** 2
        sd = float(np.clip(np.sqrt(squares / (count + HOLD_SPREAD)), *SPREAD_RANGE))
        # Few readings tell exponents apart badly, and maximum likelihood then heaps all weight on one.
        shares = EXPONENT_TRUST * total.sum(axis=1) / count + (1.0 - EXPONENT_TRUST) * shares0
        prior = replace(
            parent,
            log_rate_mean=float(mean),
            log_rate_sd=sd,
            exponent_weights=tuple(float(s) for s in shares / shares.sum()),
        )
    return prior
