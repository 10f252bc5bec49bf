"""The lift's mixture of cells as arrays to compute with, and the inversion of distributions in
batch.

Within a cell the lasting rise at the reference climate at age t is Student t about ``α̂ + β·(t /
30 y)^p``, and β > 0, so the chance of having passed a limit,

    P(T ≤ t) = Σ w·F_ν((α̂ + β·(t / 30 y)^p − limit) / scale),

rises with t and can be inverted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtr

from geometry._checks import FloatArray
from geometry.constants import RATE_YEARS
from geometry.lift_model import LiftFit, RowIndex, age_powers

#: Cells are dropped that together would weigh this, were all the cells as light: in practice a tenth
#: of it, which moves a date by days in decades.
NEGLIGIBLE = 1e-3
#: From this many degrees of freedom the series for Student's t serve.
SERIES_FROM_DOF = 6.0
MAX_ROUNDS = 80
#: By how much the error of a secant step is thought to exceed the product of the last two steps.
SAFETY = 30.0
#: Normal scores beyond this are as good as certain.
SCORE_REACH = 9.0

AnyFloat = NDArray[np.floating[Any]]


def student_cdf(dof: ArrayLike, x: ArrayLike) -> FloatArray:
    """Distribution function of Student's t, exact below 6 degrees of freedom and to 4e-8 from
    there.

    Parameters
    ----------
    dof, x : array_like
        Broadcast against each other.

    Returns
    -------
    ndarray

    Notes
    -----
    From 6 degrees of freedom x is turned into a normal deviate by Hill's series (G. W. Hill,
    Algorithm 395, Comm. ACM 13, 1970; formula from memory, checked against scipy), several times
    faster than the incomplete beta function.
    """
    nu, value = np.broadcast_arrays(np.asarray(dof, dtype=float), np.asarray(x, dtype=float))
    if nu.size and nu.min() < SERIES_FROM_DOF:
        return np.asarray(stdtr(nu, value))
    a = nu - 0.5
    b = 48.0 * a * a
    y = a * np.log1p(value * value / nu)
    z = ((-0.4 * y - 3.3) * y - 24.0) * y - 85.5
    z = (z / (0.8 * y * y + 100.0 + b) + y + 3.0) / b + 1.0
    return np.asarray(ndtr(np.copysign(z * np.sqrt(y), value)))


def _fast_student_cdf(x: NDArray[np.float32], dof: FloatArray) -> NDArray[np.float32]:
    """Distribution function of Student's t to 2e-6 in single precision; x (C, n), dof (n,) from 6.

    Hill's series cut short, then Abramowitz & Stegun 26.2.19 (both from memory, checked against
    scipy). Written in place: a fleet spends most of its time here.
    """
    a = dof - 0.5
    b = 48.0 * a * a
    first, second, third, inverse, a32 = (
        v.astype(np.float32)
        for v in (
            1.0 + (3.0 - 85.5 / (b + 100.0)) / b,
            (1.0 - 24.0 / (b + 100.0)) / b,
            -3.3 / (b + 100.0) / b,
            1.0 / dof,
            a,
        )
    )
    y = x * x
    y *= inverse
    np.log1p(y, out=y)
    y *= a32
    z = np.sqrt(y)
    factor = y * third
    factor += second
    factor *= y
    factor += first
    z *= factor
    np.minimum(z, np.float32(12.0), out=z)  # as good as certain, and its powers are finite
    tail: NDArray[np.float32] = np.multiply(z, np.float32(5.38300e-6), out=y)
    for coefficient in (4.88906e-5, 3.80036e-5, 3.2776263e-3, 2.11410061e-2, 4.98673470e-2):
        tail += np.float32(coefficient)
        tail *= z
    tail += np.float32(1.0)
    for _ in range(4):
        tail *= tail
    np.divide(np.float32(0.5), tail, out=tail)
    # The tail of |x|: Φ is the tail below 0 and one less the tail above.
    tail -= np.float32(0.5)
    np.copysign(tail, x, out=tail)
    tail += np.float32(0.5)
    return tail


@dataclass(frozen=True)
class Mixture:
    """C cells of n instruments, in the units of each cell's scale.

    The lasting rise less a limit, over the scale, is ``origin + rate·power − limit·per_mm``.

    Attributes
    ----------
    exponent : (C,) ndarray
    law : (C,) int ndarray
        Which (age shift, exponent) a cell belongs to.
    exponents : (P,) ndarray
    shift_years : (n, A) ndarray
        Shifts of age.
    weight, origin, rate, per_mm : (C, n) ndarray
        Single precision where speed is wanted and the degrees of freedom allow it.
    dof : (n,) ndarray
    """

    exponent: FloatArray
    law: RowIndex
    exponents: FloatArray
    shift_years: FloatArray
    weight: AnyFloat
    origin: AnyFloat
    rate: AnyFloat
    per_mm: AnyFloat
    dof: FloatArray

    def take(self, columns: RowIndex) -> Mixture:
        """Some of the instruments, or some of them several times."""
        return Mixture(
            exponent=self.exponent,
            law=self.law,
            exponents=self.exponents,
            shift_years=self.shift_years[columns],
            weight=np.take(self.weight, columns, axis=1),
            origin=np.take(self.origin, columns, axis=1),
            rate=np.take(self.rate, columns, axis=1),
            per_mm=np.take(self.per_mm, columns, axis=1),
            dof=self.dof[columns],
        )

    def chance(self, score: AnyFloat) -> FloatArray:
        """Σ w·F(score) of each instrument, (n,)."""
        below: AnyFloat
        if score.dtype == np.float32:
            below = _fast_student_cdf(score.astype(np.float32, copy=False), self.dof)
        else:
            below = student_cdf(self.dof, score)
        return np.asarray(np.einsum("cn,cn->n", self.weight, below), dtype=float)

    def height(self, log_age: FloatArray) -> AnyFloat:
        """Lasting rise over each cell's scale at log ages (n,), (C, n)."""
        kind = self.rate.dtype
        log_part = log_age - np.log(RATE_YEARS)
        if self.shift_years.any():
            powers = age_powers(np.exp(log_age), self.shift_years.T, self.exponents)
            power = powers.swapaxes(0, 1).reshape(-1, len(log_age)).astype(kind)
        else:
            power = np.exp(self.exponents[:, None] * log_part).astype(kind)
            if self.shift_years.shape[1] > 1:
                power = np.tile(power, (self.shift_years.shape[1], 1))
        lifted: AnyFloat = power[self.law]
        lifted *= self.rate
        lifted += self.origin
        return lifted

    def chance_at(self, log_age: FloatArray) -> FloatArray:
        """Chance that the height is above 0 at log ages (n,)."""
        return self.chance(self.height(log_age))

    def less(self, limit: FloatArray) -> Mixture:
        """The same mixture with heights counted from limits (n,), once and for all."""
        kind = self.per_mm.dtype
        return replace(
            self,
            origin=self.origin - self.per_mm * limit.astype(kind),
            per_mm=np.empty((0, len(limit)), kind),  # not carried along where it is not needed
        )


def mixture_of(fit: LiftFit, *, fast: bool, reading_noise: bool = False) -> Mixture:
    """Cells of a fit whose instruments are all usable.

    Parameters
    ----------
    fit : LiftFit
    fast : bool
        Single precision, if every instrument has degrees of freedom enough.
    reading_noise : bool
        Add the scatter of a reading of weight 1 to the scale.

    Returns
    -------
    Mixture
    """
    n, b = len(fit), fit.weight.shape[-1]
    every = fit.weight.reshape(n, -1).T
    heavy = every > NEGLIGIBLE / len(every)
    kept = np.flatnonzero(heavy.any(axis=1))
    law, rate = kept // b, fit.rates_mm[kept % b, None]
    # Dropped for each instrument alone, so that its companions in a chunk make no difference to it.
    weight = np.where(heavy[kept], every[kept], 0.0)
    weight /= weight.sum(axis=0)
    spread1, spread2, drag = (
        a.reshape(n, -1).T[law] for a in (fit.spread1, fit.spread2, fit.drag[..., 0])
    )
    unit = fit.covariance[:, 0, 0] + (1.0 if reading_noise else 0.0)
    spread = np.maximum(fit.spread0 + rate * (rate * spread2 - 2.0 * spread1), 0.0)
    # a scale of 0 stands for certainty
    per_mm = 1.0 / np.maximum(np.sqrt(spread * (unit / fit.dof)), 1e-12)
    origin = (fit.base[:, 0] - rate * drag) * per_mm
    single = fast and fit.dof.min() >= SERIES_FROM_DOF
    kind = np.dtype(np.float32 if single else np.float64)
    return Mixture(
        exponent=np.tile(fit.exponents, fit.spread1.shape[1])[law],
        law=law,
        exponents=fit.exponents,
        shift_years=fit.age_shift_years,
        weight=weight.astype(kind, copy=False),
        origin=origin.astype(kind, copy=False),
        rate=(rate * per_mm).astype(kind, copy=False),
        per_mm=per_mm.astype(kind, copy=False),
        dof=fit.dof,
    )


Distribution = Callable[[FloatArray, RowIndex], FloatArray]


def normal_score(probability: FloatArray) -> FloatArray:
    """Normal deviate of a probability, kept finite."""
    return np.asarray(np.maximum(np.minimum(ndtri(probability), SCORE_REACH), -SCORE_REACH))


def same(x: FloatArray) -> FloatArray:
    """The argument itself: the unit of a coordinate that is its own."""
    return x


def solve_increasing(
    distribution: Distribution,
    probability: FloatArray,
    low: FloatArray,
    high: FloatArray,
    tolerance: float,
    *,
    guess: FloatArray | None = None,
    known: tuple[FloatArray, FloatArray] | None = None,
    unit: Callable[[FloatArray], FloatArray] = same,
) -> FloatArray:
    """Where each of many increasing distribution functions reaches its probability.

    Parameters
    ----------
    distribution : callable
        Called with points (k,) and the indices (k,) of the problems they belong to, ever fewer of
        them; returns probabilities (k,).
    probability, low, high : (n,) ndarray
        The probability is reached between ``low`` and ``high``.
    tolerance : float
        Size of the step, in the unit, below which a problem is solved.
    guess : (n,) ndarray, optional
        Where to begin; the middle if not given.
    known : pair of (n,) ndarray, optional
        A point near the guess and the normal score of its probability.
    unit : callable
        From the coordinate to what the tolerance is measured in.

    Returns
    -------
    (n,) ndarray
        In the coordinate.

    Notes
    -----
    Secant steps on the normal scores, where a mixture is nearly straight, inside a bracket that
    shrinks with every value; a step out of the bracket, and every sixth, bisects it. The step after
    a secant step is wrong by about the product of the two, so the last one is not evaluated.
    """
    target = ndtri(probability)
    a, b = low.astype(float), high.astype(float)
    root = 0.5 * (a + b) if guess is None else np.clip(guess, a, b)
    live = np.arange(len(root))
    x = root.copy()
    rise = np.ones(len(root))
    stride, f_before = np.full(len(root), np.inf), np.zeros(len(root))
    if known is not None:
        stride, f_before = x - known[0], known[1] - target
    for turn in range(MAX_ROUNDS):
        if not live.size:
            break
        f = normal_score(distribution(x, live)) - target[live]
        a, b = np.where(f < 0, x, a), np.where(f < 0, b, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            if turn or known is not None:
                rise = (f - f_before) / stride
            step = x - f / rise
        trusted = (step >= a) & (step <= b) & (turn % 6 != 5)
        step = np.where(trusted, step, 0.5 * (a + b))
        root[live] = step
        before, stride = np.abs(stride), step - x
        moved = np.abs(unit(step) - unit(x))
        settled = trusted & (moved * np.minimum(SAFETY * before, 1.0) < tolerance)
        settled &= bool(turn) or known is not None  # a slope that was assumed settles nothing
        done = settled | (np.abs(unit(b) - unit(a)) < tolerance)
        keep = np.flatnonzero(~done)
        live = live[keep]
        stride, rise, f_before, x, a, b = (v[keep] for v in (stride, rise, f, step, a, b))
    return root
