"""One instrument's movement over time: what is lasting lift, what was season, what was work."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from django.utils import timezone

from geometry.lift import lasting_rise, seasonal_part
from geometry.units import LengthUnit
from measurements.advice.counsel import Counsel
from measurements.facts.arrays import DAYS_A_YEAR, Facts
from measurements.facts.rows import date_of, end_of
from measurements.forecast.outlooks import rooms_of
from measurements.models import SIDES, Work
from measurements.words import work_words

BAND_POINTS = 48
AHEAD_YEARS = 30.0
#: A reading that keeps less than this share of its weight is shown as held down by the fit.
HELD_DOWN = 0.5


@dataclass(frozen=True)
class TrendReading:
    """A bridge rise as measured, and corrected for work and season on today's joint setting. [mm]"""

    day: date
    measured_mm: float
    lasting_mm: float
    held_down: bool


@dataclass(frozen=True)
class BandPoint:
    """Lasting rise at the reference climate: 10, 50 and 90 % points. [mm]"""

    day: date
    low_mm: float
    likely_mm: float
    high_mm: float


@dataclass(frozen=True)
class TrendWork:
    day: date
    words: str


@dataclass(frozen=True)
class Trend:
    """All that the charts show; every height on the joint's setting of today."""

    today: date
    readings: tuple[TrendReading, ...]
    band: tuple[BandPoint, ...]
    saddle_limit_mm: float | None
    reset_limit_mm: float | None
    works: tuple[TrendWork, ...]
    actions: dict[str, tuple[tuple[date, float], ...]]
    saddles: dict[str, tuple[tuple[date, float], ...]]


def trend(now: Counsel, unit: LengthUnit = "mm") -> Trend:
    """The trend of one instrument up to the day of its counsel, and its band beyond."""
    works = Work.objects.standing().filter(instrument=now.instrument, done_at__lt=end_of(now.today))
    return Trend(
        today=now.today,
        **_movement(now),
        works=tuple(
            TrendWork(timezone.localtime(work.done_at).date(), work_words(work, unit))
            for work in works
        ),
        actions=_actions(now.facts),
        saddles=_saddles(now.facts),
    )


def _movement(now: Counsel) -> dict[str, Any]:
    """Corrected readings, the band and the limits."""
    facts = now.facts
    nothing: dict[str, Any] = {
        "readings": (),
        "band": (),
        "saddle_limit_mm": None,
        "reset_limit_mm": None,
    }
    used = facts.weight[0] > 0
    if not used.any():
        return nothing
    fit, work = now.fit, facts.offset_now_mm[0]
    season = seasonal_part(fit, facts.age_years, facts.moisture_offset_pct)[0]
    readings = tuple(
        TrendReading(
            day=date_of(facts.day[0, k]),
            measured_mm=float(facts.measured_mm[0, k]),
            lasting_mm=float(facts.undone_mm[0, k] - season[k] + work),
            held_down=bool(fit.reading_factor[0, k] < HELD_DOWN),
        )
        for k in np.flatnonzero(used)
    )
    first = facts.age_years[0][used].min()
    ages = np.linspace(first, facts.age_now_years[0] + AHEAD_YEARS, BAND_POINTS)
    rises = lasting_rise(fit, ages[None])[0] + work
    band = tuple(
        BandPoint(date_of(facts.origin_day[0] + age * DAYS_A_YEAR), *map(float, rise))
        for age, rise in zip(ages, rises, strict=True)
    )
    left = rooms_of(facts, now.profile)
    limit, room = float(left.rise_limit_mm[0]), float(left.joint_room_mm[0])
    return {
        "readings": readings,
        "band": band,
        "saddle_limit_mm": limit if np.isfinite(limit) else None,
        "reset_limit_mm": limit + room if np.isfinite(limit + room) else None,
    }


def _actions(facts: Facts) -> dict[str, tuple[tuple[date, float], ...]]:
    return {
        side: tuple(
            (date_of(day), float(value))
            for _, day, value in zip(*facts.rows.action_mm[12, side], strict=True)
        )
        for side in SIDES
    }


def _saddles(facts: Facts) -> dict[str, tuple[tuple[date, float], ...]]:
    return {
        side: tuple(
            (date_of(day), float(value))
            for day, value in zip(
                facts.rows.reading_day, facts.rows.reading[f"saddle_{side}_mm"], strict=True
            )
            if np.isfinite(value)
        )
        for side in SIDES
    }
