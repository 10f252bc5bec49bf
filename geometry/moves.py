"""What a hand can set: turns of a bolt, shims in stock, steps of a saddle.

Only settings within a joint's travel and a saddle's limits are offered, so that no advice built
on them can ask for more.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray
from geometry.constants import SADDLE_STEP_MM, TILT_LIMIT_DEG
from geometry.joint import bolt_travel, shim_tilt, tilt_after_turns
from geometry.readings import TURNED, Joint, Targets

# Keeps a limit that is met exactly from being missed by the last digit of a float.
HAIR = 1e-9


class Setting(NamedTuple):
    """One setting of a joint: change of tilt [°], and the turns or the shim [mm] that make it."""

    tilt_deg: float
    turns: float | None
    shim_mm: float | None


UNTOUCHED = Setting(0.0, None, None)


@dataclass(frozen=True, eq=False)
class Settings:
    """Every setting within a joint's reach, as arrays; the present one is among them."""

    tilt_deg: FloatArray
    turns: FloatArray | None
    shim_mm: FloatArray | None

    def at(self, index: int) -> Setting:
        """One of them."""
        return Setting(
            float(self.tilt_deg[index]),
            None if self.turns is None else float(self.turns[index]),
            None if self.shim_mm is None else float(self.shim_mm[index]),
        )


def _shims(joint: Joint) -> tuple[FloatArray, FloatArray]:
    """Change of tilt [°] and thickness [mm] of the shims in stock that a neck can take."""
    # The learnt gain acts like a shorter lever.
    depth = joint.heel_depth_mm / joint.rise_gain
    shim = np.array(joint.shims_mm, np.float64)
    tilt = shim_tilt(shim, depth, joint.shim_now_mm)
    takes = np.abs(tilt) <= TILT_LIMIT_DEG / 2
    return tilt[takes], shim[takes]


def _shim_settings(joint: Joint) -> Settings:
    tilt, shim = _shims(joint)
    tilt, shim = np.append(tilt, 0.0), np.append(shim, joint.shim_now_mm)
    allowed = tilt >= 0.0 if joint.one_way else np.full(tilt.shape, True)
    return Settings(tilt[allowed], None, shim[allowed])


def _turn_settings(joint: Joint) -> Settings:
    pitch = joint.thread_pitch_mm
    if joint.bolt_arm_mm is None or pitch is None:
        return Settings(np.zeros(1), np.zeros(1), None)
    arm = joint.bolt_arm_mm / joint.rise_gain
    now = joint.tilt_now_deg

    def steps_to(limit_deg: float) -> int:
        turns = abs(bolt_travel(limit_deg - now, arm, now)) / pitch
        return int(np.floor(turns / joint.turn_step + HAIR))

    back = steps_to(joint.tilt_max_deg) if joint.tilt_max_deg > now else 0
    forward = steps_to(joint.tilt_min_deg) if joint.tilt_min_deg < now else 0
    steps = np.arange(0 if joint.one_way else -forward, back + 1)
    turns = np.asarray(steps * joint.turn_step, np.float64)
    tilt = tilt_after_turns(turns, pitch, arm, now) - now
    return Settings(np.where(turns == 0.0, 0.0, tilt), turns, None)


def settings_of(joint: Joint) -> Settings:
    """Settings that an adjustable joint can take from where it stands.

    Parameters
    ----------
    joint : Joint
        Of a kind of ``ADJUSTABLE``.

    Returns
    -------
    Settings
        Turns in steps of ``turn_step`` within the limits of tilt, or the shims in stock; none that
        raises the strings where the joint is one-way.
    """
    return _turn_settings(joint) if joint.kind in TURNED else _shim_settings(joint)


def tilt_left(joint: Joint) -> float:
    """Travel left in the sense that lowers the strings; 0 for a joint without any. [°]"""
    if joint.kind in TURNED:
        return max(joint.tilt_max_deg - joint.tilt_now_deg, 0.0)
    if joint.kind == "shimmed":
        return float(max(0.0, *_shims(joint)[0], 0.0))
    return 0.0


def settable_cut(wanted_mm: ArrayLike, saddle_mm: ArrayLike, targets: Targets) -> FloatArray:
    """Nearest cut of a saddle that a hand can set, kept between the floor and the ceiling.

    Parameters
    ----------
    wanted_mm : array_like
        Cut wanted, negative for a taller saddle. [mm]
    saddle_mm : array_like
        Saddle now; broadcasts. [mm]
    targets : Targets
        Floor and ceiling.

    Returns
    -------
    ndarray
        In steps of 0.05 mm. A saddle already past a limit is not moved further past it. [mm]
    """
    saddle = np.asarray(saddle_mm, np.float64)
    spare = (saddle - np.asarray(targets.saddle_floor_mm, np.float64)) / SADDLE_STEP_MM
    growth = (targets.saddle_ceiling_mm - saddle) / SADDLE_STEP_MM
    most = np.maximum(np.floor(spare + HAIR), 0.0)
    least = -np.maximum(np.floor(growth + HAIR), 0.0)
    steps = np.clip(np.round(np.asarray(wanted_mm, np.float64) / SADDLE_STEP_MM), least, most)
    return steps * SADDLE_STEP_MM + 0.0  # adding 0 turns -0 into 0
