"""The forecast's own record: every reading against the forecast made from the readings before it."""

from dataclasses import dataclass, replace

import numpy as np

from geometry.lift import LiftFit, LiftPrior, lasting_rise, surprise
from geometry.lift_fit import without_humidity
from geometry.lift_model import regressors
from measurements.facts.arrays import Facts
from measurements.facts.fits import Lifts
from measurements.facts.rows import Floats, Ints
from measurements.facts.undo import VISIT_DAYS
from measurements.forecast.prior import rows_of

#: Normal score of the 90 % point: the range from −1.2816 to +1.2816 holds four cases in five.
EDGE_Z = 1.2816
#: Share of readings that an honest 10–90 % range holds.
IDEAL_SHARE = 0.8
#: Forecasts by the number of readings that they rested on: at least, at most.
BINS: tuple[tuple[int, int | None], ...] = ((1, 1), (2, 3), (4, 6), (7, None))
#: Forecasts worked on at a time; bounds the memory, changes no result.
CHUNK = 1024


@dataclass(frozen=True)
class Record:
    """K forecasts of readings and what was then read, by instrument and in order of time.

    Attributes
    ----------
    row, place : (K,) int ndarray
        Instrument and column of the reading in the facts.
    day : (K,) ndarray
        When it was read, days since 1970.
    before : (K,) int ndarray
        Readings that the forecast rested on.
    low_mm, likely_mm, high_mm : (K,) ndarray
        10, 50 and 90 % points of the forecast, on the joint's setting of that day. [mm]
    measured_mm : (K,) ndarray
        Bridge rise as read. [mm]
    z : (K,) ndarray
        Normal score of the reading in its forecast.
    """

    row: Ints
    place: Ints
    day: Floats
    before: Ints
    low_mm: Floats
    likely_mm: Floats
    high_mm: Floats
    measured_mm: Floats
    z: Floats

    def __len__(self) -> int:
        return len(self.row)

    @property
    def inside(self) -> np.ndarray:
        """Whether each reading lay inside its 10–90 % range, (K,)."""
        return np.abs(self.z) <= EDGE_Z

    def of_bin(self, least: int, most: int | None) -> np.ndarray:
        """Which forecasts rested on ``least`` to ``most`` readings, (K,)."""
        return (self.before >= least) & (self.before <= (np.inf if most is None else most))


def record(facts: Facts, prior: LiftPrior | None = None) -> Record:
    """Forecast every usable reading of every instrument from the readings before it.

    Parameters
    ----------
    facts : Facts
        Readings since the last new origin count. The first has nothing before it; one within a week of
        the one before belongs to the same visit and may itself have measured what the work there did:
        neither is forecast.
    prior : LiftPrior, optional
        As :func:`measurements.forecast.prior.prior_for` gives it for these facts; planning defaults if None.
        A learnt prior and a joint's learnt gain know the shop up to today: that much is hindsight.

    Returns
    -------
    Record
    """
    used = facts.weight > 0
    before: Ints = np.cumsum(used, axis=1) - used
    row, place = np.nonzero(used & (before > 0) & ~_same_visit(facts.day, used))
    found = [np.empty((0, 4))]
    for start in range(0, len(row), CHUNK):
        part = slice(start, start + CHUNK)
        found.append(_forecasts(facts, row[part], place[part], rows_of(prior, row[part])))
    low, likely, high, z = np.concatenate(found).T
    measured = facts.measured_mm[row, place]
    offset = measured - facts.undone_mm[row, place]
    return Record(
        row=row,
        place=place,
        day=facts.day[row, place],
        before=before[row, place],
        low_mm=low + offset,
        likely_mm=likely + offset,
        high_mm=high + offset,
        measured_mm=measured,
        z=z,
    )


def _same_visit(day: Floats, used: np.ndarray) -> np.ndarray:
    """Which readings follow the usable one before them within one visit, (N, m)."""
    newest = np.maximum.accumulate(np.where(used, day, -np.inf), axis=1)
    since = np.full(day.shape, np.inf)
    since[:, 1:] = day[:, 1:] - newest[:, :-1]
    return since <= VISIT_DAYS


def _forecasts(facts: Facts, row: Ints, place: Ints, prior: LiftPrior | None) -> Floats:
    """Low, likely and high on the undone scale, and the score of the reading, (k, 4)."""
    weight = _weight_then(facts.weight[row], place)
    earlier = np.where(np.arange(weight.shape[1]) < place[:, None], weight, 0.0)
    fit = Lifts.of(facts).take(row, earlier).fit(prior)
    age, offset = facts.age_years[row, place], facts.moisture_offset_pct[row, place]
    own = weight[np.arange(len(row)), place]
    z = surprise(fit, age, facts.undone_mm[row, place], offset, own)
    return np.column_stack([foretold_reading(fit, age, offset, own), z])


def _weight_then(weight: Floats, place: Ints) -> Floats:
    """Weights as they stood when the reading at ``place`` was taken, (k, m).

    A reading's variance holds the doubt of all work undone since: what came after ``place`` did not
    count then, and the newest reading of an instrument has no such doubt.
    """
    used = weight > 0
    variance = np.where(used, 1.0 / np.where(used, weight, 1.0), np.inf)
    since = variance[np.arange(len(place)), place] - variance.min(axis=1)
    # Readings after ``place`` are no part of the forecast; their figure only has to be harmless.
    then = np.maximum(variance - since[:, None], variance.min(axis=1)[:, None])
    return np.where(used, 1.0 / then, 0.0)


def foretold_reading(fit: LiftFit, age_years: Floats, offset_pct: Floats, weight: Floats) -> Floats:
    """10, 50 and 90 % points of a reading to come: of the same distribution as ``surprise``, inverted.

    Parameters
    ----------
    fit : LiftFit
        Of n instruments.
    age_years, offset_pct, weight : (n,) ndarray
        When it is taken, the moisture then (NaN where the humidity is unknown), and its relative
        precision. [y], [% MC]

    Returns
    -------
    (n, 3) ndarray
        Bridge rise on the scale of the fitted readings. [mm]
    """
    known, offset = without_humidity(weight, offset_pct, fit.prior)
    x = regressors(age_years, offset, fit.prior)
    # The rise at the reading's own moisture and time of year takes the place of that at the reference
    # climate, with its own uncertainty; ``predictive`` then adds the scatter of a reading of weight 1.
    base, drag, covariance = fit.base.copy(), fit.drag.copy(), fit.covariance.copy()
    base[:, 0] = np.einsum("rn,nr->n", x, fit.base)
    drag[..., 0] = np.einsum("rn,napr->nap", x, fit.drag)
    covariance[:, 0, 0] = np.einsum("in,nij,jn->n", x, fit.covariance, x) + 1.0 / known - 1.0
    there = replace(fit, base=base, drag=drag, covariance=covariance)
    return lasting_rise(there, age_years[:, None], predictive=True)[:, 0]
