"""Moisture that wood takes up from the air around it."""

from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_between
from geometry.constants import (
    EMC_K,
    EMC_K1,
    EMC_K2,
    EMC_W,
    HUMIDITY_RANGE_PCT,
    TEMPERATURE_RANGE_C,
)


def _quadratic(coefficients: tuple[float, float, float], temperature: FloatArray) -> FloatArray:
    c0, c1, c2 = coefficients
    return c0 + temperature * (c1 + temperature * c2)


def equilibrium_moisture_content(humidity_pct: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    """Moisture content at which wood neither takes up nor gives off water.

    Parameters
    ----------
    humidity_pct : array_like
        Relative humidity; NaN marks one that was not read. [% RH]
    temperature_c : array_like
        Air temperature; NaN marks one that was not read. Broadcasts. [°C]

    Returns
    -------
    ndarray
        Moisture content as a share of dry mass; NaN where an argument is missing. [% MC]

    Raises
    ------
    ValueError
        If humidity is outside 0 to 100 %, or temperature outside -20 to 132.2 °C.

    Notes
    -----
    Source: Wood Handbook, chapter 4, equation 4-5, with the coefficients for °C. The handbook's
    own table covers -1.1 to 132.2 °C and 5 to 95 % RH; beyond that the formula extrapolates.
    """
    humidity = as_between("humidity_pct", humidity_pct, *HUMIDITY_RANGE_PCT, missing_ok=True)
    temperature = as_between("temperature_c", temperature_c, *TEMPERATURE_RANGE_C, missing_ok=True)
    kh = _quadratic(EMC_K, temperature) * humidity / 100.0
    k1kh = _quadratic(EMC_K1, temperature) * kh
    k1k2kh2 = k1kh * _quadratic(EMC_K2, temperature) * kh
    single = kh / (1.0 - kh)
    layered = (k1kh + 2.0 * k1k2kh2) / (1.0 + k1kh + k1k2kh2)
    return 1800.0 / _quadratic(EMC_W, temperature) * (single + layered)
