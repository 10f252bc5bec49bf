"""A reading that is being typed, put among an instrument's rows as if it had just been saved."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from measurements.facts.certainty import Repeats
from measurements.facts.rows import Rows, day_number

#: Nearer than this is the same moment: databases count one to different last digits.
A_MOMENT = timedelta(seconds=1)
#: What happens to one instrument happens at least this far apart (``forms.moment_on``).
APART = 2 * A_MOMENT


@dataclass(frozen=True)
class Provisional:
    """One check-in that is not saved yet.

    ``figures`` are columns of ``rows.Rows.reading`` and ``action_mm`` the action by (fret, side), only
    what was given. [mm], [% RH], [°C] ``repeats_mm`` is as a check-in has it, ``instead_of`` the moment of
    the one that it corrects.
    """

    moment: datetime
    figures: Mapping[str, float]
    action_mm: Mapping[tuple[int, str], float] = field(default_factory=dict)
    repeats_mm: Mapping[str, Sequence[float]] = field(default_factory=dict)
    instead_of: datetime | None = None


def kept(rows: Rows, keep: Callable[[np.ndarray], np.ndarray]) -> Rows:
    """Only the readings on whose days (k,) ``keep`` says yes; works stay, as ``read_rows`` says."""
    read, acted = keep(rows.reading_day), keep(rows.action_day)
    return replace(
        rows,
        reading_who=rows.reading_who[read],
        reading_day=rows.reading_day[read],
        reading={name: column[read] for name, column in rows.reading.items()},
        repeats=rows.repeats.where(keep(rows.repeats.day)),
        action_who=rows.action_who[acted],
        action_day=rows.action_day[acted],
        action_mm={
            place: (who[keep(when)], when[keep(when)], mm[keep(when)])
            for place, (who, when, mm) in rows.action_mm.items()
        },
    )


def with_reading(rows: Rows, typed: Provisional) -> Rows:
    """The rows of one instrument with the typed reading in its place among them."""
    if typed.instead_of is not None:
        wrong, near = day_number(typed.instead_of), A_MOMENT / timedelta(days=1)
        rows = kept(rows, lambda day: np.abs(day - wrong) > near)
    now = day_number(typed.moment)
    at = int(np.searchsorted(rows.reading_day, now, side="right"))
    acted = np.searchsorted(rows.action_day, [now] * len(typed.action_mm), side="right")

    def put(column: np.ndarray, place: int, value: float) -> np.ndarray:
        return np.insert(column, place, value)

    action_mm = dict(rows.action_mm)
    for where, value in typed.action_mm.items():
        if where in action_mm:
            who, when, mm = action_mm[where]
            place = int(np.searchsorted(when, now, side="right"))
            action_mm[where] = put(who, place, 0), put(when, place, now), put(mm, place, value)
    return replace(
        rows,
        reading_who=put(rows.reading_who, at, 0),
        reading_day=put(rows.reading_day, at, now),
        reading={
            name: put(column, at, typed.figures.get(name, np.nan))
            for name, column in rows.reading.items()
        },
        repeats=rows.repeats.and_also(Repeats.of([(0, now, typed.repeats_mm)])),
        action_who=np.insert(rows.action_who, acted, 0),
        action_day=np.insert(rows.action_day, acted, now),
        action_mm=action_mm,
    )
