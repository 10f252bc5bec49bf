"""The neck joint: what a change of neck angle does, and what it takes to make one.

The neck turns about a pivot at a depth below the fret plane. Positive tilt takes the headstock
back, raises the fret plane at the bridge, and so lowers the bridge rise and the action.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import (
    FloatArray,
    as_between,
    as_finite,
    as_not_negative,
    as_positive,
    as_reading,
)
from geometry.constants import GAIN_PRIOR_SD, RISE_SD_MM, TILT_LIMIT_DEG


def _tilt(name: str, tilt_deg: ArrayLike) -> FloatArray:
    return np.radians(as_between(name, tilt_deg, -TILT_LIMIT_DEG, TILT_LIMIT_DEG))


def rise_after_tilt(
    bridge_rise_mm: ArrayLike,
    tilt_deg: ArrayLike,
    *,
    pivot_to_saddle_mm: ArrayLike,
    pivot_depth_mm: ArrayLike,
) -> FloatArray:
    """Bridge rise after the neck's angle is changed.

    Parameters
    ----------
    bridge_rise_mm : array_like
        Bridge rise before. NaN marks a missing reading. [mm]
    tilt_deg : array_like
        Change of neck angle, positive takes the headstock back. [°]
    pivot_to_saddle_mm, pivot_depth_mm : array_like
        Pivot to saddle line along the strings, and below the fret plane. All broadcast. [mm]

    Returns
    -------
    ndarray
        Bridge rise after; NaN where it was missing. [mm]

    Raises
    ------
    ValueError
        If a tilt is beyond ±20°, the distance is not positive or the depth is negative.

    Notes
    -----
    A rotation of the plane about the pivot, exact.
    """
    tilt = _tilt("tilt_deg", tilt_deg)
    distance = as_positive("pivot_to_saddle_mm", pivot_to_saddle_mm)
    depth = as_not_negative("pivot_depth_mm", pivot_depth_mm)
    height = depth + as_reading("bridge_rise_mm", bridge_rise_mm)
    return height * np.cos(tilt) - distance * np.sin(tilt) - depth


def tilt_for_rise(
    bridge_rise_mm: ArrayLike,
    wanted_rise_mm: ArrayLike,
    *,
    pivot_to_saddle_mm: ArrayLike,
    pivot_depth_mm: ArrayLike,
) -> FloatArray:
    """Change of neck angle that brings the bridge rise to a wanted value.

    Parameters
    ----------
    bridge_rise_mm, wanted_rise_mm : array_like
        Bridge rise before and after. NaN in either marks a missing reading. [mm]
    pivot_to_saddle_mm, pivot_depth_mm : array_like
        As in :func:`rise_after_tilt`. All broadcast. [mm]

    Returns
    -------
    ndarray
        Tilt, positive takes the headstock back. [°]

    Raises
    ------
    ValueError
        If no angle gives the wanted rise, the distance is not positive or the depth is negative.

    Notes
    -----
    The inverse of :func:`rise_after_tilt`, exact.
    """
    distance = as_positive("pivot_to_saddle_mm", pivot_to_saddle_mm)
    depth = as_not_negative("pivot_depth_mm", pivot_depth_mm)
    before = depth + as_reading("bridge_rise_mm", bridge_rise_mm)
    after = depth + as_reading("wanted_rise_mm", wanted_rise_mm)
    ratio = after / np.hypot(before, distance)
    as_between("wanted_rise_mm as a share of the pivot's reach", ratio, -1, 1, missing_ok=True)
    return np.asarray(np.degrees(np.arccos(ratio) - np.arctan2(distance, before)))


def bolt_travel(
    tilt_deg: ArrayLike, bolt_arm_mm: ArrayLike, tilt_now_deg: ArrayLike = 0.0
) -> FloatArray:
    """Travel of an adjusting bolt for a change of neck angle; turns are travel over pitch.

    Parameters
    ----------
    tilt_deg : array_like
        Change of neck angle. [°]
    bolt_arm_mm : array_like
        Pivot to bolt axis. [mm]
    tilt_now_deg : array_like
        Angle at which the joint stands now, 0 where the arm is square to the bolt. [°]

    Returns
    -------
    ndarray
        Travel, with the sign of the change. [mm]

    Raises
    ------
    ValueError
        If an angle is beyond ±20° or the arm is not positive.
    """
    now = _tilt("tilt_now_deg", tilt_now_deg)
    arm = as_positive("bolt_arm_mm", bolt_arm_mm)
    return np.asarray(arm * (np.sin(now + _tilt("tilt_deg", tilt_deg)) - np.sin(now)))


def tilt_after_turns(
    turns: ArrayLike,
    thread_pitch_mm: ArrayLike,
    bolt_arm_mm: ArrayLike,
    tilt_now_deg: ArrayLike = 0.0,
) -> FloatArray:
    """Angle at which the joint stands after turns of its bolt.

    Parameters
    ----------
    turns : array_like
        Turns, positive in the sense that takes the headstock back. [-]
    thread_pitch_mm, bolt_arm_mm : array_like
        Advance of the bolt in one turn; pivot to bolt axis. [mm]
    tilt_now_deg : array_like
        Angle before the turns. All broadcast. [°]

    Returns
    -------
    ndarray
        Angle after them; less ``tilt_now_deg`` it is the change. [°]

    Raises
    ------
    ValueError
        If the turns would carry the arm past a right angle, or a length is not positive.

    Notes
    -----
    The inverse of :func:`bolt_travel`.
    """
    travel = as_finite("turns", turns) * as_positive("thread_pitch_mm", thread_pitch_mm)
    now = _tilt("tilt_now_deg", tilt_now_deg)
    sine = np.sin(now) + travel / as_positive("bolt_arm_mm", bolt_arm_mm)
    as_between("turns, as the sine of the angle they lead to,", sine, -1, 1)
    return np.degrees(np.arcsin(sine))


def heel_wedge(tilt_deg: ArrayLike, heel_depth_mm: ArrayLike) -> FloatArray:
    """Material to take off at the heel's foot for a change of neck angle.

    Parameters
    ----------
    tilt_deg : array_like
        Change of neck angle, positive takes the headstock back. [°]
    heel_depth_mm : array_like
        Pivot line to heel foot; broadcasts against ``tilt_deg``. [mm]

    Returns
    -------
    ndarray
        Thickness at the foot, tapering to zero at the pivot. Negative: to be put in. [mm]

    Raises
    ------
    ValueError
        If a heel depth is not positive or a tilt is beyond ±20°.

    Notes
    -----
    Similar triangles; common repair practice.
    """
    return as_positive("heel_depth_mm", heel_depth_mm) * np.tan(_tilt("tilt_deg", tilt_deg))


def shim_tilt(
    shim_mm: ArrayLike, heel_depth_mm: ArrayLike, shim_now_mm: ArrayLike = 0.0
) -> FloatArray:
    """Change of neck angle when one shim replaces another: similar triangles again.

    Parameters
    ----------
    shim_mm, shim_now_mm : array_like
        Thickness of the shim to go in and of the one that comes out, 0 for none. [mm]
    heel_depth_mm : array_like
        Distance from the pivot line at which the shim acts. All broadcast. [mm]

    Returns
    -------
    ndarray
        Tilt, positive takes the headstock back. [°]

    Raises
    ------
    ValueError
        If a thickness is negative or the distance is not positive.
    """
    depth = as_positive("heel_depth_mm", heel_depth_mm)
    new = np.arctan(as_not_negative("shim_mm", shim_mm) / depth)
    now = np.arctan(as_not_negative("shim_now_mm", shim_now_mm) / depth)
    return np.asarray(np.degrees(new - now))


def extension_gap(
    tilt_deg: ArrayLike, *, pivot_to_end_mm: ArrayLike, pivot_depth_mm: ArrayLike
) -> FloatArray:
    """Rise of the fingerboard's end over the top after a change of neck angle.

    Parameters
    ----------
    tilt_deg : array_like
        Change of neck angle, positive takes the headstock back. [°]
    pivot_to_end_mm, pivot_depth_mm : array_like
        Pivot to the fingerboard's end along the strings, and below the fret plane. [mm]

    Returns
    -------
    ndarray
        Gap to fill under the extension; negative: it presses on the top. [mm]

    Raises
    ------
    ValueError
        If a length is negative or a tilt is beyond ±20°.
    """
    tilt = _tilt("tilt_deg", tilt_deg)
    length = as_not_negative("pivot_to_end_mm", pivot_to_end_mm)
    depth = as_not_negative("pivot_depth_mm", pivot_depth_mm)
    return length * np.sin(tilt) - depth * (1.0 - np.cos(tilt))


class SideTrim(NamedTuple):
    """Sideways moves when one of two pivot screws is advanced. [mm]"""

    at_bridge_mm: FloatArray
    over_fret_mm: FloatArray


def side_trim(
    advance_mm: ArrayLike,
    *,
    screw_spacing_mm: ArrayLike,
    pivot_to_saddle_mm: ArrayLike,
    nut_to_saddle_mm: ArrayLike,
    fret_mm: ArrayLike,
) -> SideTrim:
    """Sideways move of the neck's line, and of a string over a fret: similar triangles.

    Parameters
    ----------
    advance_mm, screw_spacing_mm : array_like
        Advance of one pivot screw beyond the other, and the distance between them. [mm]
    pivot_to_saddle_mm, nut_to_saddle_mm, fret_mm : array_like
        Pivot to saddle line, nut to saddle line, and nut to the fret. All broadcast. [mm]

    Returns
    -------
    SideTrim
        Move of the neck's line at the bridge, and of the string's place over the fret. [mm]

    Raises
    ------
    ValueError
        If a spacing or length is not positive.
    """
    spacing = as_positive("screw_spacing_mm", screw_spacing_mm)
    distance = as_positive("pivot_to_saddle_mm", pivot_to_saddle_mm)
    whole = as_positive("nut_to_saddle_mm", nut_to_saddle_mm)
    at_bridge = as_finite("advance_mm", advance_mm) / spacing * distance
    return SideTrim(at_bridge, at_bridge * as_not_negative("fret_mm", fret_mm) / whole)


def bolt_load(
    tension_n: ArrayLike,
    *,
    pivot_depth_mm: ArrayLike,
    string_height_mm: ArrayLike,
    bolt_arm_mm: ArrayLike,
) -> FloatArray:
    """Load on the adjusting bolt from the strings' pull: moments about the pivot.

    Parameters
    ----------
    tension_n : array_like
        Total tension of the strings. [N]
    pivot_depth_mm, string_height_mm : array_like
        Pivot below the fret plane, and strings above it there. [mm]
    bolt_arm_mm : array_like
        Pivot to bolt axis. All broadcast. [mm]

    Returns
    -------
    ndarray
        Force along the bolt. [N]

    Raises
    ------
    ValueError
        If tension, depth or height is negative or the arm is not positive.
    """
    tension = as_not_negative("tension_n", tension_n)
    lever = as_not_negative("pivot_depth_mm", pivot_depth_mm) + as_not_negative(
        "string_height_mm", string_height_mm
    )
    return tension * lever / as_positive("bolt_arm_mm", bolt_arm_mm)


@dataclass(frozen=True)
class JointGain:
    """What one turn does to the bridge rise, learnt from the joint's own log.

    Updated value and standard uncertainty [mm per turn]; the same as a ratio to the geometric
    value; ``used`` counts the logged turns with a reading before and after.
    """

    rise_per_turn_mm: FloatArray
    u_rise_per_turn_mm: FloatArray
    ratio: FloatArray
    u_ratio: FloatArray
    used: FloatArray


def joint_gain(
    turns: ArrayLike,
    rise_before_mm: ArrayLike,
    rise_after_mm: ArrayLike,
    *,
    geometric_rise_per_turn_mm: ArrayLike,
    rise_sd_mm: ArrayLike = RISE_SD_MM,
    prior_sd: ArrayLike = GAIN_PRIOR_SD,
) -> JointGain:
    """Update the rise per turn from logged turns, about the geometric value.

    Parameters
    ----------
    turns : array_like, shape (..., n)
        Logged turns; the last axis is the log. NaN pads a short one. [-]
    rise_before_mm, rise_after_mm : array_like, shape (..., n)
        Bridge rise before and after each; an entry with NaN in either is left out. [mm]
    geometric_rise_per_turn_mm, rise_sd_mm : array_like, shape (...)
        What the drawing says one turn does, negative where it lowers the rise; standard deviation
        of one reading of the rise. [mm]
    prior_sd : array_like, shape (...)
        Standard deviation of the true value about the geometric one, as a share of it. [-]

    Returns
    -------
    JointGain
        Arrays of shape (...).

    Raises
    ------
    ValueError
        If the geometric value is zero, or a standard deviation is not positive.

    Notes
    -----
    Conjugate normal update of a slope through the origin with known error, which is that of a
    difference of two readings. The geometric value is the prior's mean.
    """
    logged = np.atleast_1d(as_reading("turns", turns))
    change = as_reading("rise_after_mm", rise_after_mm) - as_reading(
        "rise_before_mm", rise_before_mm
    )
    logged, change = np.broadcast_arrays(logged, change)
    prior = as_finite("geometric_rise_per_turn_mm", geometric_rise_per_turn_mm)
    as_positive("size of geometric_rise_per_turn_mm", np.abs(prior))
    variance = 2.0 * as_positive("rise_sd_mm", rise_sd_mm) ** 2
    prior_precision = 1.0 / (as_positive("prior_sd", prior_sd) * prior) ** 2
    usable = np.isfinite(logged) & np.isfinite(change)
    turned = np.where(usable, logged, 0.0)
    moved = np.where(usable, change, 0.0)
    precision = prior_precision + np.sum(turned**2, axis=-1) / variance
    mean = (prior * prior_precision + np.sum(turned * moved, axis=-1) / variance) / precision
    spread = 1.0 / np.sqrt(precision)
    return JointGain(mean, spread, mean / prior, spread / np.abs(prior), usable.sum(axis=-1))
