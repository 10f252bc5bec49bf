"""The side view of an instrument: coordinates for a picture to scale along the strings.

Heights are drawn larger than lengths, by a whole factor that the picture states. Frame as in
``geometry.action``: x from the nut, heights above the fret plane on the centre line. A fret is seen
from the side, so it reaches from its crown under an outer string up to its crown on the centre line.
Everything is a pure function of millimetres; ``_side_view.svg`` only prints the numbers.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from geometry.action import Neck, camber_at, height_at_nut, reach, sag_per_relief
from geometry.units import LengthUnit
from measurements.drawings.parts import After, Measured, Point, SideView, words_of
from measurements.drawings.side_view_sheet import NARROW, WIDE, Sheet
from measurements.models import SIDES

__all__ = [
    "NARROW",
    "WIDE",
    "After",
    "Measured",
    "SideView",
    "after_option",
    "after_work",
    "measured",
    "readings_now",
    "side_view",
    "side_views",
]


def measured(check_in: Any) -> Measured:
    """The readings of a check-in, for a drawing."""
    return Measured(
        check_in.bridge_rise_mm,
        check_in.relief_mm,
        (check_in.saddle_bass_mm, check_in.saddle_treble_mm),
        {(row.fret, str(row.side)): row.action_mm for row in check_in.action_readings.all()},
    )


def readings_now(readings: Any) -> Measured:
    """The newest figure of each kind (``geometry.advice.Readings``, NaN = none), for a drawing."""
    saddle = np.asarray(readings.saddle_mm, float).ravel()
    actions = {
        (fret, side): float(mm)
        for fret, row in ((1, readings.action_1_mm), (12, readings.action_12_mm))
        for side, mm in zip(SIDES, np.asarray(row, float).ravel(), strict=True)
        if np.isfinite(mm)
    }
    return Measured(
        _number(readings.bridge_rise_mm),
        _number(readings.relief_mm),
        (_number(saddle[0]), _number(saddle[1])),
        actions,
    )


def after_work(neck: Neck, then: Measured, words: str, key: tuple[str, str]) -> After | None:
    """A later check-in, to be drawn dashed over an earlier one; None where it lacks the bridge."""
    lines = [_string(neck, then, side) for side in SIDES]
    rise_mm = _bridge_rise(then, dict(zip(SIDES, lines, strict=True)))
    if rise_mm is None:
        return None
    bass, treble = (None if line is None else line[0] for line in lines)
    return After(words, rise_mm, then.saddle_mm, then.actions_mm, (bass, treble), key)


def after_option(option: Any, words: str) -> After | None:
    """What an option of the advice leaves, for a drawing; None where it cannot be said."""
    saddle = np.asarray(option.saddle_after_mm, float).ravel()
    rise = _number(option.bridge_rise_after_mm)
    if rise is None or not np.isfinite(saddle).all():
        return None
    actions = {
        (int(fret), side): float(mm)
        for fret, row in zip(option.set_frets, np.asarray(option.action_after_mm), strict=True)
        for side, mm in zip(SIDES, row, strict=True)
        if np.isfinite(mm)
    }
    return After(words, rise, (float(saddle[0]), float(saddle[1])), actions)


def _number(value: Any) -> float | None:
    number = float(np.asarray(np.nan if value is None else value, float))
    return number if math.isfinite(number) else None


def side_views(neck: Neck, now: Measured, **choices: Any) -> tuple[SideView, ...]:
    """The narrow and the wide picture, of which the page shows the one that fits; () for none.

    ``choices`` as for :func:`side_view`, without ``width``.
    """
    views = (side_view(neck, now, width=width, **choices) for width in (NARROW, WIDE))
    return tuple(view for view in views if view is not None)


def side_view(
    neck: Neck,
    now: Measured,
    *,
    after: After | None = None,
    fret_count: int = 20,
    pivot_x_mm: float | None = None,
    pivot_depth_mm: float | None = None,
    unit: LengthUnit = "mm",
    name: str = "",
    width: int = WIDE,
) -> SideView | None:
    """Coordinates of the side view, or None where the readings do not place the bridge.

    Parameters
    ----------
    neck : Neck
        Lengths of one neck (scalars). [mm]
    now : Measured
        Readings; the bridge is placed by its rise, else by a saddle and two actions on its side.
        A string needs two of: the action at fret 1, one further up, the bridge rise and saddle.
    after : After, optional
        What an option would leave, drawn dashed.
    fret_count : int
        Frets on the board.
    pivot_x_mm, pivot_depth_mm : float, optional
        Where the joint turns: nut to pivot (default: the joint fret), and its depth below the fret
        plane. Without a depth no pivot is drawn. [mm]
    unit : one of ``geometry.units.UNITS``
        Unit of the figures.
    name : str
        What to call the instrument in the title.
    width : int
        ``NARROW`` or ``WIDE``; decides the height kept for the picture.

    Raises
    ------
    ValueError
        If a length cannot be (from the geometry).
    """
    lines = {side: _string(neck, now, side) for side in SIDES}
    rise = _bridge_rise(now, lines)
    if rise is None:
        return None
    pivot = None
    if pivot_depth_mm is not None:
        x_mm = float(neck.joint_mm) if pivot_x_mm is None else pivot_x_mm
        pivot = (x_mm, -pivot_depth_mm)
    sheet = Sheet(neck, now, rise, lines, after, fret_count, pivot, unit, width)
    title = _("Side view of %(name)s") % {"name": name} if name else _("Side view")
    return sheet.view(title, words_of(now, after, sheet.factor, unit))


def _known(*values: float | None) -> bool:
    return all(value is not None and math.isfinite(value) for value in values)


def _string(neck: Neck, now: Measured, side: str) -> Point | None:
    """Height of a string over the fret plane at the nut and at the saddle line. [mm]

    From the action at fret 1 and the saddle; without one of them, from an action further up.
    """
    saddle_mm = now.saddle_mm[SIDES.index(side)]
    taken = {fret: mm for (fret, place), mm in now.actions_mm.items() if place == side}
    at_saddle = (
        now.bridge_rise_mm + saddle_mm  # type: ignore[operator]
        if _known(now.bridge_rise_mm, saddle_mm)
        else None
    )
    relief = now.relief_mm or 0.0
    heights = {
        fret: float(mm - camber_at(neck, fret) - relief * sag_per_relief(neck, fret))
        for fret, mm in taken.items()
    }
    if at_saddle is not None and heights:
        fret = min(heights)
        if fret == 1:
            nut = height_at_nut(neck, action_1_mm=taken[1], bridge_rise_mm=at_saddle, saddle_mm=0)
            return float(nut), at_saddle
        share = float(reach(neck, fret))
        return (heights[fret] - at_saddle * share) / (1.0 - share), at_saddle
    if len(heights) > 1:
        low, high = min(heights), max(heights)
        slope = (heights[high] - heights[low]) / float(reach(neck, high) - reach(neck, low))
        nut_mm = heights[low] - slope * float(reach(neck, low))
        return nut_mm, nut_mm + slope
    return None


def _bridge_rise(now: Measured, lines: Mapping[str, Point | None]) -> float | None:
    if _known(now.bridge_rise_mm):
        return now.bridge_rise_mm
    for line, saddle_mm in zip((lines[side] for side in SIDES), now.saddle_mm, strict=True):
        if line is not None and saddle_mm is not None:
            return line[1] - saddle_mm
    return None
