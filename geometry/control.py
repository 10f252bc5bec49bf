"""Control charts: is a gauge, or a pair of hands, drifting?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_positive
from geometry.constants import CHART_WIDTH_SD, EWMA_WEIGHT


@dataclass(frozen=True)
class Chart:
    """A statistic in order of time with its limits; what lies beyond them is not chance."""

    values: FloatArray
    centre: float
    low: float
    high: float

    @property
    def beyond(self) -> np.ndarray:
        """Which values lie beyond a limit, (n,)."""
        return (self.values < self.low) | (self.values > self.high)


def ewma_chart(
    values: ArrayLike, *, centre: float, sd: float, weight: float = EWMA_WEIGHT
) -> Chart:
    """Exponentially weighted moving average: finds a small lasting shift soon.

    Parameters
    ----------
    values : (n,) array_like
        In order of time.
    centre, sd : float
        Mean and standard deviation of one value where nothing drifts.
    weight : float
        Of the newest value, above 0 and at most 1; smaller remembers longer.

    Returns
    -------
    Chart
        The moving average, which starts from the centre, and its limits in the long run.

    Raises
    ------
    ValueError
        If the standard deviation is not positive, the weight is not in (0, 1], or a value is not finite.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    series = _series(values)
    as_positive("sd", sd)
    if not 0 < weight <= 1:
        raise ValueError(f"weight must be above 0 and at most 1, got {weight}")
    average = np.empty_like(series)
    before = centre
    for place, value in enumerate(series):
        before = weight * value + (1.0 - weight) * before
        average[place] = before
    reach = CHART_WIDTH_SD * sd * np.sqrt(weight / (2.0 - weight))
    return Chart(average, centre, centre - reach, centre + reach)


def _series(values: ArrayLike) -> FloatArray:
    series = np.asarray(values, dtype=float)
    if series.ndim != 1 or not np.all(np.isfinite(series)):
        raise ValueError(f"values must be one row of finite numbers, got {values!r}")
    return series
