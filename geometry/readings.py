"""What advice is made from: readings, targets and the joint, and what is assumed where one lacks.

Sides are arrays whose last axis is (bass, treble). The same classes hold one instrument or, with
leading axes, a fleet.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_between, as_not_negative, as_positive
from geometry.action import Neck, action_at_fret, camber_at, reach, sag_per_relief
from geometry.constants import (
    ACTION_FRET,
    ACTION_TOLERANCE_MM,
    BOLT_ARM_RANGE_MM,
    GAIN_PRIOR_SD,
    HEEL_DEPTH_MM,
    HEEL_DEPTH_RANGE_MM,
    NUT_TOLERANCE_MM,
    PIVOT_DEPTH_MM,
    READING_LIMIT_MM,
    RELIEF_WINDOW_MM,
    RISE_GAIN_RANGE,
    SADDLE_AS_BUILT_MM,
    SADDLE_FLOOR_MM,
    SADDLE_PREFERRED_MM,
    SADDLE_STEP_MM,
    SADDLE_TOLERATED_MM,
    SHIM_RANGE_MM,
    STEEL_ACTION_1_MM,
    STEEL_ACTION_12_MM,
    THREAD_PITCH_RANGE_MM,
    TILT_LIMIT_DEG,
    TURN_STEP,
    TURN_STEP_RANGE,
)

JointKind = Literal["glued", "bolted", "shimmed", "tilting"]
JOINT_KINDS: tuple[JointKind, ...] = ("glued", "bolted", "shimmed", "tilting")
#: Kinds whose angle a screw sets, and all whose angle is set again without a reset.
TURNED: tuple[JointKind, ...] = ("tilting",)
ADJUSTABLE: tuple[JointKind, ...] = (*TURNED, "shimmed")


def _pair(name: str, values: FloatArray) -> FloatArray:
    if not values.ndim or values.shape[-1] != 2:
        raise ValueError(
            f"{name} must hold bass and treble on its last axis, got shape {values.shape}"
        )
    return values


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings of one instrument, or of many along leading axes. NaN or None: not measured.

    Relief not measured is taken as the middle of its window, action at fret 1 as its target, the
    saddle as what the other readings imply or else as built. Action at fret 12 not measured is
    predicted where the rest was read. Without the bridge rise nothing can be said.

    Parameters
    ----------
    action_1_mm, action_12_mm : array_like, shape (..., 2)
        String underside to the crown of the fret, open string at pitch. [mm]
    saddle_mm : array_like, shape (..., 2)
        Saddle crown above the bridge top under the outer strings. [mm]
    bridge_rise_mm : array_like, shape (...)
        Bridge top above the fret plane at the saddle line, may be negative. [mm]
    relief_mm : array_like, shape (...)
        Relief, pressed at fret 1 and the joint fret, may be negative. [mm]

    Raises
    ------
    ValueError
        If a reading is beyond 50 mm either way, an action or a saddle is negative, or a pair does
        not hold two sides.
    """

    action_1_mm: ArrayLike
    action_12_mm: ArrayLike
    saddle_mm: ArrayLike
    bridge_rise_mm: ArrayLike
    relief_mm: ArrayLike | None = None

    def __post_init__(self) -> None:
        for name in ("action_1_mm", "action_12_mm", "saddle_mm"):
            values = as_between(name, getattr(self, name), 0.0, READING_LIMIT_MM, missing_ok=True)
            object.__setattr__(self, name, _pair(name, values))
        for name in ("bridge_rise_mm", "relief_mm"):
            limits = (-READING_LIMIT_MM, READING_LIMIT_MM)
            values = as_between(name, getattr(self, name), *limits, missing_ok=True)
            object.__setattr__(self, name, values)


@dataclass(frozen=True, eq=False)
class Targets:
    """Targets, floors and windows; a shop may change every one. Defaults: constants.py.

    Parameters
    ----------
    action_12_mm, action_1_mm : array_like, shape (..., 2)
        Target action at frets 12 and 1, bass then treble. [mm]
    saddle_floor_mm : array_like, shape (...)
        Least saddle that may be left. [mm]
    saddle_preferred_mm : (float, float)
        Band in which a saddle is best. [mm]
    saddle_ceiling_mm : float
        Tallest saddle that may be fitted. [mm]
    relief_window_mm : (float, float)
        Relief that needs no work. [mm]
    action_tolerance_mm, nut_tolerance_mm : float
        Distance from the target, at frets 12 and 1, that needs no work. [mm]
    saddle_as_built_mm : float
        Saddle of new work: what a reset aims for. [mm]

    Raises
    ------
    ValueError
        If a figure cannot be, or limits are out of order.
    """

    action_12_mm: ArrayLike = STEEL_ACTION_12_MM
    action_1_mm: ArrayLike = STEEL_ACTION_1_MM
    saddle_floor_mm: ArrayLike = SADDLE_FLOOR_MM
    saddle_preferred_mm: tuple[float, float] = SADDLE_PREFERRED_MM
    saddle_ceiling_mm: float = SADDLE_TOLERATED_MM[1]
    relief_window_mm: tuple[float, float] = RELIEF_WINDOW_MM
    action_tolerance_mm: float = ACTION_TOLERANCE_MM
    nut_tolerance_mm: float = NUT_TOLERANCE_MM
    saddle_as_built_mm: float = SADDLE_AS_BUILT_MM

    def __post_init__(self) -> None:
        for name in ("action_12_mm", "action_1_mm"):
            values = as_between(name, getattr(self, name), 0.0, READING_LIMIT_MM)
            object.__setattr__(self, name, _pair(name, values))
        floor = as_between("saddle_floor_mm", self.saddle_floor_mm, 0.0, READING_LIMIT_MM)
        for name in ("saddle_ceiling_mm", "saddle_as_built_mm"):
            as_between(name, getattr(self, name), float(np.max(floor)), READING_LIMIT_MM)
        # Finer than a hand can set the saddle, no advice could ever be good enough.
        as_between(
            "action_tolerance_mm", self.action_tolerance_mm, SADDLE_STEP_MM / 2, READING_LIMIT_MM
        )
        as_between("nut_tolerance_mm", self.nut_tolerance_mm, 0.0, READING_LIMIT_MM)
        for name in ("saddle_preferred_mm", "relief_window_mm"):
            low, high = getattr(self, name)
            as_between(name, (low, high), -READING_LIMIT_MM, READING_LIMIT_MM)
            if low > high:
                raise ValueError(f"{name} must run from low to high, got {low:g} to {high:g}")


@dataclass(frozen=True)
class Joint:
    """A neck joint and what can be set on it. Scalars: one instrument.

    Parameters
    ----------
    kind : {"glued", "bolted", "shimmed", "tilting"}
        Those of ``ADJUSTABLE`` can change the neck's angle without a reset.
    pivot_x_mm : float or None
        Nut to pivot along the strings; None is the joint fret. [mm]
    pivot_depth_mm, heel_depth_mm : float
        Pivot below the fret plane; pivot line to heel foot, or to the shim. [mm]
    bolt_arm_mm, thread_pitch_mm : float or None
        Pivot to bolt axis, and advance of the bolt in one turn; of a tilting joint. [mm]
    tilt_now_deg, tilt_min_deg, tilt_max_deg : float
        Where a tilting joint stands and its limits; positive takes the headstock back. [°]
    shims_mm : tuple of float
        Thicknesses that are in stock; a thicker one takes the headstock back. [mm]
    shim_now_mm : float
        Thickness in place, 0 for none. [mm]
    turn_step : float
        Part of a turn to which advice is rounded. [-]
    one_way : bool
        Whether the tilt may only grow: a bridge only ever rises.
    rise_gain, u_rise_gain : float
        What a turn or shim really does over what the drawing says, with its standard uncertainty;
        see ``joint_gain``. [-]

    Raises
    ------
    ValueError
        If a figure cannot be, naming it. A tilt already past a limit is taken as it is: it has no
        travel left that way.
    """

    kind: JointKind = "glued"
    pivot_x_mm: float | None = None
    pivot_depth_mm: float = PIVOT_DEPTH_MM
    heel_depth_mm: float = HEEL_DEPTH_MM
    bolt_arm_mm: float | None = None
    thread_pitch_mm: float | None = None
    tilt_now_deg: float = 0.0
    tilt_min_deg: float = 0.0
    tilt_max_deg: float = 0.0
    shims_mm: tuple[float, ...] = ()
    shim_now_mm: float = 0.0
    turn_step: float = TURN_STEP
    one_way: bool = True
    rise_gain: float = 1.0
    u_rise_gain: float = GAIN_PRIOR_SD

    def __post_init__(self) -> None:
        if self.kind not in JOINT_KINDS:
            raise ValueError(f"kind must be one of {', '.join(JOINT_KINDS)}, got {self.kind!r}")
        if self.pivot_x_mm is not None:
            as_positive("pivot_x_mm", self.pivot_x_mm)
        if self.bolt_arm_mm is not None:
            as_between("bolt_arm_mm", self.bolt_arm_mm, *BOLT_ARM_RANGE_MM)
        if self.thread_pitch_mm is not None:
            as_between("thread_pitch_mm", self.thread_pitch_mm, *THREAD_PITCH_RANGE_MM)
        as_between("turn_step", self.turn_step, *TURN_STEP_RANGE)
        as_between("rise_gain", self.rise_gain, *RISE_GAIN_RANGE)
        as_between("heel_depth_mm", self.heel_depth_mm, *HEEL_DEPTH_RANGE_MM)
        as_between("shims_mm", self.shims_mm, *SHIM_RANGE_MM)
        as_between("shim_now_mm", self.shim_now_mm, *SHIM_RANGE_MM)
        for name in ("pivot_depth_mm", "u_rise_gain"):
            as_not_negative(name, getattr(self, name))
        # Half the angle that the formulas accept, so that no change between two of them is beyond.
        for name in ("tilt_now_deg", "tilt_min_deg", "tilt_max_deg"):
            as_between(name, getattr(self, name), -TILT_LIMIT_DEG / 2, TILT_LIMIT_DEG / 2)
        if self.tilt_min_deg > self.tilt_max_deg:
            raise ValueError(
                f"tilt_min_deg must not be above tilt_max_deg, got {self.tilt_min_deg:g} and "
                f"{self.tilt_max_deg:g}"
            )


@dataclass(frozen=True, eq=False)
class SetUp:
    """Readings made whole: each as measured, or as assumed where it was not.

    Arrays as in :class:`Readings`; ``measured`` marks for each reading, by name, where it was, and
    ``as_built`` where the saddle is the one of new work for want of anything better.
    """

    action_1_mm: FloatArray
    action_12_mm: FloatArray
    saddle_mm: FloatArray
    bridge_rise_mm: FloatArray
    relief_mm: FloatArray
    measured: dict[str, np.ndarray]
    as_built: np.ndarray


def two_sided(neck: Neck) -> Neck:
    """The neck with a last axis of one, so that its fields broadcast against (bass, treble)."""
    return neck.two_sided


def saddle_height_on_line(
    neck: Neck, *, action_1_mm: ArrayLike, action_12_mm: ArrayLike, relief_mm: ArrayLike
) -> FloatArray:
    """Height of the string over the fret plane at the saddle, on the line through two actions.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    action_1_mm, action_12_mm, relief_mm : array_like
        Readings; NaN gives NaN. All broadcast. [mm]

    Returns
    -------
    ndarray
        Height: bridge rise and saddle together. [mm]
    """
    first, twelfth = reach(neck, 1), reach(neck, ACTION_FRET)
    low = np.asarray(action_1_mm, np.float64) - camber_at(neck, 1)
    sag = np.asarray(relief_mm, np.float64) * sag_per_relief(neck, ACTION_FRET)
    high = np.asarray(action_12_mm, np.float64) - camber_at(neck, ACTION_FRET) - sag
    return low + (high - low) * (1.0 - first) / (twelfth - first)


def _where_missing(value: ArrayLike | None, instead: ArrayLike) -> FloatArray:
    read = np.asarray(value, np.float64)
    return np.where(np.isnan(read), np.asarray(instead, np.float64), read)


def complete(neck: Neck, readings: Readings, targets: Targets) -> SetUp:
    """Fill in what was not measured, where that can be done honestly.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck; scalars, or arrays of the readings' leading shape.
    readings : Readings
        As measured.
    targets : Targets
        Targets of the instrument or instruments.

    Returns
    -------
    SetUp
        Bridge rise, and action at fret 12 where neither measured nor predictable, stay NaN.

    Notes
    -----
    A saddle that was not measured is what the other readings imply, as long as that is a saddle
    that could be (0.8 to 4.8 mm); otherwise it is taken as built, and the balance of readings
    then shows the contradiction.
    """
    sides = two_sided(neck)
    rise = np.asarray(readings.bridge_rise_mm, np.float64)
    relief = _where_missing(readings.relief_mm, np.mean(targets.relief_window_mm))
    action_1 = _where_missing(readings.action_1_mm, targets.action_1_mm)
    line = saddle_height_on_line(
        sides,
        action_1_mm=action_1,
        action_12_mm=readings.action_12_mm,
        relief_mm=relief[..., None],
    )
    implied = line - rise[..., None]
    low, high = SADDLE_TOLERATED_MM
    possible = (implied >= low) & (implied <= high)
    likely = np.where(possible, implied, targets.saddle_as_built_mm)
    saddle = _where_missing(readings.saddle_mm, likely)
    predicted = action_at_fret(
        sides,
        ACTION_FRET,
        action_1_mm=readings.action_1_mm,
        bridge_rise_mm=rise[..., None],
        saddle_mm=readings.saddle_mm,
        relief_mm=relief[..., None],
    )
    action_12 = _where_missing(readings.action_12_mm, predicted)
    measured = {
        name: np.isfinite(getattr(readings, f"{name}_mm"))
        for name in ("action_1", "action_12", "saddle", "bridge_rise", "relief")
    }
    as_built = ~measured["saddle"] & ~possible
    return SetUp(action_1, action_12, saddle, rise, relief, measured, as_built)
