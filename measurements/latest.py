"""The newest figure of each kind, carried through the work done after it was read.

What work does to the action adds up as in ``geometry.foretell``: a change of height at the saddle
arrives at fret n as x_n/x_s of it, one at the nut as the rest, and a change of relief as its sag.
"""

from typing import Any

import numpy as np

from geometry.action import Neck, reach, sag_per_relief
from measurements.models import SIDES, WorkKind
from measurements.rows import Floats, Ints, Rows
from measurements.undo import History

Column = tuple[Ints, Floats, Floats]  # whose, when, how much; in any order
EVER = np.inf


class Newest:
    """Looks up newest figures of n instruments among readings and work, up to given days."""

    def __init__(self, rows: Rows, done: np.ndarray, history: History) -> None:
        self.n = len(rows.ids)
        self.rows = rows
        self.work_who, self.work_day = rows.work_who[done], rows.work_day[done]
        self.work = {name: column[done] for name, column in rows.work.items()}
        self.effect = history.effect

    def reading(self, name: str) -> Column:
        return self.rows.reading_who, self.rows.reading_day, self.rows.reading[name]

    def set_to(self, name: str) -> Column:
        return self.work_who, self.work_day, self.work[name]

    def saddle(self, side: str) -> tuple[Column, Column]:
        return self.reading(f"saddle_{side}_mm"), self.set_to(f"saddle_{side}_to_mm")

    def relief(self) -> tuple[Column, Column]:
        return self.reading("relief_mm"), self.set_to("relief_to_mm")

    def action_1(self, side: str) -> tuple[Column, Column]:
        return self.rows.action_mm[1, side], self.set_to(f"nut_{side}_to_mm")

    def of(self, *columns: Column, until: Floats | float = EVER) -> tuple[Floats, Floats]:
        """Newest figure and its day, (n,) each; NaN and −inf where there is none."""
        who, day, value = (np.concatenate(parts) for parts in zip(*columns, strict=True))
        last = np.broadcast_to(until, self.n)
        real = np.isfinite(value) & (day <= last[who])
        who, day, value = who[real], day[real], value[real]
        order = np.lexsort((day, who))
        latest, when = np.full(self.n, np.nan), np.full(self.n, -np.inf)
        latest[who[order]] = value[order]
        when[who[order]] = day[order]
        return latest, when

    def turned(self, since: Floats, until: Floats | float) -> Floats:
        """What work between two days did to the bridge rise, (n,); NaN where it is not known."""
        last = np.broadcast_to(until, self.n)[self.work_who]
        between = (self.work_day > since[self.work_who]) & (self.work_day <= last)
        total = np.zeros(self.n)
        np.add.at(total, self.work_who[between], self.effect[between])
        return total

    def raised(self, side: str, since: Floats, until: Floats | float = EVER) -> Floats:
        """What work between two days did to the height of a string at the saddle, (n,)."""
        before, after = (self.of(*self.saddle(side), until=t)[0] for t in (since, until))
        return self.turned(since, until) + np.nan_to_num(after - before)


def _action_1(newest: Newest, neck: Neck, side: str, until: Floats | float = EVER) -> Floats:
    """Action at fret 1 on a day: as last read or set, carried through the work since."""
    read, when = newest.of(*newest.action_1(side), until=until)
    return read + reach(neck, 1) * newest.raised(side, when, until)


def _action_12(newest: Newest, neck: Neck, side: str) -> Floats:
    """Action at fret 12 now: as last read, carried through the work since."""
    read, when = newest.of(newest.rows.action_mm[12, side])
    raised = newest.raised(side, when)
    first, twelfth = reach(neck, 1), reach(neck, 12)
    bent = newest.of(*newest.relief())[0] - newest.of(*newest.relief(), until=when)[0]
    cut = _action_1(newest, neck, side) - _action_1(newest, neck, side, until=when)
    at_nut = np.nan_to_num(cut - first * raised) / (1.0 - first)
    sag = sag_per_relief(neck, 12) * np.nan_to_num(bent)
    return read + twelfth * raised + (1.0 - twelfth) * at_nut + sag


def latest(rows: Rows, done: np.ndarray, history: History, neck: Neck) -> dict[str, Any]:
    """Figures as they stand now, sides on the last axis; ``unmeasured`` marks work not read since."""
    newest = Newest(rows, done, history)
    rise, _ = newest.of(newest.reading("bridge_rise_mm"))
    read_day = np.full(newest.n, np.nan)
    read_day[rows.reading_who] = rows.reading_day
    moved = np.full(newest.n, -np.inf)
    moving = rows.work_kind[done] != WorkKind.OTHER
    np.maximum.at(moved, newest.work_who[moving], newest.work_day[moving])
    return {
        "action_1_mm": np.stack([_action_1(newest, neck, side) for side in SIDES], axis=1),
        "action_12_mm": np.stack([_action_12(newest, neck, side) for side in SIDES], axis=1),
        "saddle_mm": np.stack([newest.of(*newest.saddle(side))[0] for side in SIDES], axis=1),
        "relief_mm": newest.of(*newest.relief())[0],
        "bridge_rise_mm": np.where(history.rise_lost, np.nan, rise + history.last_gap_mm),
        "last_day": read_day,
        "unmeasured": moved > np.nan_to_num(read_day, nan=np.inf),
    }
