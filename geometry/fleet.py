"""What a shop's own instruments teach about the next one: the prior of the lift, learnt by group.

Empirical Bayes. Each fit holds how well every law of lift (exponent and rate) explains one
instrument; a few rounds of expectation and maximisation turn the fleet's into the mean and spread of
the log rate and the weights of the exponents. The shop is drawn towards the planning defaults and each
group towards the shop, by a stated number of imaginary instruments, so that a small fleet does not
jump to conclusions.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.lift_model import FloatArray, LiftFit, LiftPrior

#: Imaginary instruments that hold a group to the shop, and the shop to the planning defaults: by what
#: they say of the mean log rate, its spread, and the scatter of a reading. Planning defaults, no
#: published source.
HOLD_MEAN = 4.0
HOLD_SPREAD = 8.0
HOLD_NOISE = 8.0
#: Share of the exponents' weights that a fleet may move. Few readings tell exponents apart badly, and
#: maximum likelihood then heaps the weight on one. Planning default, no published source; see README.md
#: for the calibration it was chosen by.
EXPONENT_TRUST = 0.5
#: The learnt spread is of instruments that follow the laws; real ones follow them roughly. Planning
#: default, no published source; chosen as above.
SPREAD_WIDENING = 1.15
#: No spread of log rates, and no scatter of readings, is learnt outside these. Planning defaults, no
#: published source.
SPREAD_RANGE = (0.3, 1.5)
NOISE_RANGE_MM = (0.05, 0.6)
#: Groups smaller than this take the shop's prior. Planning default, no published source.
SMALLEST_GROUP = 5
ROUNDS = 60


@dataclass(frozen=True)
class FleetPrior:
    """The shop's prior and its groups'.

    Attributes
    ----------
    shop : LiftPrior
        For instruments of no known group. Its ``noise_mm`` is learnt too, and holds for every group.
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
        Fit the fleet again with it; a second round changes little.

    Raises
    ------
    ValueError
        If the number of groups is not that of the instruments, or the fits' grids differ from the prior's.
    """
    prior = LiftPrior() if prior is None else prior
    chunks = [_lessons(fit, prior) for fit in ([fits] if isinstance(fits, LiftFit) else fits)]
    if not chunks:
        return FleetPrior(shop=prior, groups={}, counts={}, instruments=0)
    likelihood, usable, squares, readings = (
        np.concatenate(parts) for parts in zip(*chunks, strict=True)
    )
    if groups is not None and len(groups) != len(usable):
        raise ValueError(f"groups: expected {len(usable)} labels, got {len(groups)}")
    members: dict[Hashable, list[int]] = {}
    if groups is not None:
        for i in np.flatnonzero(usable).tolist():
            if groups[i] is not None:
                members.setdefault(groups[i], []).append(i)
    noise = _learn_noise(squares[usable], readings[usable], prior)
    shop = replace(_learn(likelihood[usable], prior), noise_mm=noise)
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


Lessons = tuple[NDArray[np.float32], NDArray[np.bool_], FloatArray, FloatArray]


def _lessons(fit: LiftFit, prior: LiftPrior) -> Lessons:
    """What each instrument teaches.

    Likelihood of each (exponent, rate) up to a factor, ages mixed over, (N, P, B); whether it is usable;
    its sum of squares without the prior's; the readings behind that.
    """
    if fit.prior.exponents != prior.exponents or fit.prior.rates_mm != prior.rates_mm:
        raise ValueError("fits: exponents and rates must be those of the prior")
    mass = fit.weight.sum(axis=1) * np.exp(-fit.prior.log_weight())
    with np.errstate(invalid="ignore"):
        mass /= mass.max(axis=(1, 2), keepdims=True)
    imaginary = 2.0 * fit.prior.noise_shape
    squares = fit.mean_spread() - imaginary * fit.prior.noise_mm**2
    usable = fit.usable & np.isfinite(mass[:, 0, 0])
    return mass.astype(np.float32), usable, squares, fit.dof - imaginary


def _learn_noise(squares: FloatArray, readings: FloatArray, prior: LiftPrior) -> float:
    """Scatter of a reading of weight 1, by expectation–maximisation from the prior's. [mm]"""
    imaginary = 2.0 * prior.noise_shape
    variance = start = prior.noise_mm**2
    for _ in range(ROUNDS):
        precision = (imaginary + readings) / (imaginary * variance + squares)
        variance = (len(precision) + HOLD_NOISE) / (precision.sum() + HOLD_NOISE / start)
    return float(np.clip(np.sqrt(variance), *NOISE_RANGE_MM))


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
        shares = EXPONENT_TRUST * total.sum(axis=1) / count + (1.0 - EXPONENT_TRUST) * shares0
        prior = replace(
            parent,
            log_rate_mean=float(mean),
            log_rate_sd=sd,
            exponent_weights=tuple(float(s) for s in shares / shares.sum()),
        )
    return prior


def prior_summary(prior: LiftPrior) -> dict[str, FloatArray | float]:
    """Median rate, the range of 8 in 10 instruments, and the mean exponent, for showing to a person.

    Returns
    -------
    dict
        ``rate_mm_per_30_years``, ``rate_low``, ``rate_high`` [mm per 30 y] and ``exponent``.
    """
    mean = np.asarray(prior.log_rate_mean, dtype=float)
    reach = 1.2816 * np.asarray(prior.log_rate_sd, dtype=float)
    shares = np.asarray(prior.exponent_weights, dtype=float)
    shares = shares / shares.sum(axis=-1, keepdims=True)
    return {
        "rate_mm_per_30_years": np.exp(mean),
        "rate_low": np.exp(mean - reach),
        "rate_high": np.exp(mean + reach),
        "exponent": shares @ np.asarray(prior.exponents),
    }
