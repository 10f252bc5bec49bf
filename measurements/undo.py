"""Undoes what work did to the bridge rise, so that what is left is lift and season.

Measured where there are readings on both sides of the work in one visit, else from the joint's geometry.
"""

from typing import Any

import numpy as np

from geometry.action import relief_step
from geometry.joint import rise_after_tilt
from measurements.models import WorkKind
from measurements.rows import Floats, Ints, Rows

#: Readings this near each other on both sides of a piece of work measure what it did; further apart
#: the lift and the season between them would be taken for the work's effect. Common practice.
VISIT_DAYS = 7.0


def history(
    rows: Rows, done: np.ndarray, reach: Floats, instrument: dict[str, Any]
) -> dict[str, Any]:
    """Readings of the bridge rise, with the effect of the work before each of them.

    Works fall into the gaps between consecutive readings: gap k of an instrument lies before its
    reading k, the last gap after its last reading.
    """
    n = len(rows.ids)
    real = np.isfinite(rows.reading["bridge_rise_mm"])
    who, day = rows.reading_who[real], rows.reading_day[real]
    rise = rows.reading["bridge_rise_mm"][real]
    count = np.bincount(who, minlength=n)
    first = np.concatenate([[0], np.cumsum(count)])
    w = {name: column[done] for name, column in rows.work.items()}
    work_who, work_day, kind = rows.work_who[done], rows.work_day[done], rows.work_kind[done]

    before = np.searchsorted(who * 1e7 + day, work_who * 1e7 + work_day)  # readings before, in all
    gap = before - first[work_who]
    has_before = gap > 0
    last_rise = np.where(has_before, rise[np.maximum(before - 1, 0)] if rise.size else 0.0, 0.0)
    effect, known = _geometric_effect(w, kind, work_who, last_rise, reach, instrument)

    gaps = count + 1  # gaps of each instrument
    gap_start = first[:-1] + np.arange(n)
    slot = gap_start[work_who] + gap
    total = np.zeros(gaps.sum())
    np.add.at(total, slot, effect)
    moves = np.zeros(gaps.sum(), dtype=bool)
    moves[slot[_changes_rise(kind)]] = True
    blind = np.zeros(gaps.sum(), dtype=bool)
    blind[slot[~known]] = True

    # A gap between two readings of one visit is measured, whatever geometry says.
    inner = np.arange(len(who)) + who  # the gap before each reading
    same = np.zeros(len(who), dtype=bool)
    same[1:] = (who[1:] == who[:-1]) & (day[1:] - day[:-1] <= VISIT_DAYS)
    step = np.zeros(len(who))
    step[1:] = rise[1:] - rise[:-1]
    measured = same & moves[inner]
    total[inner[measured]] = step[measured]
    blind[inner[measured]] = False
    blind[slot[rows.work_new_origin[done]]] = True

    running = np.cumsum(total)
    base = running[gap_start] - total[gap_start]
    offset = running[inner] - base[who] if len(who) else np.zeros(0)
    end = gap_start + count
    blind_gap = np.where(blind, np.arange(len(blind)), -1)
    last_blind = np.maximum.reduceat(blind_gap, gap_start) if n else np.zeros(0, int)
    return {
        "who": who,
        "day": day,
        "rise": rise,
        "count": count,
        "first": first,
        "real": real,
        "offset": offset,
        "offset_now_mm": running[end] - base if n else np.zeros(0),
        "last_gap_mm": total[end] if n else np.zeros(0),
        "usable": inner >= last_blind[who],
        "rise_lost": last_blind == end,
        "effect": np.where(known & ~rows.work_new_origin[done], effect, np.nan),
    }


def _changes_rise(kind: np.ndarray) -> np.ndarray:
    return np.isin(kind, [WorkKind.JOINT, WorkKind.RELIEF, WorkKind.RESET])


def _geometric_effect(
    w: dict[str, Floats],
    kind: np.ndarray,
    who: Ints,
    rise: Floats,
    reach: Floats,
    instrument: dict[str, Any],
) -> tuple[Floats, np.ndarray]:
    """What each piece of work should have done to the bridge rise, and whether that is known. [mm]"""
    tilt = np.where(
        kind == WorkKind.RESET,
        np.degrees(np.arctan(w["wedge_mm"] / instrument["heel_depth_mm"][who])),
        w["tilt_to_deg"] - w["tilt_from_deg"],
    )
    turning = np.isin(kind, [WorkKind.JOINT, WorkKind.RESET])
    known = ~turning | np.isfinite(tilt)
    after = rise_after_tilt(
        rise,
        np.where(turning & known, tilt, 0.0),
        pivot_to_saddle_mm=reach[who],
        pivot_depth_mm=instrument["pivot_depth_mm"][who],
    )
    bent = relief_step(np.nan_to_num(w["relief_to_mm"] - w["relief_from_mm"])).bridge_rise_change_mm
    return after - rise + np.where(kind == WorkKind.RELIEF, bent, 0.0), known
