"""Conjugate linear regression for many instruments at once.

One model serves the whole package: ``y = X·θ + ε`` with ``θ | σ² ~ N(m0, σ²·diag(1/precision))``
and ``σ² ~ inverse gamma(shape, scale)``. With every precision zero it *is* ordinary (weighted)
least squares; with a prior it still answers for an instrument that was measured once.

The prior enters as pseudo-readings below the real ones, and the whole is reduced by modified
Gram–Schmidt on [X y]: backward stable like a QR, indifferent to the columns' units, and a loop
over regressors, never over instruments.

References: Björck, *Numerical Methods for Least Squares Problems*, ch. 2.4 (from memory); the
normal–inverse-gamma update is textbook material (for example Gelman et al., *Bayesian Data
Analysis*, ch. 14, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_finite, as_not_negative

#: A column whose length falls by more than this factor when the earlier ones are taken out is one
#: of them again.
COLLINEAR = 1e-11


@dataclass(frozen=True)
class Projection:
    """Least-squares reduction of q responses on p regressors, for N instruments.

    Attributes
    ----------
    coefficients : (N, p, q) ndarray
        One column of coefficients per response; NaN where the regressors are collinear.
    covariance : (N, p, p) ndarray
        Inverse of the (prior + weighted) normal matrix: the coefficients' covariance over σ².
    residuals : (q, m + p, N) ndarray
        What the regressors leave of each response, times √weight, pseudo-readings last.
        Instruments run last: the sums over readings are then sums of long contiguous rows.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residuals: FloatArray

    def cross(self, first: int, second: slice | int) -> FloatArray:
        """Sums over readings of products of residuals, (N,) or, for k responses, (N, k)."""
        if isinstance(second, int):
            return np.asarray(np.einsum("rn,rn->n", self.residuals[first], self.residuals[second]))
        return np.asarray(np.einsum("rn,krn->nk", self.residuals[first], self.residuals[second]))

    def squares(self, responses: slice) -> FloatArray:
        """Sums over readings of squared residuals, (N, k)."""
        part = self.residuals[responses]
        return np.asarray(np.einsum("krn,krn->nk", part, part))


@dataclass(frozen=True)
class LinearFit:
    """Posterior of a conjugate regression for N instruments.

    Attributes
    ----------
    coefficients : (N, p) ndarray
        Posterior mean of the coefficients.
    covariance : (N, p, p) ndarray
        Their covariance over σ²: multiply by ``residual_sd**2``.
    residual_sd : (N,) ndarray
        Scale of one reading of weight 1, √(scale/shape); with flat priors the usual residual
        standard deviation.
    dof : (N,) ndarray
        Degrees of freedom of the Student t of every marginal, 2·shape; not positive where nothing
        is left.
    sum_of_squares : (N,) ndarray
        Weighted sum of squared residuals, pseudo-readings included.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residual_sd: FloatArray
    dof: FloatArray
    sum_of_squares: FloatArray

    @property
    def standard_errors(self) -> FloatArray:
        """Standard errors of the coefficients, (N, p)."""
        diagonal = np.diagonal(self.covariance, axis1=1, axis2=2)
        return np.asarray(self.residual_sd[:, None] * np.sqrt(diagonal))

    def predict(self, regressors: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The line at new points.

        Parameters
        ----------
        regressors : (N, k, p) or (k, p) array_like
            Rows of regressors.

        Returns
        -------
        mean, mean_se, reading_se : (N, k) ndarray
            The line, its standard error, and that of one new reading of weight 1.

        Raises
        ------
        ValueError
            If the last axis does not have p entries.
        """
        x = np.asarray(regressors, dtype=float)
        if x.ndim not in (2, 3) or x.shape[-1] != self.coefficients.shape[1]:
            raise ValueError(
                f"regressors must have {self.coefficients.shape[1]} on the last axis, "
                f"got shape {x.shape}"
            )
        x = np.broadcast_to(x, (len(self.coefficients), *x.shape[-2:]))
        mean = np.einsum("nkp,np->nk", x, self.coefficients)
        leverage = np.einsum("nkp,npq,nkq->nk", x, self.covariance, x)
        sd = self.residual_sd[:, None]
        return mean, sd * np.sqrt(leverage), sd * np.sqrt(1.0 + leverage)


def project(
    regressors: FloatArray,
    responses: FloatArray,
    weight: FloatArray,
    precision: FloatArray,
    prior_mean: FloatArray,
) -> Projection:
    """Reduce responses on regressors; arrays are taken as they come, without checks.

    Parameters
    ----------
    regressors : (p, m, N) ndarray
    responses : (q, m, N) ndarray
    weight : (m, N) ndarray
        Relative precision of each reading; 0 is padding.
    precision : (p,) ndarray
        Prior precision of each coefficient over 1/σ²; 0 is flat.
    prior_mean : (p, q) ndarray
        Prior mean of each coefficient for each response.

    Returns
    -------
    Projection
    """
    p, m, n = regressors.shape
    q = len(responses)
    columns = np.zeros((p + q, m + p, n))
    root = np.sqrt(weight)
    columns[:p, :m] = regressors * root
    columns[p:, :m] = responses * root
    pseudo = np.sqrt(precision)
    for j in range(p):
        columns[j, m + j] = pseudo[j]
        columns[p:, m + j] = (pseudo[j] * prior_mean[j])[:, None]
    return _gram_schmidt(columns, p)


def _gram_schmidt(columns: FloatArray, p: int) -> Projection:
    """Orthogonalise the first p columns in place, take them out of the rest, and solve."""
    n = columns.shape[2]
    q = len(columns) - p
    triangle = np.zeros((p, p + q, n))
    before = np.einsum("crn,crn->cn", columns[:p], columns[:p])
    for j in range(p):
        length2 = np.einsum("rn,rn->n", columns[j], columns[j])
        sound = length2 > COLLINEAR**2 * before[j]
        length = np.sqrt(np.where(sound, length2, np.nan))
        columns[j] /= length
        triangle[j, j] = length
        shared = np.einsum("rn,crn->cn", columns[j], columns[j + 1 :])
        columns[j + 1 :] -= shared[:, None, :] * columns[j]
        triangle[j, j + 1 :] = shared
    inverse = np.zeros((p, p, n))
    coefficients = np.zeros((p, q, n))
    for j in reversed(range(p)):
        diagonal = triangle[j, j]
        coefficients[j] = triangle[j, p:]
        inverse[j, j] = 1.0
        for i in range(j + 1, p):
            coefficients[j] -= triangle[j, i] * coefficients[i]
            inverse[j] -= triangle[j, i] * inverse[i]
        coefficients[j] /= diagonal
        inverse[j] /= diagonal
    covariance = np.einsum("ikn,jkn->nij", inverse, inverse)
    return Projection(
        coefficients=np.ascontiguousarray(coefficients.transpose(2, 0, 1)),
        covariance=covariance,
        residuals=columns[p:],
    )


def nig_fit(
    regressors: ArrayLike,
    response: ArrayLike,
    weight: ArrayLike | None = None,
    *,
    prior_mean: ArrayLike | None = None,
    prior_precision: ArrayLike | None = None,
    prior_shape: float | None = None,
    prior_scale: float = 0.0,
) -> LinearFit:
    """Conjugate regression of one response per instrument.

    Parameters
    ----------
    regressors : (N, m, p) array_like
        Values of the p regressors at each of m (padded) readings. A constant is a column of ones.
    response : (N, m) array_like
        Readings.
    weight : (N, m) array_like, optional
        Relative precision of each reading, 1/variance up to σ²; 0 is padding (its values are
        ignored). Default 1.
    prior_mean, prior_precision : (p,) array_like, optional
        Prior of the coefficients, variance σ²/precision; precision 0 (the default) is flat.
    prior_shape, prior_scale : float, optional
        Inverse-gamma prior of σ². The default, minus half the number of flat coefficients and 0,
        gives least squares.

    Returns
    -------
    LinearFit
        Coefficients are NaN where the regressors are collinear or too few.

    Raises
    ------
    ValueError
        On shapes that do not fit, on a negative or NaN weight or precision, and on values that are
        not finite where the weight is positive.
    """
    x = np.asarray(regressors, dtype=float)
    y = np.asarray(response, dtype=float)
    if x.ndim != 3:
        raise ValueError(f"regressors must have shape (N, m, p), got {x.shape}")
    if y.shape != x.shape[:2]:
        raise ValueError(f"response must have shape {x.shape[:2]}, got {y.shape}")
    w = np.ones_like(y) if weight is None else np.asarray(weight, dtype=float)
    if w.shape != y.shape:
        raise ValueError(f"weight must have shape {y.shape}, got {w.shape}")
    as_not_negative("weight", w)
    p = x.shape[2]
    mean = _per_coefficient("prior_mean", prior_mean, p)
    precision = _per_coefficient("prior_precision", prior_precision, p)
    as_not_negative("prior_precision", precision)
    used = w > 0
    x = np.where(used[:, :, None], x, 0.0)
    y = np.where(used, y, 0.0)
    as_finite("regressors", x)
    as_finite("response", y)
    reduced = project(x.transpose(2, 1, 0), y.T[None], w.T, precision, mean[:, None])
    shape = -0.5 * np.count_nonzero(precision == 0) if prior_shape is None else prior_shape
    dof = 2.0 * shape + used.sum(axis=1)
    squares = reduced.cross(0, 0)
    return LinearFit(
        coefficients=reduced.coefficients[:, :, 0],
        covariance=reduced.covariance,
        residual_sd=np.sqrt((2.0 * prior_scale + squares) / np.where(dof > 0, dof, np.nan)),
        dof=dof,
        sum_of_squares=squares,
    )


def _per_coefficient(name: str, value: ArrayLike | None, p: int) -> FloatArray:
    """A (p,) array of finite values, zeros if not given."""
    if value is None:
        return np.zeros(p)
    array = np.asarray(value, dtype=float)
    if array.shape != (p,):
        raise ValueError(f"{name} must have shape {(p,)}, got {array.shape}")
    return as_finite(name, array)
