"""What if: one instrument, or one not yet built, before and after a change, with all that follows.

Everything rests on the functions that advice and work rest on (``options.Bench``,
``foretell.foretell``, ``joint``), so that a what-if and the advice agree to the last digit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from geometry._checks import FloatArray, as_between, as_positive
from geometry.action import camber_at, reach, sag_per_relief
from geometry.constants import ACTION_FRET
from geometry.foretell import Foretold, foretell
from geometry.frets import crown_drop, fret_distance
from geometry.joint import (
    bolt_load,
    extension_gap,
    rise_after_tilt,
    tilt_after_turns,
    tilt_for_rise,
)
from geometry.lift_model import LiftPrior
from geometry.moves import tilt_left
from geometry.options import Bench
from geometry.readings import saddle_height_on_line


@dataclass(frozen=True, eq=False)
class WhatIf:
    """An instrument before and after a change.

    ``before`` and ``after`` are whole benches; ``foretold`` holds the action at the set frets of
    both. ``tilt_deg`` is the change of angle, ``tilt_left_deg`` the travel left after it, and
    ``nut_change_mm`` the change of the string's height at the nut, bass and treble.
    """

    before: Bench
    after: Bench
    foretold: Foretold
    tilt_deg: float
    tilt_left_deg: float
    nut_change_mm: FloatArray

    @property
    def joint_room_mm(self) -> float:
        """Lift that the travel left can still take up. [mm]"""
        rise = self.after.rise_mm
        return rise - float(rise_after_tilt(rise, self.tilt_left_deg, **self.after.pivot))

    @property
    def saddle_room_mm(self) -> float:
        """Lift that the saddle can still take up before it is cut to its floor. [mm]"""
        return self.after.limit_mm() - self.after.rise_mm


def what_if(
    bench: Bench,
    *,
    tilt_deg: float = 0.0,
    saddle_mm: ArrayLike = (np.nan, np.nan),
    relief_mm: float | None = None,
    action_1_mm: ArrayLike = (np.nan, np.nan),
) -> WhatIf:
    """Work out a change of angle, saddle, relief and nut together.

    Parameters
    ----------
    bench : Bench
        The instrument as it is, its readings whole.
    tilt_deg : float
        Change of neck angle, positive takes the headstock back. [°]
    saddle_mm : array_like, shape (2,)
        Saddle afterwards; NaN leaves a side as it is. [mm]
    relief_mm : float or None
        Relief afterwards; None leaves it. [mm]
    action_1_mm : array_like, shape (2,)
        Action at fret 1 once all is done, to be reached at the nut; NaN leaves the nut. [mm]

    Returns
    -------
    WhatIf

    Raises
    ------
    ValueError
        If a tilt is beyond ±20° or a figure cannot be.
    """
    change = {"tilt_deg": tilt_deg, "saddle_mm": saddle_mm, "relief_mm": relief_mm}
    first = foretell(replace(bench, set_frets=(1,)), **change).action_after_mm[0]  # type: ignore[arg-type]
    wanted = np.asarray(action_1_mm, np.float64)
    # The rest of the work moves fret 1 too: the nut makes up what is then missing.
    lift_1 = np.where(np.isnan(wanted), 0.0, wanted - first)
    at_nut = np.where(lift_1 == 0.0, np.nan, bench.set_up.action_1_mm + lift_1)
    foretold = foretell(bench, **change, action_1_mm=at_nut)  # type: ignore[arg-type]
    set_up = replace(
        bench.set_up,
        action_1_mm=first + lift_1,
        action_12_mm=foretold.action_12_after_mm,
        saddle_mm=foretold.saddle_after_mm,
        bridge_rise_mm=np.asarray(foretold.bridge_rise_after_mm),
        relief_mm=np.asarray(foretold.relief_after_mm),
    )
    return WhatIf(
        before=bench,
        after=replace(bench, set_up=set_up),
        foretold=foretold,
        tilt_deg=tilt_deg,
        tilt_left_deg=max(tilt_left(bench.joint) - tilt_deg, 0.0),
        nut_change_mm=lift_1 / (1.0 - reach(bench.neck, 1)),
    )


def string_over_plane(bench: Bench, along: ArrayLike) -> FloatArray:
    """Height of the outer strings over the fret plane.

    Parameters
    ----------
    bench : Bench
        The line of each string is the one through its actions at frets 1 and 12.
    along : array_like, shape (n,)
        Share of the way from nut (0) to saddle line (1). [-]

    Returns
    -------
    ndarray, shape (n, 2)
        Bass and treble; below zero at the nut of a cambered board. [mm]
    """
    neck, set_up = bench.neck, bench.set_up
    at_saddle = saddle_height_on_line(
        neck,
        action_1_mm=set_up.action_1_mm,
        action_12_mm=set_up.action_12_mm,
        relief_mm=set_up.relief_mm,
    )
    twelfth = reach(neck, ACTION_FRET)
    sag = set_up.relief_mm * sag_per_relief(neck, ACTION_FRET)
    at_12 = set_up.action_12_mm - camber_at(neck, ACTION_FRET) - sag
    at_nut = (at_12 - at_saddle * twelfth) / (1.0 - twelfth)
    share = np.asarray(along, np.float64)[..., None]
    return np.asarray(at_nut + (at_saddle - at_nut) * share)


def pivot_share(bench: Bench) -> float:
    """Where the joint's pivot lies, as a share of the way from nut to saddle line. [-]"""
    length = float(bench.neck.saddle_line_mm[0])
    return 1.0 - float(np.asarray(bench.pivot["pivot_to_saddle_mm"])) / length


class Pull(NamedTuple):
    """What each string does at the joint, first the treble side: load on the bolt, moment."""

    bolt_n: FloatArray
    moment_n_m: FloatArray


def pull_on_joint(bench: Bench, tension_n: ArrayLike, bolt_arm_mm: float) -> Pull:
    """Load that each string puts on an adjusting bolt, and its moment about the pivot.

    Parameters
    ----------
    bench : Bench
        Where the strings stand.
    tension_n : array_like, shape (k,)
        Tension of each string, evenly spaced from the treble side to the bass. [N]
    bolt_arm_mm : float
        Pivot to bolt axis. [mm]

    Returns
    -------
    Pull
        Shape (k,) each. [N], [N·m]

    Raises
    ------
    ValueError
        If a tension is negative or the arm is not positive.

    Notes
    -----
    The action is taken to change evenly from string to string, and the camber is followed. A string
    below the pivot, which no neck has, would count as none.
    """
    tension = np.asarray(tension_n, np.float64)
    neck, share = bench.neck, pivot_share(bench)
    nut, saddle = (
        float(np.ravel(v)[0]) for v in (neck.half_spread_nut_mm, neck.half_spread_saddle_mm)
    )
    half = nut + (saddle - nut) * share
    radius = neck.fretboard_radius_mm
    camber = None if radius is None else float(np.ravel(radius)[0])
    outer = string_over_plane(bench, [share])[0] + crown_drop(half, camber)
    toward_bass = np.linspace(0.0, 1.0, tension.size) if tension.size > 1 else np.array([0.5])
    action = outer[1] + (outer[0] - outer[1]) * toward_bass
    height = action - crown_drop(half * (1.0 - 2.0 * toward_bass), camber)
    lever = np.maximum(bench.joint.pivot_depth_mm + height, 0.0)
    load = bolt_load(tension, pivot_depth_mm=lever, string_height_mm=0.0, bolt_arm_mm=bolt_arm_mm)
    return Pull(load, load * as_positive("bolt_arm_mm", bolt_arm_mm) / 1000.0)


class OneTurn(NamedTuple):
    """What one turn of the bolt does, in the sense that lowers the strings."""

    tilt_deg: FloatArray
    rise_mm: FloatArray
    action_12_mm: FloatArray


def one_turn(
    bench: Bench, thread_pitch_mm: ArrayLike, bolt_arm_mm: float, tilt_now_deg: float
) -> OneTurn:
    """What one turn does from where the joint stands, for one thread or many.

    Parameters
    ----------
    bench : Bench
        The instrument there.
    thread_pitch_mm : array_like
        Advance of the bolt in one turn. [mm]
    bolt_arm_mm : float
        Pivot to bolt axis. [mm]
    tilt_now_deg : float
        Where the joint stands. [°]

    Returns
    -------
    OneTurn
        Change of angle [°]; how far bridge rise and action at fret 12 come down. [mm]

    Raises
    ------
    ValueError
        If a length is not positive, or a turn would carry the arm past a right angle.
    """
    # What the joint's own log has taught acts like a shorter lever, as in advice.
    arm = as_positive("bolt_arm_mm", bolt_arm_mm) / bench.joint.rise_gain
    tilt = tilt_after_turns(1.0, thread_pitch_mm, arm, tilt_now_deg) - tilt_now_deg
    lowered = bench.rise_mm - bench.rise_after(tilt)
    return OneTurn(tilt, lowered, lowered * bench.share)


def board_end_gap(bench: Bench, tilt_deg: ArrayLike, last_fret: int) -> FloatArray:
    """Rise of the fingerboard over the top at its last fret, after a change of neck angle.

    Parameters
    ----------
    bench : Bench
        The instrument.
    tilt_deg : array_like
        Change of neck angle. [°]
    last_fret : int
        Last fret on the board; one before the pivot counts as at the pivot.

    Returns
    -------
    ndarray
        Gap, negative where the board presses on the top. [mm]
    """
    end = float(fret_distance(bench.neck.scale_length_mm, last_fret)[0])
    pivot = pivot_share(bench) * float(bench.neck.saddle_line_mm[0])
    return extension_gap(
        tilt_deg,
        pivot_to_end_mm=max(end - pivot, 0.0),
        pivot_depth_mm=bench.joint.pivot_depth_mm,
    )


class Cover(NamedTuple):
    """Whether travel and saddle take up a lift; all of one shape. Lift [mm], angle [°]."""

    lift_mm: FloatArray
    tilt_deg: FloatArray
    by_joint: NDArray[np.bool_]
    with_saddle: NDArray[np.bool_]


def cover(case: WhatIf, rise_then_mm: ArrayLike) -> Cover:
    """What it takes to bring a bridge that has risen back to where the what-if leaves it.

    Parameters
    ----------
    case : WhatIf
        The instrument after the change.
    rise_then_mm : array_like
        Bridge rise to come, on the setting after the change. [mm]

    Returns
    -------
    Cover
        Lift from after the change; the angle that takes all of it up, 0 where there is none; whether
        the travel left does so alone, and whether travel and saddle together do, which is when no
        reset is due by then.

    Raises
    ------
    ValueError
        If no angle brings the bridge back.
    """
    then = np.asarray(rise_then_mm, np.float64)
    rise = case.after.rise_mm
    lift = then - rise
    needed = tilt_for_rise(np.maximum(then, rise), rise, **case.after.pivot)
    room = case.joint_room_mm
    return Cover(lift, needed, lift <= room, lift <= room + case.saddle_room_mm)


def lift_of_new(prior: LiftPrior, probabilities: Sequence[float] = (0.1, 0.5, 0.9)) -> FloatArray:
    """Lift in the first 30 years of an instrument of which nothing is known.

    Parameters
    ----------
    prior : LiftPrior
        Planning defaults, or what a shop's own instruments have taught; one group only.
    probabilities : sequence of float
        Chances that the lift stays below the figure returned. [-]

    Returns
    -------
    ndarray
        Quantiles of β. [mm]

    Raises
    ------
    ValueError
        If a probability is not between 0 and 1.

    Notes
    -----
    Every law of lift in the prior passes β at 30 years, and log β is normal.
    """
    chance = as_between("probabilities", probabilities, 1e-6, 1.0 - 1e-6)
    mean, sd = (np.asarray(v, np.float64) for v in (prior.log_rate_mean, prior.log_rate_sd))
    return np.asarray(np.exp(mean + sd * ndtri(chance)))
