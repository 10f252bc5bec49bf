"""Undoes what work did to the bridge rise, so that what is left is lift and season.

Measured where there are readings on both sides of the work in one visit, else from the joint's geometry,
as far as its own log bears that out. Either way is uncertain, and readings from before the work are
trusted that much less beside those after it.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from geometry.action import relief_step
from geometry.joint import joint_gain, rise_after_tilt
from measurements.facts.rows import Floats, Ints, Rows, or_zero
from measurements.models import WorkKind

#: Readings this near each other on both sides of a piece of work measure what it did; further apart
#: the lift and the season between them would be taken for the work's effect. Common practice.
VISIT_DAYS = 7.0
#: How far what work did may be off what geometry says, as a share: a reset's wedge, a change of relief.
#: Planning defaults, no published source.
RESET_DOUBT = 0.10
RELIEF_DOUBT = 0.30


@dataclass(frozen=True)
class History:
    """Readings of the bridge rise in order, and what the work before each of them had done.

    ``who``, ``day``, ``rise``, ``offset``, ``doubt`` and ``usable`` are by reading: ``doubt`` is the
    variance that undoing the work since adds beside the newest reading. The rest is by instrument,
    but for ``effect``: what each piece of work should have done, NaN where that is not known. [mm]
    """

    who: Ints
    day: Floats
    rise: Floats
    offset: Floats
    doubt: Floats
    usable: np.ndarray
    real: np.ndarray
    count: Ints
    first: Ints
    offset_now_mm: Floats
    last_gap_mm: Floats
    rise_lost: np.ndarray
    gain: Floats
    u_gain: Floats
    effect: Floats


@dataclass(frozen=True)
class _Gaps:
    """Works by the gap between readings that they fall into: gap k of an instrument lies before its
    reading k, the last one after its last reading."""

    start: Ints
    slot: Ints
    inner: Ints
    size: int

    def summed(self, values: Floats) -> Floats:
        total = np.zeros(self.size)
        np.add.at(total, self.slot, values)
        return total

    def any(self, flags: np.ndarray) -> np.ndarray:
        found = np.zeros(self.size, dtype=bool)
        found[self.slot[flags]] = True
        return found


def history(
    rows: Rows, done: np.ndarray, reach: Floats, instrument: dict[str, Any], rise_u_mm: float
) -> History:
    """Readings with the work undone; ``rise_u_mm`` is the s.d. of one reading of the bridge rise."""
    n = len(rows.ids)
    real = np.isfinite(rows.reading["bridge_rise_mm"])
    who, day = rows.reading_who[real], rows.reading_day[real]
    rise = rows.reading["bridge_rise_mm"][real]
    count = np.bincount(who, minlength=n)
    first = np.concatenate([[0], np.cumsum(count)])
    work_who, work_day, kind = rows.work_who[done], rows.work_day[done], rows.work_kind[done]
    before = np.searchsorted(who * 1e7 + day, work_who * 1e7 + work_day)  # readings before, in all
    gap = before - first[work_who]
    start = first[:-1] + np.arange(n)
    gaps = _Gaps(start, start[work_who] + gap, np.arange(len(who)) + who, int((count + 1).sum()))

    last_rise = np.where(gap > 0, rise[np.maximum(before - 1, 0)] if rise.size else 0.0, 0.0)
    works = _Works(rows, done, reach, instrument, last_rise)
    plain = works.effect(np.ones(n))
    step, measured = _measured_steps(who, day, rise, gaps.any(_changes_rise(kind))[gaps.inner])
    only_joint = ~gaps.any(_changes_rise(kind) & (kind != WorkKind.JOINT))[gaps.inner]
    gain, u_gain = _gains(
        n,
        who,
        gaps.summed(plain)[gaps.inner],
        np.where(measured & only_joint, step, np.nan),
        rise_u_mm,
    )
    effect = works.effect(gain)
    total = gaps.summed(effect)
    doubt = gaps.summed((works.doubt(u_gain) * effect) ** 2)
    blind = gaps.any(~works.known)
    total[gaps.inner[measured]] = step[measured]
    doubt[gaps.inner[measured]] = 2.0 * rise_u_mm**2
    blind[gaps.inner[measured]] = False
    blind |= gaps.any(rows.work_new_origin[done])

    running, doubts = np.cumsum(total), np.cumsum(doubt)
    base = running[start] - total[start]
    end = start + count
    last = np.where(count > 0, end - 1, end)
    last_blind = np.maximum.reduceat(np.where(blind, np.arange(gaps.size), -1), start)
    return History(
        who=who,
        day=day,
        rise=rise,
        offset=running[gaps.inner] - base[who],
        doubt=doubts[last[who]] - doubts[gaps.inner],
        usable=gaps.inner >= last_blind[who],
        real=real,
        count=count,
        first=first,
        offset_now_mm=running[end] - base,
        last_gap_mm=total[end],
        rise_lost=last_blind == end,
        gain=gain,
        u_gain=u_gain,
        effect=np.where(works.known & ~rows.work_new_origin[done], effect, np.nan),
    )


def _measured_steps(
    who: Ints, day: Floats, rise: Floats, moved: np.ndarray
) -> tuple[Floats, np.ndarray]:
    """Change of rise since the reading before, and whether it measures the work between the two."""
    step = np.zeros(len(who))
    step[1:] = rise[1:] - rise[:-1]
    same = np.zeros(len(who), dtype=bool)
    same[1:] = (who[1:] == who[:-1]) & (day[1:] - day[:-1] <= VISIT_DAYS)
    return step, same & moved


def _gains(
    n: int, who: Ints, expected: Floats, step: Floats, rise_u_mm: float
) -> tuple[Floats, Floats]:
    """What each joint really does over what its drawing says, and the standard uncertainty, (n,)."""
    logged = np.isfinite(step) & (expected != 0.0)
    of, turns, moved = who[logged], expected[logged], step[logged]
    count = np.bincount(of, minlength=n)
    place = np.arange(len(of)) - (np.cumsum(count) - count)[of]
    table = np.full((2, n, max(int(count.max(initial=0)), 1)), np.nan)
    table[0, of, place], table[1, of, place] = turns, moved
    found = joint_gain(
        table[0],
        np.zeros_like(table[0]),
        table[1],
        geometric_rise_per_turn_mm=np.ones(n),
        rise_sd_mm=rise_u_mm,
    )
    return found.ratio, found.u_ratio


def _changes_rise(kind: np.ndarray) -> np.ndarray:
    return np.isin(kind, [WorkKind.JOINT, WorkKind.RELIEF, WorkKind.RESET])


class _Works:
    """What each piece of work should have done to the bridge rise, and how surely."""

    def __init__(
        self,
        rows: Rows,
        done: np.ndarray,
        reach: Floats,
        instrument: dict[str, Any],
        last_rise: Floats,
    ) -> None:
        w = {name: column[done] for name, column in rows.work.items()}
        self.who, self.kind, self.rise = rows.work_who[done], rows.work_kind[done], last_rise
        self.reach = reach[self.who]
        self.depth = instrument["pivot_depth_mm"][self.who]
        wedge = np.degrees(np.arctan(w["wedge_mm"] / instrument["heel_depth_mm"][self.who]))
        self.tilt = np.where(
            self.kind == WorkKind.RESET, wedge, w["tilt_to_deg"] - w["tilt_from_deg"]
        )
        self.turning = (self.kind == WorkKind.JOINT) | (self.kind == WorkKind.RESET)
        self.known = ~self.turning | np.isfinite(self.tilt)
        bend = or_zero(w["relief_to_mm"] - w["relief_from_mm"])
        self.bent = np.where(
            self.kind == WorkKind.RELIEF, relief_step(bend).bridge_rise_change_mm, 0.0
        )

    def effect(self, gain: Floats) -> Floats:
        """Change of the bridge rise, a joint's tilt multiplied by its ``gain`` (by instrument)."""
        learnt = np.where(self.kind == WorkKind.JOINT, gain[self.who], 1.0)
        after = rise_after_tilt(
            self.rise,
            np.where(self.turning & self.known, self.tilt * learnt, 0.0),
            pivot_to_saddle_mm=self.reach,
            pivot_depth_mm=self.depth,
        )
        return after - self.rise + self.bent

    def doubt(self, u_gain: Floats) -> Floats:
        """Standard uncertainty of the effect, as a share of it."""
        return np.where(
            self.kind == WorkKind.JOINT,
            u_gain[self.who],
            np.where(self.kind == WorkKind.RELIEF, RELIEF_DOUBT, RESET_DOUBT),
        )
