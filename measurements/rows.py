"""Reads the facts of many instruments as columns, the quickest way the database gives them.

Moments become days since 1970 (float), so that everything after is arithmetic on arrays.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from django.utils import timezone
from numpy.typing import NDArray

from instruments.models import Instrument
from measurements.models import ActionReading, CheckIn, Side, Work

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHECK_IN_COLUMNS = (
    "humidity_pct",
    "temperature_c",
    "relief_mm",
    "bridge_rise_mm",
    "saddle_bass_mm",
    "saddle_treble_mm",
)
WORK_COLUMNS = (
    "tilt_from_deg",
    "tilt_to_deg",
    "shim_from_mm",
    "shim_to_mm",
    "wedge_mm",
    "relief_from_mm",
    "relief_to_mm",
    "saddle_bass_to_mm",
    "saddle_treble_to_mm",
    "nut_bass_to_mm",
    "nut_treble_to_mm",
)
ACTION_FRETS = (1, 12)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def day_number(moment: datetime) -> float:
    return (moment - EPOCH) / timedelta(days=1)


def moment_of(day: float) -> datetime:
    return EPOCH + timedelta(days=float(day))


def date_of(day: float) -> date:
    return timezone.localtime(moment_of(day)).date()


def end_of(day: date) -> datetime:
    """First moment after ``day`` in the shop's time zone."""
    return timezone.make_aware(datetime.combine(day + timedelta(days=1), time.min))


@dataclass(frozen=True)
class Rows:
    """Columns of facts, each sorted by instrument and then time.

    ``who`` arrays hold the instrument's place in ``ids``; a missing figure is NaN.
    """

    ids: Ints
    instruments: list[dict[str, Any]]
    reading_who: Ints
    reading_day: Floats
    reading: dict[str, Floats]
    action_who: Ints
    action_day: Floats
    action_mm: dict[tuple[int, str], tuple[Ints, Floats, Floats]]
    work_who: Ints
    work_day: Floats
    work_kind: NDArray[np.str_]
    work_new_origin: NDArray[np.bool_]
    work: dict[str, Floats]


INSTRUMENT_COLUMNS = (
    "pk",
    "tag",
    "built_year",
    "built_about",
    "strings",
    "top_wood",
    "bracing",
    "scale_length_mm",
    "compensation_mm",
    "joint_fret",
    "fretboard_radius_mm",
    "half_spread_nut_mm",
    "half_spread_saddle_mm",
    "target_12_bass_mm",
    "target_12_treble_mm",
    "joint__kind",
    "joint__pivot_depth_mm",
    "joint__heel_depth_mm",
    "joint__tilt_now_deg",
    "joint__tilt_max_deg",
    "joint__shims_mm",
    "joint__shim_now_mm",
)


def read_rows(ids: Sequence[int], as_of: date) -> Rows:
    """All standing facts up to the end of ``as_of`` for the instruments ``ids``, four queries.

    Works after ``as_of`` are read too, as far as they moved the joint, so that its setting on that
    day is known: they carry a day later than ``as_of``.
    """
    instruments = list(
        Instrument.objects.filter(pk__in=ids).order_by("pk").values(*INSTRUMENT_COLUMNS)
    )
    keys = np.array([row["pk"] for row in instruments], dtype=np.int64)
    until = end_of(as_of)
    readings = (
        CheckIn.objects.standing()
        .filter(instrument__in=ids, at_pitch=True, measured_at__lt=until)
        .order_by("instrument_id", "measured_at", "pk")
        .values_list("instrument_id", "measured_at", *CHECK_IN_COLUMNS)
    )
    who, day, reading = _columns(list(readings), keys, CHECK_IN_COLUMNS)
    actions = list(
        ActionReading.objects.filter(
            check_in__instrument__in=ids,
            check_in__voided_at=None,
            check_in__at_pitch=True,
            check_in__measured_at__lt=until,
            fret__in=ACTION_FRETS,
        )
        .order_by("check_in__instrument_id", "check_in__measured_at", "check_in_id")
        .values_list(
            "check_in__instrument_id", "check_in__measured_at", "action_mm", "fret", "side"
        )
    )
    action_who, action_day, action = _columns(actions, keys, ("action_mm",))
    places = np.array([f"{fret}{side}" for *_, fret, side in actions], dtype=np.str_)
    action_mm = {}
    for fret in ACTION_FRETS:
        for side in Side.values:
            here = places == f"{fret}{side}"
            action_mm[fret, side] = (
                action_who[here],
                action_day[here],
                action["action_mm"][here],
            )
    works = list(
        Work.objects.standing()
        .filter(instrument__in=ids)
        .order_by("instrument_id", "done_at", "pk")
        .values_list("instrument_id", "done_at", *WORK_COLUMNS, "kind", "new_origin")
    )
    work_who, work_day, work = _columns(works, keys, WORK_COLUMNS)
    return Rows(
        ids=keys,
        instruments=instruments,
        reading_who=who,
        reading_day=day,
        reading=reading,
        action_who=action_who,
        action_day=action_day,
        action_mm=action_mm,
        work_who=work_who,
        work_day=work_day,
        work_kind=np.array([row[-2] for row in works], dtype=np.str_),
        work_new_origin=np.array([row[-1] for row in works], dtype=bool),
        work=work,
    )


def _columns(
    rows: list[tuple[Any, ...]], keys: Ints, names: Sequence[str]
) -> tuple[Ints, Floats, dict[str, Floats]]:
    """Rows of (instrument, moment, figures …) as places, days and columns."""
    who = np.searchsorted(keys, np.array([row[0] for row in rows], dtype=np.int64))
    day = np.array([day_number(row[1]) for row in rows], dtype=float)
    figures = np.array([row[2 : 2 + len(names)] for row in rows], dtype=float)
    figures = figures.reshape(len(rows), len(names))
    return who, day, {name: figures[:, place] for place, name in enumerate(names)}
