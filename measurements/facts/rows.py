"""Reads the facts of many instruments as columns, the quickest way the database gives them.

Moments become days since 1970 (float) in the database itself, and everything else a number, so that
rows go into arrays as they come and everything after is arithmetic.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from itertools import chain
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import (
    BigIntegerField,
    Case,
    DateTimeField,
    FloatField,
    Func,
    Q,
    QuerySet,
    Value,
    When,
)
from django.utils import timezone
from numpy.typing import NDArray

from instruments.models import Instrument
from measurements.facts.certainty import Repeats
from measurements.models import ActionReading, CheckIn, Side, Work, WorkKind
from shop.statements import Slot, Statement

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
REPEAT_COLUMNS = ("bridge_rise_count", "bridge_rise_spread_mm")
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
ACTION_COLUMNS = ("check_in_id", "fret", "side", "action_mm")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
#: Ids that fill this share of the span from the first to the last are asked for as that span.
DENSE = 0.5


class Day(Func):
    """Days since 1970 of a moment, counted by the database; ``day_number`` does the same here.

    PostgreSQL keeps the microsecond. SQLite counts in milliseconds: the rest is cut off, not
    rounded, so that no moment slips into the next day; then whole milliseconds, since a Julian day
    number has only some 40 microseconds of resolution and local midnight must stay midnight.
    """

    output_field = FloatField()

    def as_sqlite(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        template = (
            "ROUND((JULIANDAY(SUBSTR(%(expressions)s, 1, 23)) - 2440587.5) * 86400000) / 86400000.0"
        )
        return self.as_sql(compiler, connection, template=template, **extra)

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        template = "DATE_PART('epoch', %(expressions)s) / 86400.0"
        return self.as_sql(compiler, connection, template=template, **extra)


def or_zero(values: Floats) -> Floats:
    """The values, 0 for a missing one."""
    return np.where(np.isnan(values), 0.0, values)


def day_number(moment: datetime) -> float:
    return (moment - EPOCH) / timedelta(days=1)


def moment_of(day: float) -> datetime:
    return EPOCH + timedelta(days=float(day))


def date_of(day: float) -> date:
    return timezone.localtime(moment_of(day)).date()


def start_of(day: date) -> datetime:
    """First moment of ``day`` in the shop's time zone."""
    return timezone.make_aware(datetime.combine(day, time.min))


def end_of(day: date) -> datetime:
    """First moment after ``day`` in the shop's time zone."""
    return start_of(day + timedelta(days=1))


@dataclass(frozen=True)
class Rows:
    """Columns of facts, each sorted by instrument and then time.

    ``who`` arrays hold the instrument's place in ``ids``; a missing figure is NaN. ``repeats`` are the
    places read more than once, on the ``reading_day`` of their check-in.
    """

    ids: Ints
    instruments: list[dict[str, Any]]
    reading_who: Ints
    reading_day: Floats
    reading: dict[str, Floats]
    repeats: Repeats
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

    A fifth one fetches repeat readings, only where there are some.

    ``ids`` are a few thousand at most, in any order; one that is no instrument's is left out. Works
    after ``as_of`` are read too, as far as they moved the joint, so that its setting on that day is
    known: they carry a day later than ``as_of``.
    """
    wanted = set(ids)
    statement = _statement(_instruments, ids)
    found = statement.converted(statement.fetch(**_span(ids)))
    instruments = [
        dict(zip(INSTRUMENT_COLUMNS, row, strict=True)) for row in found if row[0] in wanted
    ]
    keys = np.array([row["pk"] for row in instruments], dtype=np.int64)
    until = end_of(as_of)
    of_reading = ("instrument_id", "day", "pk", *CHECK_IN_COLUMNS, *REPEAT_COLUMNS, "repeated")
    reading_who, reading = _of_these(_columns(_readings, of_reading, ids, until=until), keys)
    reading_day, pk = reading.pop("day"), reading.pop("pk")
    repeated = pk[reading.pop("repeated") > 0]
    repeats = _repeats_of(reading_who, reading_day, pk, ids) if repeated.size else Repeats.of(())
    actions = _columns(_actions, ACTION_COLUMNS, ids, until=until)
    action, at = _of_readings(actions, pk)
    action_who, action_day = reading_who[at], reading_day[at]
    action_mm = {}
    for fret in ACTION_FRETS:
        for place, side in enumerate(Side.values):
            here = (action["fret"] == fret) & (action["side"] == place)
            action_mm[fret, side] = (
                action_who[here],
                action_day[here],
                action["action_mm"][here],
            )
    of_work = ("instrument_id", "day", "kind", "new_origin", *WORK_COLUMNS)
    work_who, work = _of_these(_columns(_works, of_work, ids), keys)
    work_day = work.pop("day")
    return Rows(
        ids=keys,
        instruments=instruments,
        reading_who=reading_who,
        reading_day=reading_day,
        reading=reading,
        repeats=repeats,
        action_who=action_who,
        action_day=action_day,
        action_mm=action_mm,
        work_who=work_who,
        work_day=work_day,
        work_kind=np.array(WorkKind.values)[work.pop("kind").astype(np.int64)],
        work_new_origin=work.pop("new_origin") > 0,
        work=work,
    )


def lock(ids: Sequence[int], *, wait: bool = True) -> list[int]:
    """Lock the rows of the instruments ``ids`` for this transaction; those that there are, in order.

    Some others may be locked with them, where a span is quicker than a list. Without ``wait`` those
    that another transaction holds are left out, where the database locks rows.
    """
    wanted = set(ids)
    found = _statement(_locked if wait else _lockable, ids).fetch(**_span(ids))
    return [key for (key,) in found if key in wanted]


Among = Callable[[str], Q]
Query = Callable[[Among], QuerySet[Any, Any]]
UNTIL = Slot("until", DateTimeField())


def _instruments(among: Among) -> QuerySet[Any, Any]:
    return Instrument.objects.filter(among("pk")).order_by("pk").values_list(*INSTRUMENT_COLUMNS)


def _locked(among: Among) -> QuerySet[Any, Any]:
    return (
        Instrument.objects.select_for_update().filter(among("pk")).order_by("pk").values_list("pk")
    )


def _lockable(among: Among) -> QuerySet[Any, Any]:
    free = Instrument.objects.select_for_update(skip_locked=True)
    return free.filter(among("pk")).order_by("pk").values_list("pk")


def _readings(among: Among) -> QuerySet[Any, Any]:
    return (
        CheckIn.objects.standing()
        .filter(among("instrument_id"), at_pitch=True, measured_at__lt=UNTIL)
        .order_by("instrument_id", "measured_at", "pk")
        .values_list(
            "instrument_id",
            Day("measured_at"),
            "pk",
            *CHECK_IN_COLUMNS,
            *REPEAT_COLUMNS,
            Case(When(repeats_mm={}, then=Value(0)), default=Value(1)),
        )
    )


def _repeats(among: Among) -> QuerySet[Any, Any]:
    """In no order, of whatever time: their check-ins have been read."""
    standing = CheckIn.objects.standing().filter(among("instrument_id"), at_pitch=True)
    return standing.exclude(repeats_mm={}).order_by().values_list("pk", "repeats_mm")


def _actions(among: Among) -> QuerySet[Any, Any]:
    """In no order, without whose they are and when: their check-ins have been read."""
    return (
        ActionReading.objects.filter(
            among("check_in__instrument_id"),
            check_in__voided_at=None,
            check_in__at_pitch=True,
            check_in__measured_at__lt=UNTIL,
            fret__in=ACTION_FRETS,
        )
        .order_by()
        .values_list("check_in_id", "fret", _place_in("side", Side.values), "action_mm")
    )


def _works(among: Among) -> QuerySet[Any, Any]:
    return (
        Work.objects.standing()
        .filter(among("instrument_id"))
        .order_by("instrument_id", "done_at", "pk")
        .values_list(
            "instrument_id",
            Day("done_at"),
            _place_in("kind", WorkKind.values),
            "new_origin",
            *WORK_COLUMNS,
        )
    )


def _place_in(column: str, words: Sequence[str]) -> Case:
    """A word as its place in the list of words."""
    return Case(*(When(**{column: word}, then=Value(place)) for place, word in enumerate(words)))


def _span(ids: Sequence[int]) -> dict[str, int]:
    return {"first": min(ids, default=1), "last": max(ids, default=0)}


def _statement(query: Query, ids: Sequence[int]) -> Statement:
    """The query for the instruments ``ids``, and for some others where a span is quicker than a list."""
    span = _span(ids)
    if (span["last"] - span["first"] + 1) * DENSE <= len(ids):
        return _spanning(query, connection.vendor)
    return Statement.of(query(lambda column: Q(**{f"{column}__in": ids})))


@cache
def _spanning(query: Query, vendor: str) -> Statement:
    first, last = (Slot(name, BigIntegerField()) for name in ("first", "last"))
    return Statement.of(
        query(lambda column: Q(**{f"{column}__gte": first, f"{column}__lte": last}))
    )


def _columns(
    query: Query, names: Sequence[str], ids: Sequence[int], **given: datetime
) -> dict[str, Floats]:
    """The rows of a query as columns, all of them numbers or nothing (NaN).

    Numbers need none of the conversions that a queryset makes value by value, in half as much time again.
    """
    rows = _statement(query, ids).fetch(**_span(ids), **given)
    shape = len(rows), len(names)
    table = np.fromiter(chain.from_iterable(rows), dtype=float, count=shape[0] * shape[1])
    return dict(zip(names, np.ascontiguousarray(table.reshape(shape).T), strict=True))


def _of_these(columns: dict[str, Floats], keys: Ints) -> tuple[Ints, dict[str, Floats]]:
    """The rows of the instruments ``keys``, and the place of each row's instrument in ``keys``."""
    ours, who = _found(columns.pop("instrument_id").astype(np.int64), keys)
    if not ours.all():
        columns = {name: column[ours] for name, column in columns.items()}
    return who, columns


def _of_readings(columns: dict[str, Floats], pk: Floats) -> tuple[dict[str, Floats], Ints]:
    """Action readings in the order of their check-ins, and the place of each one's in ``pk``."""
    order = np.argsort(pk)
    ours, place = _found(columns.pop("check_in_id"), pk[order])
    at = order[place]
    sort = np.argsort(at, kind="stable")
    read = np.flatnonzero(ours)[sort]
    return {name: column[read] for name, column in columns.items()}, at[sort]


def _repeats_of(who: Ints, day: Floats, pk: Floats, ids: Sequence[int]) -> Repeats:
    """The repeat readings of check-ins given in columns."""
    statement = _statement(_repeats, ids)
    row_of = {int(key): row for row, key in enumerate(pk)}
    found = statement.converted(statement.fetch(**_span(ids)))
    at = [(row_of[key], repeats_mm) for key, repeats_mm in found if key in row_of]
    return Repeats.of((int(who[row]), float(day[row]), repeats_mm) for row, repeats_mm in at)


def _found(sought: NDArray[Any], ordered: NDArray[Any]) -> tuple[np.ndarray, Ints]:
    """Which of the keys sought are among those in order, and the places of these."""
    place = np.searchsorted(ordered, sought)
    ours = place < len(ordered)
    ours[ours] = ordered[place[ours]] == sought[ours]
    return ours, place[ours]
