"""From facts to conclusions: rooms, dates with their ranges, a state in words. Nothing is stored here."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from django.utils import timezone
from numpy.typing import ArrayLike

from geometry.advice import Readings, Rooms, Targets, rooms
from geometry.balance import balance
from geometry.constants import SADDLE_TOLERATED_MM, SURPRISE_U
from geometry.lift import (
    LiftFit,
    LiftPrior,
    components,
    crossing,
    crossing_probability,
    surprise,
)
from geometry.readings import two_sided
from measurements.facts.arrays import DAYS_A_YEAR, HORIZON_YEARS, Facts, gather
from measurements.facts.fits import Lifts
from measurements.facts.rows import Floats, date_of, day_number, end_of, moment_of
from measurements.forecast.load import chance_days
from measurements.forecast.prior import prior_for, rows_of
from measurements.models import CHANCES, Outlook, State
from shop.models import ShopProfile

MODEL_VERSION = "5"
MARKS = ("early", "likely", "late")


@dataclass(frozen=True)
class Reading:
    """What the facts of N instruments were taken to mean; dates as days since 1970, NaN = none.

    ``spent_day`` and ``reset_day`` are (N, 3): early, likely, late. ``reset_chance`` is (N, k): that the
    reset is due by each of the days of ``load.chance_days``.
    """

    fit: LiftFit
    rise_limit_mm: Floats
    saddle_room_mm: Floats
    joint_room_mm: Floats
    spent_day: Floats
    reset_day: Floats
    reset_chance: Floats
    surprise_z: Floats
    contradicts: np.ndarray


def targets_of(facts: Facts, profile: ShopProfile, row: int | None = None) -> Targets:
    """The shop's targets and floors with each instrument's own; ``row`` for one of them only."""
    pick = slice(None) if row is None else row
    return shop_targets(profile, facts.target_12_mm[pick], facts.target_1_mm[pick])


def shop_targets(profile: ShopProfile, action_12_mm: ArrayLike, action_1_mm: ArrayLike) -> Targets:
    """The shop's floors and windows beside wanted actions at frets 12 and 1. [mm]"""
    return Targets(
        action_12_mm=action_12_mm,
        action_1_mm=action_1_mm,
        saddle_floor_mm=profile.saddle_floor_mm,
        saddle_preferred_mm=(profile.saddle_preferred_low_mm, profile.saddle_preferred_high_mm),
        saddle_ceiling_mm=max(SADDLE_TOLERATED_MM[1], profile.saddle_preferred_high_mm),
        relief_window_mm=(profile.relief_low_mm, profile.relief_high_mm),
    )


def readings_of(facts: Facts, row: int | None = None) -> Readings:
    """Every instrument's figures as they stand; ``row`` for one of them only.

    A string that by the work done since should lie below a fret lies on it.
    """
    pick = slice(None) if row is None else row
    return Readings(
        action_1_mm=np.maximum(facts.action_1_mm[pick], 0.0),
        action_12_mm=np.maximum(facts.action_12_mm[pick], 0.0),
        saddle_mm=facts.saddle_mm[pick],
        bridge_rise_mm=facts.bridge_rise_mm[pick],
        relief_mm=facts.relief_mm[pick],
    )


def rooms_of(facts: Facts, profile: ShopProfile) -> Rooms:
    """Saddle room, joint room and rise limit of every instrument, (N,). [mm]"""
    left = rooms(
        facts.neck,
        readings_of(facts),
        targets_of(facts, profile),
        tilt_left_deg=facts.tilt_left_deg,
        pivot_to_saddle_mm=facts.pivot_to_saddle_mm,
        pivot_depth_mm=facts.pivot_depth_mm,
    )
    # A joint without travel has no room at all, not a rounding error of it.
    return replace(
        left,
        joint_room_mm=np.where(
            facts.tilt_left_deg > 0, left.joint_room_mm, 0.0 * facts.bridge_rise_mm
        ),
    )


def crossing_days(fit: LiftFit, facts: Facts, limit_mm: Floats) -> Floats:
    """Days on which the lasting rise reaches limits given on today's setting, (N, …, 3)."""
    limit = limit_mm - _beside(facts.offset_now_mm, limit_mm)
    ages = crossing(fit, limit, horizon_age_years=facts.age_now_years + HORIZON_YEARS)
    return _beside(facts.origin_day, ages) + ages * DAYS_A_YEAR


def chances_by(fit: LiftFit, facts: Facts, limit_mm: Floats, days: Sequence[date]) -> Floats:
    """Chances that the lasting rise has reached a limit (N,), given on today's setting, by days, (N, k)."""
    numbers = np.array([facts.today, *(day_number(end_of(day)) for day in days[1:])])
    ages = np.maximum((numbers - facts.origin_day[:, None]) / DAYS_A_YEAR, 0.01)
    return crossing_probability(fit, limit_mm - facts.offset_now_mm, ages)


def _beside(per_instrument: Floats, other: Floats) -> Floats:
    return per_instrument.reshape(-1, *[1] * (other.ndim - 1))


def read(facts: Facts, profile: ShopProfile) -> Reading:
    """Fit the lift of every instrument and say when its saddle is spent and its reset due."""
    prior = prior_for(facts)
    fit, surprise_z = fit_and_surprise(facts, prior)
    left = rooms_of(facts, profile)
    due = left.rise_limit_mm + left.joint_room_mm
    days = crossing_days(fit, facts, np.stack([left.rise_limit_mm, due], axis=1))
    return Reading(
        fit=fit,
        rise_limit_mm=left.rise_limit_mm,
        saddle_room_mm=left.saddle_room_mm,
        joint_room_mm=left.joint_room_mm,
        spent_day=days[:, 0],
        reset_day=days[:, 1],
        reset_chance=chances_by(fit, facts, due, chance_days(date_of(facts.today))),
        surprise_z=surprise_z,
        contradicts=contradictions(facts),
    )


def contradictions(facts: Facts) -> np.ndarray:
    """Whether the action read at fret 12 contradicts the other readings, on either side, (N,)."""
    sure = facts.gauges
    found = balance(
        two_sided(facts.neck),
        action_1_mm=facts.action_1_mm,
        action_12_mm=facts.action_12_mm,
        bridge_rise_mm=facts.bridge_rise_mm[:, None],
        saddle_mm=facts.saddle_mm,
        relief_mm=facts.relief_mm[:, None],
        uncertainty=replace(
            sure,
            bridge_rise_mm=np.asarray(sure.bridge_rise_mm)[:, None],
            relief_mm=np.asarray(sure.relief_mm)[:, None],
        ),
    )
    return np.asarray(np.any(found.contradicts, axis=1))


def fit_and_surprise(facts: Facts, prior: LiftPrior | None) -> tuple[LiftFit, Floats]:
    """The fit of every instrument, and its newest reading's score in the fit to those before, (N,).

    Both fits are made in one go: an instrument with a reading to judge is in it twice.
    """
    n = len(facts)
    used = facts.weight > 0
    place = np.where(used, np.arange(used.shape[1]), -1).max(axis=1, initial=-1)
    rows = np.flatnonzero(facts.readings >= 2)
    last = place[rows]
    earlier = facts.weight[rows]
    earlier[np.arange(len(rows)), last] = 0.0
    twice = np.concatenate([np.arange(n), rows])
    lifts = Lifts.of(facts).take(twice, np.concatenate([facts.weight, earlier]))
    fits = lifts.fit(rows_of(prior, twice))
    score = np.full(n, np.nan)
    score[rows] = surprise(
        fits.take(slice(n, None)),
        facts.age_years[rows, last],
        facts.undone_mm[rows, last],
        facts.moisture_offset_pct[rows, last],
        facts.weight[rows, last],
    )
    return fits.take(slice(n)), score


def state_of(
    reset_day: Floats, today: float, profile: ShopProfile, *, known: bool, room_mm: float
) -> State:
    """The word for an instrument, from its reset dates (early, likely, late) and its room now.

    Room used up while the likely date lies well ahead is a damp day's reading, or a misread one: it
    is watched, whatever the dates say.
    """
    if not known:
        return State.UNKNOWN
    early, likely, _ = (reset_day - today) / DAYS_A_YEAR
    if likely <= 0:
        return State.OVERDUE
    if likely <= profile.book_within_years:
        return State.BOOK
    if room_mm <= 0 or early <= profile.watch_within_years:
        return State.WATCH
    return State.ROOM


def compute(
    ids: Sequence[int], as_of: date | None = None, profile: ShopProfile | None = None
) -> list[Outlook]:
    """Outlooks of some instruments on a day, unsaved, in the order of their keys."""
    as_of = as_of or timezone.localdate()
    profile = profile or ShopProfile.current()
    return conclude(gather(ids, as_of, profile), as_of, profile) if ids else []


def conclude(facts: Facts, as_of: date, profile: ShopProfile) -> list[Outlook]:
    """Outlooks, unsaved, from facts gathered for that day."""
    reading = read(facts, profile)
    parts = components(reading.fit)
    now = timezone.now()
    outlooks = []
    for row, key in enumerate(facts.ids):
        known = bool(np.isfinite(reading.saddle_room_mm[row]) and facts.readings[row] > 0)
        room = reading.saddle_room_mm[row] + reading.joint_room_mm[row]
        outlooks.append(
            Outlook(
                instrument_id=int(key),
                model_version=MODEL_VERSION,
                fingerprint=_fingerprint(facts, row),
                as_of=as_of,
                computed_at=now,
                out_of_date=False,
                readings=int(facts.readings[row]),
                last_measured_at=_moment(facts.last_day[row]),
                bridge_rise_mm=_number(facts.bridge_rise_mm[row]),
                rise_limit_mm=_number(reading.rise_limit_mm[row]),
                saddle_room_mm=_number(reading.saddle_room_mm[row]),
                joint_room_mm=_number(reading.joint_room_mm[row]),
                surprise_z=_number(reading.surprise_z[row]),
                remeasure=bool(
                    abs(reading.surprise_z[row]) > SURPRISE_U or reading.contradicts[row]
                ),
                state=state_of(
                    reading.reset_day[row], facts.today, profile, known=known, room_mm=room
                ),
                basis=_basis(facts, parts, row),
                **_dates("saddle_spent", reading.spent_day[row]),
                **_dates("reset", reading.reset_day[row]),
                **dict(zip(CHANCES, map(_number, reading.reset_chance[row]), strict=True)),
            )
        )
    return outlooks


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _moment(day: float) -> Any:
    return moment_of(day) if np.isfinite(day) else None


def _dates(name: str, days: Floats) -> dict[str, date | None]:
    return {
        f"{name}_{mark}": date_of(day) if np.isfinite(day) else None
        for mark, day in zip(MARKS, days, strict=True)
    }


def _fingerprint(facts: Facts, row: int) -> str:
    """Digest of all that an outlook was computed from; equal inputs give equal digests."""
    digest = hashlib.blake2b(digest_size=16)
    used = facts.weight[row] > 0
    for array in (
        facts.age_years[row][used],
        facts.undone_mm[row][used],
        facts.moisture_offset_pct[row][used],
        facts.weight[row][used],
        facts.action_1_mm[row],
        facts.action_12_mm[row],
        facts.saddle_mm[row],
        facts.target_12_mm[row],
        *(np.asarray(u_mm)[row] for u_mm in vars(facts.gauges).values()),
        np.array(
            [
                facts.relief_mm[row],
                facts.bridge_rise_mm[row],
                facts.tilt_left_deg[row],
                facts.offset_now_mm[row],
                facts.pivot_to_saddle_mm[row],
            ]
        ),
    ):
        digest.update(np.round(array, 6).tobytes())
    return digest.hexdigest()


def _basis(facts: Facts, parts: dict[str, Floats], row: int) -> dict[str, Any]:
    """Why the outlook is what it is: what the fit found and what had to be assumed."""
    return {
        "rate_mm_per_30_years": _number(parts["rate_mm_per_30_years"][row]),
        "moisture_slope": _number(parts["moisture_slope"][row]),
        "origin_assumed": bool(facts.origin_assumed[row]),
        "age_sd_years": float(facts.age_sd_years[row]),
        "age_years": round(float(facts.age_now_years[row]), 2),
        "humidity_known": int(
            (np.isfinite(facts.moisture_offset_pct[row]) & (facts.weight[row] > 0)).sum()
        ),
        "assumed": [
            name
            for name, figures in (
                ("action at fret 1", facts.action_1_mm[row]),
                ("saddle height", facts.saddle_mm[row]),
                ("relief", facts.relief_mm[row]),
            )
            if np.isnan(figures).any()
        ],
    }
