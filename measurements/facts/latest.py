"""The newest figure of each kind, carried through the work done after it was read.

What work does to the action adds up as in ``geometry.foretell``: a change of height at the saddle
arrives at fret n as x_n/x_s of it, one at the nut as the rest, and a change of relief as its sag.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from geometry.action import Neck, reach, sag_per_relief
from geometry.balance import GaugeUncertainty
from measurements.facts.certainty import sureness
from measurements.facts.rows import Floats, Ints, Rows, or_zero
from measurements.facts.undo import History
from measurements.models import SIDES, WorkKind
from shop.models import ShopProfile

Column = tuple[Ints, Floats, Floats]  # whose, when, how much


class Newest:
    """Looks up newest figures of n instruments' sides among readings and work, up to given days.

    Figures are (n, 2), bass and treble; inside a column, side s of instrument i is number 2i + s.
    """

    def __init__(self, rows: Rows, done: np.ndarray, history: History) -> None:
        self.n = len(rows.ids)
        self.work_who, self.work_day = rows.work_who[done], rows.work_day[done]
        self.effect = history.effect
        set_to = {name: column[done] for name, column in rows.work.items()}

        def read(name: str) -> Column:
            return rows.reading_who, rows.reading_day, rows.reading[name]

        def set_by_work(name: str) -> Column:
            return self.work_who, self.work_day, set_to[name]

        self.saddle = _by_side(
            [(read(f"saddle_{side}_mm"), set_by_work(f"saddle_{side}_to_mm")) for side in SIDES]
        )
        self.action_1 = _by_side(
            [(rows.action_mm[1, side], set_by_work(f"nut_{side}_to_mm")) for side in SIDES]
        )
        self.action_12 = _by_side([(rows.action_mm[12, side],) for side in SIDES])
        self.relief = _by_side([(read("relief_mm"), set_by_work("relief_to_mm"))] * len(SIDES))
        self.rise = _by_side([(read("bridge_rise_mm"),)] * len(SIDES))

    def of(self, column: Column, until: Floats | None = None) -> tuple[Floats, Floats]:
        """Newest figure and its day, (n, 2) each; NaN and −inf where there is none."""
        who, day, value = column
        if until is not None:
            real = day <= until.ravel()[who]
            who, day, value = who[real], day[real], value[real]
        latest, when = np.full(2 * self.n, np.nan), np.full(2 * self.n, -np.inf)
        latest[who] = value
        when[who] = day
        return latest.reshape(-1, 2), when.reshape(-1, 2)

    def turned(self, since: Floats, until: Floats | None) -> Floats:
        """What work between two days did to the bridge rise, (n, 2); NaN where it is not known."""
        day = self.work_day[:, None]
        between = day > since[self.work_who]
        if until is not None:
            between &= day <= until[self.work_who]
        total = np.zeros((self.n, 2))
        np.add.at(total, self.work_who, np.where(between, self.effect[:, None], 0.0))
        return total

    def raised(self, since: Floats, until: Floats | None = None) -> Floats:
        """What work between two days did to the height of the strings at the saddle, (n, 2)."""
        before, after = (self.of(self.saddle, day)[0] for day in (since, until))
        return self.turned(since, until) + or_zero(after - before)


def _by_side(columns: Sequence[Sequence[Column]]) -> Column:
    """Real figures of bass and treble in order of whose and when; of one moment the last one last."""
    parts = [
        (2 * who + side, day, value)
        for side, of_side in enumerate(columns)
        for who, day, value in of_side
    ]
    who, day, value = (np.concatenate(part) for part in zip(*parts, strict=True))
    real = np.isfinite(value)
    who, day, value = who[real], day[real], value[real]
    order = np.lexsort((day, who))
    return who[order], day[order], value[order]


def _action_1(newest: Newest, neck: Neck, until: Floats | None = None) -> Floats:
    """Action at fret 1 on a day: as last read or set, carried through the work since."""
    read, when = newest.of(newest.action_1, until)
    return read + reach(neck, 1) * newest.raised(when, until)


def _action_12(newest: Newest, neck: Neck, action_1_now: Floats) -> Floats:
    """Action at fret 12 now: as last read, carried through the work since."""
    read, when = newest.of(newest.action_12)
    raised = newest.raised(when)
    first, twelfth = reach(neck, 1), reach(neck, 12)
    bent = newest.of(newest.relief)[0] - newest.of(newest.relief, when)[0]
    cut = action_1_now - _action_1(newest, neck, when)
    at_nut = or_zero(cut - first * raised) / (1.0 - first)
    sag = sag_per_relief(neck, 12) * or_zero(bent)
    return read + twelfth * raised + (1.0 - twelfth) * at_nut + sag


def _gauges(newest: Newest, rows: Rows, profile: ShopProfile) -> GaugeUncertainty:
    """How sure each of the newest figures is, by the check-in that it is from."""
    columns = {
        "action_1": newest.action_1,
        "action_12": newest.action_12,
        "saddle": newest.saddle,
        "relief": newest.relief,
        "bridge_rise": newest.rise,
    }
    rises = {"who": rows.reading_who, "day": rows.reading_day}
    rises |= {"count": rows.reading["bridge_rise_count"]}
    rises |= {"spread_mm": rows.reading["bridge_rise_spread_mm"]}
    read_on = {name: newest.of(column)[1] for name, column in columns.items()}
    return sureness(newest.n, read_on, rows.repeats, rises, profile)


def latest(
    rows: Rows, done: np.ndarray, history: History, neck: Neck, profile: ShopProfile
) -> dict[str, Any]:
    """Figures as they stand now, sides on the last axis; ``unmeasured`` marks work not read since."""
    newest = Newest(rows, done, history)
    sides = neck.two_sided
    action_1 = _action_1(newest, sides)
    rise = newest.of(newest.rise)[0][:, 0]
    read_day = np.full(newest.n, np.nan)
    read_day[rows.reading_who] = rows.reading_day
    moved = np.full(newest.n, -np.inf)
    moving = rows.work_kind[done] != WorkKind.OTHER
    np.maximum.at(moved, newest.work_who[moving], newest.work_day[moving])
    return {
        "action_1_mm": action_1,
        "action_12_mm": _action_12(newest, sides, action_1),
        "saddle_mm": newest.of(newest.saddle)[0],
        "relief_mm": newest.of(newest.relief)[0][:, 0],
        "bridge_rise_mm": np.where(history.rise_lost, np.nan, rise + history.last_gap_mm),
        "gauges": _gauges(newest, rows, profile),
        "last_day": read_day,
        "unmeasured": ~np.isnan(read_day) & (moved > read_day),
    }
