"""What moved the bridge since its first reading, what the outlook rests on, and what a reading would add."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from geometry.constants import MOISTURE_SWING_SD_PCT
from geometry.lift import LiftFit, LiftPrior, components, seasonal_part
from geometry.lift_model import age_powers
from geometry.lift_plan import expected_narrowing
from measurements.facts.arrays import DAYS_A_YEAR, HORIZON_YEARS, Facts
from measurements.facts.rows import Floats, Ints, date_of
from measurements.facts.undo import VISIT_DAYS
from measurements.forecast.outlooks import rooms_of
from measurements.forecast.prior import rows_of
from measurements.forecast.record import EDGE_Z
from measurements.forecast.trend import HELD_DOWN
from shop.models import ShopProfile


@dataclass(frozen=True)
class Movement:
    """The bridge's movement between its first and newest reading since the origin, taken apart. [mm]

    ``measured_mm`` = ``lasting_mm`` + ``season_mm`` + ``work_mm`` + ``left_mm``. The lasting lift is the
    likely one, ``low`` and ``high`` its 10 and 90 % points; the scatter of two readings lies within ±
    ``scatter_mm`` in four cases in five.
    """

    first: date
    newest: date
    first_mm: float
    newest_mm: float
    lasting_mm: float
    lasting_low_mm: float
    lasting_high_mm: float
    season_mm: float
    work_mm: float
    scatter_mm: float
    humidity_missing: bool

    @property
    def measured_mm(self) -> float:
        return self.newest_mm - self.first_mm

    @property
    def left_mm(self) -> float:
        return self.measured_mm - self.lasting_mm - self.season_mm - self.work_mm


@dataclass(frozen=True)
class Coverage:
    """What an outlook's readings cover: years, seasons of the year (1 to 4), and which are held down."""

    readings: int
    span_years: float
    seasons: int
    held_down: tuple[date, ...]


@dataclass(frozen=True)
class NextReading:
    """Expected years between the early and the late date of a reset: as it is, and after one more
    reading at the reference climate or in a dry month."""

    now_years: float
    after_years: float
    after_dry_years: float


def movement(facts: Facts, fit: LiftFit, row: int = 0) -> Movement | None:
    """Take the movement of one instrument apart; None where no two usable readings are a visit apart.

    Parameters
    ----------
    facts : Facts
    fit : LiftFit
        Of these facts (:func:`measurements.forecast.outlooks.fit_facts`).
    row : int
        Which instrument.
    """
    used = np.flatnonzero(facts.weight[row] > 0)
    if len(used) < 2:
        return None
    ends = used[[0, -1]]
    if np.ptp(facts.day[row, ends]) <= VISIT_DAYS:
        return None
    season = seasonal_part(fit, facts.age_years, facts.moisture_offset_pct)[row, ends]
    measured = facts.measured_mm[row, ends]
    work = measured - facts.undone_mm[row, ends]
    low, likely, high = lasting_change(fit, row, facts.age_years[row, ends])
    noise = components(fit.take(np.array([row])))["noise_mm"][0]
    return Movement(
        first=date_of(facts.day[row, ends[0]]),
        newest=date_of(facts.day[row, ends[1]]),
        first_mm=float(measured[0]),
        newest_mm=float(measured[1]),
        lasting_mm=likely,
        lasting_low_mm=low,
        lasting_high_mm=high,
        season_mm=float(season[1] - season[0]),
        work_mm=float(work[1] - work[0]),
        scatter_mm=float(EDGE_Z * noise * np.sqrt((1.0 / facts.weight[row, ends]).sum())),
        humidity_missing=bool(np.isnan(facts.moisture_offset_pct[row, ends]).any()),
    )


def lasting_change(fit: LiftFit, row: int, age_years: Floats) -> tuple[float, float, float]:
    """10, 50 and 90 % points of the lasting lift between two ages (2,) of one instrument. [mm]

    The rise at the origin drops out of the difference, so that it is ``β·(g(t₂) − g(t₁))``: one value in
    each cell, weighed as the cell is.
    """
    shift = fit.age_shift_years[row]
    power = age_powers(age_years, shift[:, None], fit.exponents)
    gained = (power[:, :, 1] - power[:, :, 0]).T[:, :, None] * fit.rates_mm
    weight = fit.weight[row]
    gained = np.broadcast_to(gained, weight.shape).ravel()
    order = np.argsort(gained)
    share = weight.ravel()[order]
    points = np.interp((0.1, 0.5, 0.9), np.cumsum(share) - 0.5 * share, gained[order])
    return float(points[0]), float(points[1]), float(points[2])


def coverage(facts: Facts, fit: LiftFit, row: int = 0) -> Coverage:
    """What the usable readings of one instrument cover."""
    used = np.flatnonzero(facts.weight[row] > 0)
    days = [date_of(day) for day in facts.day[row, used]]
    return Coverage(
        readings=len(used),
        span_years=float(np.ptp(facts.day[row, used]) / DAYS_A_YEAR) if len(used) else 0.0,
        seasons=len({day.month % 12 // 3 for day in days}),
        held_down=tuple(
            day
            for day, factor in zip(days, fit.reading_factor[row, used], strict=True)
            if factor < HELD_DOWN
        ),
    )


def next_reading(
    facts: Facts, profile: ShopProfile, prior: LiftPrior | None, row: int = 0
) -> NextReading | None:
    """What one more reading today is expected to do to the range of the reset's date.

    None where the saddle or the joint's room is not known, or nothing was read yet.
    """
    left = rooms_of(facts, profile)
    limit = float((left.rise_limit_mm + left.joint_room_mm - facts.offset_now_mm)[row])
    if not np.isfinite(limit) or not facts.readings[row]:
        return None
    twice: Ints = np.array([row, row])
    found = expected_narrowing(
        facts.age_years[twice],
        facts.undone_mm[twice],
        facts.moisture_offset_pct[twice],
        facts.weight[twice],
        next_age_years=facts.age_now_years[twice],
        next_offset_pct=np.array([0.0, -MOISTURE_SWING_SD_PCT]),
        limit_mm=np.full(2, limit),
        horizon_age_years=facts.age_now_years[twice] + HORIZON_YEARS,
        prior=rows_of(prior, twice),
        age_sd_years=facts.age_sd_years[twice],
    )
    return NextReading(
        now_years=float(found.now_years[0]),
        after_years=float(found.after_years[0]),
        after_dry_years=float(found.after_years[1]),
    )
