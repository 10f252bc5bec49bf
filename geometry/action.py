"""Strings over frets: action, saddle height and the bridge rise a saddle can still absorb.

The frame, and what a fret's place on the neck means, are those of :mod:`geometry.neck`.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_finite, as_not_negative, as_positive, as_reading
from geometry.constants import (
    ACTION_FRET,
    ROD_ACTION_12_PER_RELIEF,
    SADDLE_PER_ACTION_12,
    SAG_AT_12_PER_RELIEF,
)
from geometry.neck import Neck, camber_at, reach, sag_per_relief

__all__ = [
    "Neck",
    "ReliefStep",
    "action_at_fret",
    "action_on_line",
    "camber_at",
    "height_at_nut",
    "reach",
    "relief_step",
    "rise_limit",
    "saddle_for_action",
    "sag_per_relief",
]


def height_at_nut(
    neck: Neck, *, action_1_mm: ArrayLike, bridge_rise_mm: ArrayLike, saddle_mm: ArrayLike
) -> FloatArray:
    """Height of the string above the fret plane at the nut, from the action at fret 1.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    action_1_mm : array_like
        Action at fret 1, open string at pitch. NaN marks a missing reading. [mm]
    bridge_rise_mm : array_like
        Bridge top above the fret plane at the saddle line; may be negative. NaN allowed. [mm]
    saddle_mm : array_like
        Saddle crown above the bridge top under the string. NaN allowed. All broadcast. [mm]

    Returns
    -------
    ndarray
        Height; negative where the camber puts the slot below the centre line's plane. NaN where a
        reading is missing. [mm]

    Raises
    ------
    ValueError
        If a reading is infinite.
    """
    first = reach(neck, 1)
    at_saddle = as_reading("bridge_rise_mm", bridge_rise_mm) + as_reading("saddle_mm", saddle_mm)
    above_camber = as_reading("action_1_mm", action_1_mm) - camber_at(neck, 1)
    return (above_camber - at_saddle * first) / (1.0 - first)


def action_on_line(
    neck: Neck,
    fret: ArrayLike,
    *,
    nut_height_mm: ArrayLike,
    saddle_height_mm: ArrayLike,
    relief_mm: ArrayLike,
) -> FloatArray:
    """Action of a string that runs straight between two known heights.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    fret : array_like
        Fret number; broadcasts. [-]
    nut_height_mm, saddle_height_mm : array_like
        Height of the string above the fret plane at the nut and at the saddle line. [mm]
    relief_mm : array_like
        Greatest gap under the string between fret 1 and the joint fret. [mm]

    Returns
    -------
    ndarray
        String underside to the fret's crown. [mm]
    """
    nut = np.asarray(nut_height_mm, np.float64)
    line = nut + (np.asarray(saddle_height_mm, np.float64) - nut) * reach(neck, fret)
    sag = as_reading("relief_mm", relief_mm) * sag_per_relief(neck, fret)
    return line + camber_at(neck, fret) + sag


def action_at_fret(
    neck: Neck,
    fret: ArrayLike,
    *,
    action_1_mm: ArrayLike,
    bridge_rise_mm: ArrayLike,
    saddle_mm: ArrayLike,
    relief_mm: ArrayLike,
) -> FloatArray:
    """Action that the other readings predict at a fret.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    fret : array_like
        Fret number; broadcasts against everything else. [-]
    action_1_mm, bridge_rise_mm, saddle_mm : array_like
        As in :func:`height_at_nut`. NaN marks a missing reading. [mm]
    relief_mm : array_like
        Greatest gap under the string between fret 1 and the joint fret. NaN allowed. [mm]

    Returns
    -------
    ndarray
        Action; NaN where a reading is missing. [mm]

    Raises
    ------
    ValueError
        If a reading is infinite or a fret is beyond reach.
    """
    nut = height_at_nut(
        neck, action_1_mm=action_1_mm, bridge_rise_mm=bridge_rise_mm, saddle_mm=saddle_mm
    )
    at_saddle = np.asarray(bridge_rise_mm, np.float64) + np.asarray(saddle_mm, np.float64)
    return action_on_line(
        neck, fret, nut_height_mm=nut, saddle_height_mm=at_saddle, relief_mm=relief_mm
    )


def saddle_for_action(
    neck: Neck,
    fret: ArrayLike,
    wanted_action_mm: ArrayLike,
    *,
    action_1_mm: ArrayLike,
    bridge_rise_mm: ArrayLike,
    saddle_mm: ArrayLike,
    relief_mm: ArrayLike,
) -> FloatArray:
    """Saddle height that gives a wanted action at a fret, the nut left as it is.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    fret : array_like
        Fret number, above 0. [-]
    wanted_action_mm : array_like
        Action wanted there. [mm]
    action_1_mm, bridge_rise_mm, saddle_mm, relief_mm : array_like
        Readings as they are now, as in :func:`action_at_fret`. NaN allowed. [mm]

    Returns
    -------
    ndarray
        Saddle crown above the bridge top; may come out below any floor. [mm]

    Raises
    ------
    ValueError
        If a fret is 0 (no saddle height changes the action at the nut) or beyond reach.

    Notes
    -----
    Near the published rule that the saddle moves twice the change wanted at the 12th fret.
    """
    along = as_positive("fret", reach(neck, fret))
    now = action_at_fret(
        neck,
        fret,
        action_1_mm=action_1_mm,
        bridge_rise_mm=bridge_rise_mm,
        saddle_mm=saddle_mm,
        relief_mm=relief_mm,
    )
    wanted = as_finite("wanted_action_mm", wanted_action_mm)
    return np.asarray(saddle_mm, np.float64) + (wanted - now) / along


def rise_limit(
    neck: Neck,
    *,
    target_action_12_mm: ArrayLike,
    action_1_mm: ArrayLike,
    bridge_rise_mm: ArrayLike,
    saddle_mm: ArrayLike,
    relief_mm: ArrayLike,
    saddle_floor_mm: ArrayLike,
) -> FloatArray:
    """Bridge rise at which a saddle cut to its floor just gives the target action.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    target_action_12_mm : array_like
        Target action at fret 12. [mm]
    action_1_mm, bridge_rise_mm, saddle_mm, relief_mm : array_like
        Readings as they are now, as in :func:`action_at_fret`. NaN allowed. [mm]
    saddle_floor_mm : array_like
        Least saddle height that may be left. All broadcast. [mm]

    Returns
    -------
    ndarray
        Limit for each string; an instrument's own is the smaller of bass and treble. NaN where a
        reading is missing. [mm]

    Raises
    ------
    ValueError
        If a floor is negative or a target is not finite.

    Notes
    -----
    The height at the nut is held, so the limit does not move when the saddle or the joint does.
    """
    target = as_finite("target_action_12_mm", target_action_12_mm)
    saddle = saddle_for_action(
        neck,
        ACTION_FRET,
        target,
        action_1_mm=action_1_mm,
        bridge_rise_mm=bridge_rise_mm,
        saddle_mm=saddle_mm,
        relief_mm=relief_mm,
    )
    floor = as_not_negative("saddle_floor_mm", saddle_floor_mm)
    return np.asarray(bridge_rise_mm, np.float64) + saddle - floor


class ReliefStep(NamedTuple):
    """What a change of relief is expected to do; an estimate, to be measured again."""

    action_12_change_mm: FloatArray
    bridge_rise_change_mm: FloatArray


def relief_step(relief_change_mm: ArrayLike) -> ReliefStep:
    """What a truss-rod change does besides the relief itself: it turns the fret plane.

    Parameters
    ----------
    relief_change_mm : array_like
        Change of relief, negative when the rod is tightened. [mm]

    Returns
    -------
    ReliefStep
        Expected change of the action at fret 12 and of the bridge rise. [mm]

    Raises
    ------
    ValueError
        If the change is not finite.

    Notes
    -----
    Derived: 1.5 of action for each of relief, between 1.06 (all the bend at fret 6) and 1.96 (bend
    spread evenly); the rest of it, beyond the parabola's 0.39, comes from the plane's turn.
    """
    change = as_finite("relief_change_mm", relief_change_mm)
    plane = SADDLE_PER_ACTION_12 * (ROD_ACTION_12_PER_RELIEF - SAG_AT_12_PER_RELIEF)
    return ReliefStep(ROD_ACTION_12_PER_RELIEF * change, plane * change)
