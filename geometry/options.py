"""What can be done about the height of the strings, each with what it leads to.

Every move is rounded to what a hand can set, toward safety where a limit is near, and its results
are those of the rounded move. No option cuts a saddle below its floor or turns a joint past its
travel, feasible or not.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry import why_not as why
from geometry._checks import FloatArray
from geometry.action import Neck, action_at_fret, reach, rise_limit
from geometry.balance import GaugeUncertainty, prediction_u
from geometry.constants import (
    ACTION_FRET,
    GAIN_PRIOR_SD,
    RESET_TILT_MAX_DEG,
    SADDLE_STEP_MM,
    WEDGE_STEP_MM,
)
from geometry.joint import heel_wedge, rise_after_tilt, tilt_for_rise
from geometry.moves import HAIR, UNTOUCHED, Setting, Settings, settable_cut, settings_of, tilt_left
from geometry.readings import ADJUSTABLE, TURNED, Joint, SetUp, Targets, saddle_height_on_line

OptionKey = Literal["leave", "saddle", "tilt", "tilt_and_saddle", "reset"]


@dataclass(frozen=True, eq=False)
class Option:
    """One way to set the height of the strings, and what it leads to.

    Arrays end in (bass, treble). ``saddle_cut_mm`` below zero asks for a taller saddle. ``turns``
    is None unless a bolt is turned, positive in the sense that takes the headstock back; finish
    on the pulling side, so that play in a captive bolt is taken up. ``shim_mm`` is the shim that
    should stand in the joint, None unless shims are changed; ``wedge_mm`` what a reset takes off
    at the heel's foot, negative: puts in. ``rise_limit_after_mm`` is the bridge rise at which the
    saddle is spent, ``saddle_room_after_mm`` and ``joint_room_after_mm`` the lift that saddle and
    joint can still take up. ``amount_u_mm`` is the standard uncertainty of the resulting action at
    fret 12, on the less certain side. ``cautions`` are keys: slacken, eyes, dust, heat, trained,
    maker, remeasure.
    """

    key: OptionKey
    feasible: bool
    why_not: str
    tilt_change_deg: float
    turns: float | None
    shim_mm: float | None
    wedge_mm: float
    saddle_cut_mm: FloatArray
    saddle_after_mm: FloatArray
    action_after_mm: FloatArray
    set_frets: tuple[int, ...]
    action_12_after_mm: FloatArray
    bridge_rise_after_mm: float
    rise_limit_after_mm: float
    saddle_room_after_mm: float
    joint_room_after_mm: float
    tilt_left_deg: float
    amount_u_mm: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Bench:
    """One instrument on the bench: readings made whole, targets and joint, ready for work.

    ``neck`` has a last axis of one (see ``two_sided``); ``gauges`` are widened where a reading was
    assumed.
    """

    neck: Neck
    set_up: SetUp
    targets: Targets
    joint: Joint
    set_frets: tuple[int, ...]
    gauges: GaugeUncertainty

    @property
    def rise_mm(self) -> float:
        return float(self.set_up.bridge_rise_mm)

    @property
    def share(self) -> float:
        """Part of a change at the saddle that arrives at fret 12."""
        return float(reach(self.neck, ACTION_FRET)[0])

    @property
    def error_mm(self) -> FloatArray:
        """Action at fret 12 over its target, bass and treble; negative where it is low."""
        return self.set_up.action_12_mm - np.asarray(self.targets.action_12_mm, np.float64)

    @property
    def needed_mm(self) -> FloatArray:
        """Change of height at the saddle that would meet the target, negative to lower."""
        return -self.error_mm / self.share

    @property
    def height_mm(self) -> FloatArray:
        """Bridge rise and saddle together at which each side would meet its target."""
        return self.rise_mm + self.set_up.saddle_mm + self.needed_mm

    @property
    def pivot(self) -> dict[str, ArrayLike]:
        at = self.joint.pivot_x_mm
        pivot_x = float(self.neck.joint_mm[0]) if at is None else at
        return {
            "pivot_to_saddle_mm": float(self.neck.saddle_line_mm[0]) - pivot_x,
            "pivot_depth_mm": self.joint.pivot_depth_mm,
        }

    @property
    def floor_mm(self) -> float:
        return float(np.asarray(self.targets.saddle_floor_mm))

    def rise_after(self, tilt_deg: ArrayLike) -> FloatArray:
        return rise_after_tilt(self.rise_mm, tilt_deg, **self.pivot)

    def limit_mm(self) -> float:
        """Bridge rise at which the saddle is spent: the smaller of bass and treble."""
        per_side = rise_limit(
            self.neck,
            target_action_12_mm=self.targets.action_12_mm,
            action_1_mm=self.set_up.action_1_mm,
            bridge_rise_mm=self.rise_mm,
            saddle_mm=self.set_up.saddle_mm,
            relief_mm=self.set_up.relief_mm,
            saddle_floor_mm=self.floor_mm,
        )
        return float(np.min(per_side))

    def actions(self, raised_mm: FloatArray) -> FloatArray:
        """Action at the set frets once the string is raised at the saddle, shape (n_frets, 2).

        The string's line is the one through the actions read at frets 1 and 12, so that what is
        foretold starts from what the gauges say; the nut is held.
        """
        set_up = self.set_up
        fret = np.array(self.set_frets)[:, None]
        height = saddle_height_on_line(
            self.neck,
            action_1_mm=set_up.action_1_mm,
            action_12_mm=set_up.action_12_mm,
            relief_mm=set_up.relief_mm,
        )
        now = action_at_fret(
            self.neck,
            fret,
            action_1_mm=set_up.action_1_mm,
            bridge_rise_mm=0.0,
            saddle_mm=height,
            relief_mm=set_up.relief_mm,
        )
        return now + raised_mm * reach(self.neck, fret)


def _amount_u(bench: Bench, moved_mm: float, u_gain: float, saddle_changed: bool) -> float:
    """Standard uncertainty of the resulting action at fret 12, first order, the worse side."""
    gauges = bench.gauges
    measured = bench.set_up.measured["action_12"]
    predicted = prediction_u(bench.neck, gauges)
    start = np.where(measured, np.asarray(gauges.action_12_mm, np.float64), predicted)
    joint = bench.share * moved_mm * u_gain
    saddle = bench.share * np.asarray(gauges.saddle_mm, np.float64) * saddle_changed
    return float(np.max(np.sqrt(start**2 + joint**2 + saddle**2)))


def _cautions(bench: Bench, key: OptionKey) -> tuple[str, ...]:
    if key == "leave":
        return ()
    keys = ["slacken", "eyes"]
    if key == "reset" and bench.joint.kind == "glued":
        keys.append("heat")
    if key != "tilt":
        keys.append("dust")
    if key == "reset":
        keys.append("trained")
    if key != "saddle":
        keys.append("maker")
    return (*keys, "remeasure")


def _option(
    bench: Bench,
    key: OptionKey,
    why_not: str = "",
    *,
    setting: Setting = UNTOUCHED,
    wedge_mm: float = 0.0,
    cut_mm: ArrayLike = (0.0, 0.0),
) -> Option:
    """Work out what a move leads to."""
    cut = np.asarray(cut_mm, np.float64)
    tilt_deg = setting.tilt_deg
    rise = float(bench.rise_after(tilt_deg))
    lowered = rise - bench.rise_mm
    raised = lowered - cut
    # A reset's new angle takes none of an adjuster's travel.
    left = max(tilt_left(bench.joint) - (0.0 if key == "reset" else tilt_deg), 0.0)
    u_gain = GAIN_PRIOR_SD if key == "reset" else bench.joint.u_rise_gain
    limit = bench.limit_mm()
    return Option(
        key=key,
        feasible=not why_not,
        why_not=why_not,
        tilt_change_deg=tilt_deg,
        turns=setting.turns,
        shim_mm=setting.shim_mm,
        wedge_mm=wedge_mm,
        saddle_cut_mm=cut,
        saddle_after_mm=bench.set_up.saddle_mm - cut,
        action_after_mm=bench.actions(raised),
        set_frets=bench.set_frets,
        action_12_after_mm=bench.set_up.action_12_mm + raised * bench.share,
        bridge_rise_after_mm=rise,
        rise_limit_after_mm=limit,
        saddle_room_after_mm=limit - rise,
        joint_room_after_mm=rise - float(rise_after_tilt(rise, left, **bench.pivot)),
        tilt_left_deg=left,
        amount_u_mm=_amount_u(bench, lowered, u_gain, bool(np.any(cut))),
        cautions=_cautions(bench, key),
    )


def _misses(bench: Bench, raised_mm: ArrayLike) -> bool:
    """Whether a move leaves either side beyond the tolerance of its target."""
    error = bench.error_mm + np.asarray(raised_mm, np.float64) * bench.share
    return bool(np.any(np.abs(error) > bench.targets.action_tolerance_mm + HAIR))


def _why_saddle_misses(cut_mm: FloatArray, wanted_mm: FloatArray) -> str:
    """Which limit stopped the cut that was wanted."""
    return why.BELOW_FLOOR if np.any(wanted_mm > cut_mm + SADDLE_STEP_MM) else why.ABOVE_CEILING


def _rise_for_new_saddle(bench: Bench) -> tuple[float, float]:
    """Bridge rise at which a new saddle, of as-built height on the whole, meets the targets.

    The second figure is the most it may be for neither side to fall below the preferred band.
    """
    lowest = max(bench.targets.saddle_preferred_mm[0], bench.floor_mm)
    most = float(np.min(bench.height_mm)) - lowest
    return min(float(np.mean(bench.height_mm)) - bench.targets.saddle_as_built_mm, most), most


def leave(bench: Bench) -> Option:
    """Do nothing, and see what that leads to."""
    return _option(bench, "leave")


def saddle_only(bench: Bench) -> Option:
    """Lower the saddle, or fit a taller one, each side for itself."""
    wanted = -bench.needed_mm
    cut = settable_cut(wanted, bench.set_up.saddle_mm, bench.targets)
    why_not = ""
    if _misses(bench, -cut):
        why_not = _why_saddle_misses(cut, wanted)
    elif not np.any(cut):
        why_not = why.NOTHING_TO_SET
    return _option(bench, "saddle", why_not, cut_mm=cut)


def _why_no_setting(bench: Bench, settings: Settings, wanted_rise_mm: float) -> str:
    """Why the joint cannot come near a wanted bridge rise; empty where it can move that way."""
    joint = bench.joint
    if joint.kind in TURNED and None in (joint.bolt_arm_mm, joint.thread_pitch_mm):
        return why.NO_BOLT_ON_RECORD
    if wanted_rise_mm < bench.rise_mm - HAIR and not np.any(settings.tilt_deg > 0):
        return why.NO_TRAVEL_DOWN
    if wanted_rise_mm > bench.rise_mm + HAIR and not np.any(settings.tilt_deg < 0):
        return why.ONE_WAY if joint.one_way else why.NO_TRAVEL_UP
    return ""


def tilt_only(bench: Bench) -> Option:
    """Turn the bolt, or change the shim, to serve both sides as well as one angle can."""
    settings = settings_of(bench.joint)
    wanted = bench.rise_mm + float(np.mean(bench.needed_mm))
    rises = bench.rise_after(settings.tilt_deg)
    best = int(np.argmin(np.abs(rises - wanted)))
    why_not = ""
    if _misses(bench, rises[best] - bench.rise_mm):
        why_not = _why_no_setting(bench, settings, wanted)
        if not why_not and _misses(bench, wanted - bench.rise_mm):
            why_not = why.APART_FOR_ANGLE
        elif not why_not and not np.min(rises) <= wanted <= np.max(rises):
            why_not = why.LITTLE_TRAVEL
        elif not why_not:
            why_not = why.NO_SETTING_NEAR
    elif settings.tilt_deg[best] == 0.0:
        why_not = why.TOO_SMALL
    return _option(bench, "tilt", why_not, setting=settings.at(best))


def _nearest(rises: FloatArray, wanted: float, allowed: NDArray[np.bool_]) -> int | None:
    """Index of the rise nearest to a wanted one among those allowed; None where none is."""
    if not allowed.any():
        return None
    return int(np.argmin(np.where(allowed, np.abs(rises - wanted), np.inf)))


def tilt_and_saddle(bench: Bench) -> Option:
    """Turn or shim for the common part, and set the saddle for the rest of each side.

    The joint goes no further down than the side that needs least, so that the saddle is only cut.
    Where that would take a side below the floor, the joint goes down instead as far as a new,
    taller saddle asks for.
    """
    settings = settings_of(bench.joint)
    rises = bench.rise_after(settings.tilt_deg)

    def with_setting(at: int) -> tuple[FloatArray, str]:
        saddle = bench.set_up.saddle_mm
        rest = saddle - (bench.height_mm - rises[at])
        cut = settable_cut(rest, saddle, bench.targets)
        missed = _misses(bench, rises[at] - bench.rise_mm - cut)
        return cut, _why_saddle_misses(cut, rest) if missed else ""

    wanted = bench.rise_mm + float(np.max(bench.needed_mm))
    common = _nearest(rises, wanted, rises >= wanted - HAIR)
    best = int(np.argmax(rises)) if common is None else common
    cut, why_not = with_setting(best)
    if why_not == why.BELOW_FLOOR:
        wanted, most = _rise_for_new_saddle(bench)
        taller = _nearest(rises, wanted, rises <= most + HAIR)
        best = int(np.argmin(rises)) if taller is None else taller
        cut, why_not = with_setting(best)
    if settings.tilt_deg[best] == 0.0:
        why_not = _why_no_setting(bench, settings, wanted) or why.COMMON_TOO_SMALL
    elif not why_not and not np.any(cut):
        why_not = why.ANGLE_ALONE
    return _option(bench, "tilt_and_saddle", why_not, cut_mm=cut, setting=settings.at(best))


def reset(bench: Bench) -> Option:
    """Reset the neck so that a saddle of as-built height meets the targets."""
    depth = bench.joint.heel_depth_mm
    ideal, _ = _rise_for_new_saddle(bench)
    limits = bench.rise_after([RESET_TILT_MAX_DEG, -RESET_TILT_MAX_DEG])
    wanted = float(np.clip(ideal, *limits))
    exact = heel_wedge(tilt_for_rise(bench.rise_mm, wanted, **bench.pivot), depth)
    # Upward: rather a little more angle, and so a taller saddle, than too little.
    wedge = float(np.ceil(exact / WEDGE_STEP_MM - HAIR)) * WEDGE_STEP_MM
    tilt = float(np.degrees(np.arctan2(wedge, depth)))
    rise = float(bench.rise_after(tilt))
    saddle = bench.set_up.saddle_mm
    cut = settable_cut(saddle - (bench.height_mm - rise), saddle, bench.targets)
    why_not = ""
    if wanted != ideal:
        why_not = why.MORE_THAN_A_RESET
    elif wedge == 0.0:
        why_not = why.ALREADY_RIGHT
    elif wedge < 0.0 and bench.joint.kind in ADJUSTABLE:
        why_not = why.FORWARD_AT_THE_JOINT
    elif _misses(bench, rise - bench.rise_mm - cut):
        why_not = why.APART_FOR_SADDLE
    setting = Setting(tilt, None, None)
    return _option(bench, "reset", why_not, setting=setting, wedge_mm=wedge + 0.0, cut_mm=cut)


def lay_out(bench: Bench) -> tuple[Option, ...]:
    """Every option that applies to the joint, feasible or not; those that can be undone first."""
    adjustable = bench.joint.kind in ADJUSTABLE
    moves = (tilt_only, tilt_and_saddle) if adjustable else ()
    return tuple(make(bench) for make in (leave, *moves, saddle_only, reset))


def recommend(bench: Bench, options: tuple[Option, ...]) -> OptionKey:
    """The option to take where the height needs work.

    A move that can be undone comes before one that removes material, as long as the saddle is not
    lowered out of its preferred band nor left above it; then the saddle; then either outside the
    band, the floor kept; then a reset. "leave" where none serves.
    """
    low, high = bench.targets.saddle_preferred_mm
    feasible = {option.key: option for option in options if option.feasible}

    def in_band(option: Option) -> bool:
        after = option.saddle_after_mm
        kept = (after >= low - HAIR) | (option.saddle_cut_mm <= 0)
        return bool(np.all(kept & (after <= high + HAIR)))

    order: tuple[OptionKey, ...] = ("tilt", "tilt_and_saddle", "saddle")
    served = [key for key in order if key in feasible]
    best = [key for key in served if in_band(feasible[key])] + served
    if best:
        return best[0]
    return "reset" if "reset" in feasible else "leave"
