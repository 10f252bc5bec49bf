"""Checks of arguments, each raising ``ValueError`` with the argument's name and the value given.

A caller's mistake stops here; data that merely cannot answer (a missing reading) passes as NaN,
but only through :func:`as_reading` and the ``missing_ok`` switch.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def as_numbers(name: str, value: ArrayLike | None) -> FloatArray:
    """Return ``value`` as a float array; ``None`` becomes NaN."""
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be a number or an array of numbers, got {value!r}") from None


def _checked(
    name: str,
    value: ArrayLike | None,
    test: Callable[[FloatArray], NDArray[np.bool_]],
    wanted: str,
    missing_ok: bool = False,
) -> FloatArray:
    values = as_numbers(name, value)
    # NaN compares false with everything, so each test refuses it unless it is let through here.
    good = np.isfinite(values) & test(values)
    if not good.all():
        good |= np.isnan(values) & missing_ok
    if not good.all():
        raise ValueError(f"{name} must be {wanted}, got {float(values[~good].flat[0]):g}")
    return values


def as_finite(name: str, value: ArrayLike) -> FloatArray:
    """Return ``value`` as an array, refusing NaN and infinities."""
    return _checked(name, value, np.isfinite, "a finite number")


def as_reading(name: str, value: ArrayLike | None) -> FloatArray:
    """Return a reading as an array; NaN or None marks one that was not taken."""
    return _checked(name, value, np.isfinite, "a finite number or missing", missing_ok=True)


def as_positive(name: str, value: ArrayLike, missing_ok: bool = False) -> FloatArray:
    """Return ``value`` as an array, refusing anything not above zero."""
    return _checked(name, value, lambda v: v > 0, "more than 0", missing_ok)


def as_not_negative(name: str, value: ArrayLike | None, missing_ok: bool = False) -> FloatArray:
    """Return ``value`` as an array, refusing anything below zero."""
    return _checked(name, value, lambda v: v >= 0, "0 or more", missing_ok)


def as_between(
    name: str, value: ArrayLike | None, low: float, high: float, missing_ok: bool = False
) -> FloatArray:
    """Return ``value`` as an array, refusing anything outside ``low`` to ``high``."""
    wanted = f"between {low:g} and {high:g}"
    return _checked(name, value, lambda v: (v >= low) & (v <= high), wanted, missing_ok)
