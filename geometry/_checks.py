"""Checks of arguments, each raising ``ValueError`` with the argument's name and the value given.

A caller's mistake stops here; data that merely cannot answer (a missing reading) passes as NaN,
but only through :func:`as_reading` and the ``missing_ok`` switch.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def as_numbers(name: str, value: ArrayLike | None) -> FloatArray:
    """Return ``value`` as a float array; ``None`` becomes NaN."""
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be a number or an array of numbers, got {value!r}") from None


def _passed(
    name: str,
    values: FloatArray,
    good: NDArray[np.bool_],
    wanted: str,
    missing_ok: bool = False,
) -> FloatArray:
    if not good.all():
        # NaN compares false with everything, so it is refused unless it is let through here.
        good = good | (np.isnan(values) & missing_ok)
        if not good.all():
            raise ValueError(f"{name} must be {wanted}, got {float(values[~good].flat[0]):g}")
    return values


def as_finite(name: str, value: ArrayLike) -> FloatArray:
    """Return ``value`` as an array, refusing NaN and infinities."""
    values = as_numbers(name, value)
    return _passed(name, values, np.isfinite(values), "a finite number")


def as_reading(name: str, value: ArrayLike | None) -> FloatArray:
    """Return a reading as an array; NaN or None marks one that was not taken."""
    values = as_numbers(name, value)
    return _passed(name, values, np.isfinite(values), "a finite number or missing", missing_ok=True)


def as_positive(name: str, value: ArrayLike, missing_ok: bool = False) -> FloatArray:
    """Return ``value`` as an array, refusing anything not above zero."""
    values = as_numbers(name, value)
    return _passed(name, values, (values > 0) & (values < np.inf), "more than 0", missing_ok)


def as_not_negative(name: str, value: ArrayLike | None, missing_ok: bool = False) -> FloatArray:
    """Return ``value`` as an array, refusing anything below zero."""
    values = as_numbers(name, value)
    return _passed(name, values, (values >= 0) & (values < np.inf), "0 or more", missing_ok)


def as_between(
    name: str, value: ArrayLike | None, low: float, high: float, missing_ok: bool = False
) -> FloatArray:
    """Return ``value`` as an array, refusing anything outside ``low`` to ``high``."""
    values = as_numbers(name, value)
    good = (values >= low) & (values <= high)
    return _passed(name, values, good, f"between {low:g} and {high:g}", missing_ok)
