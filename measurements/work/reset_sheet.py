"""Figures of the reset sheet: what a neck reset is to come to, and what tells that it has.

The sheet prints what the option "reset" leads to; nothing is foretold here that the advice does not say.
"""

from dataclasses import dataclass
from typing import cast

import numpy as np

from geometry.advice import Option
from geometry.frets import fret_distance
from geometry.joint import extension_gap, side_trim
from measurements.advice.counsel import Counsel
from measurements.models import SIDES, CheckIn

#: Sideways differences of the margins smaller than this need no trim. Planning default, no source.
EVEN_MM = 0.2
#: Width of joint for which the trim is said where none was measured. [mm]
TRIM_PER_MM = 10.0


@dataclass(frozen=True)
class Trim:
    """What to take off one cheek of the joint for the strings to run even over the joint fret. [mm]

    ``cheek`` is the side to be trimmed; ``amount_mm`` for a joint ``width_mm`` wide.
    """

    cheek: str
    margin_mm: tuple[float, float]
    over_joint_mm: float
    at_bridge_mm: float
    amount_mm: float
    width_mm: float


@dataclass(frozen=True)
class ResetSheet:
    """A reset in figures. Sides are (bass, treble); lengths mm.

    ``plane_mm`` is the line of the frets above the bridge top afterwards; below zero it runs into the bridge.
    ``extension_gap_mm`` is how far the fingerboard's end comes up off the top.
    """

    option: Option
    rise_now_mm: float
    plane_now_mm: float
    plane_mm: float
    heel_depth_mm: float
    heel_assumed: bool
    saddle_now_mm: tuple[float, float]
    saddle_mm: tuple[float, float]
    actions: tuple[tuple[int, tuple[float, float], tuple[float, float]], ...]
    wanted_12_mm: tuple[float, float]
    extension_gap_mm: float
    trim: Trim | None
    margins_even: bool

    @property
    def adds_wood(self) -> bool:
        """Whether a wedge is put in instead of taken off: the headstock comes forward."""
        return self.option.wedge_mm < 0

    @property
    def wedge_mm(self) -> float:
        return abs(self.option.wedge_mm)


def reset_sheet(now: Counsel, joint_width_mm: float | None = None) -> ResetSheet | None:
    """The sheet for one instrument as it stands; None where the readings do not give a reset.

    ``joint_width_mm`` is the width over which the trim acts, measured across the heel at the body.
    """
    option = next((o for o in now.advice.options if o.key == "reset"), None)
    if option is None:
        return None
    rise = float(np.asarray(now.readings.bridge_rise_mm))
    leave = next(o for o in now.advice.options if o.key == "leave")
    joint = now.instrument.joint
    margins = _margins(now)
    return ResetSheet(
        option=option,
        rise_now_mm=rise,
        plane_now_mm=-rise,
        plane_mm=-option.bridge_rise_after_mm,
        heel_depth_mm=now.joint.heel_depth_mm,
        heel_assumed=joint.heel_depth_mm is None,
        saddle_now_mm=_sides(leave.saddle_after_mm),
        saddle_mm=_sides(option.saddle_after_mm),
        actions=tuple(
            (fret, _sides(before), _sides(after))
            for fret, before, after in zip(
                option.set_frets, leave.action_after_mm, option.action_after_mm, strict=True
            )
        ),
        wanted_12_mm=_sides(np.asarray(now.targets.action_12_mm, float)),
        extension_gap_mm=_extension_gap(now, option),
        trim=None if margins is None else _trim(now, margins, joint_width_mm),
        margins_even=margins is not None and abs(margins[0] - margins[1]) <= EVEN_MM,
    )


def _sides(pair: np.ndarray) -> tuple[float, float]:
    return float(pair[0]), float(pair[1])


def _extension_gap(now: Counsel, option: Option) -> float:
    """Rise of the fingerboard's end over the top; the pivot is taken at the joint fret."""
    scale = float(np.asarray(now.neck.scale_length_mm))
    end = float(fret_distance(scale, now.instrument.fret_count))
    length = max(end - float(np.asarray(now.neck.joint_mm)), 0.0)
    return float(
        extension_gap(
            option.tilt_change_deg,
            pivot_to_end_mm=length,
            pivot_depth_mm=now.joint.pivot_depth_mm,
        )
    )


def _margins(now: Counsel) -> tuple[float, float] | None:
    """String to edge at the joint fret, bass and treble, as last read on both sides."""
    read = (
        CheckIn.objects.standing()
        .filter(
            instrument=now.instrument,
            margin_bass_mm__isnull=False,
            margin_treble_mm__isnull=False,
        )
        .order_by("-measured_at", "-pk")
        .values_list("margin_bass_mm", "margin_treble_mm")
        .first()
    )
    # The filter leaves none of either out.
    return cast("tuple[float, float] | None", read)


def _trim(now: Counsel, margins: tuple[float, float], width_mm: float | None) -> Trim | None:
    """Which cheek to trim, and by how much, so that both margins come out the same.

    Where the bass margin is the wider one the strings lie towards the treble: the neck's line must swing to
    the treble at the bridge, the headstock to the bass, and so the joint closes on the bass side.
    """
    wider = (margins[0] - margins[1]) / 2.0
    if abs(2.0 * wider) <= EVEN_MM:
        return None
    width = TRIM_PER_MM if width_mm is None else width_mm
    nut_to_saddle = float(np.asarray(now.neck.saddle_line_mm))
    joint_at = float(np.asarray(now.neck.joint_mm))
    each = side_trim(
        1.0,
        screw_spacing_mm=width,
        pivot_to_saddle_mm=nut_to_saddle - joint_at,
        nut_to_saddle_mm=nut_to_saddle,
        fret_mm=joint_at,
    )
    amount = abs(wider) / float(each.over_fret_mm)
    return Trim(
        cheek=SIDES[0] if wider > 0 else SIDES[1],
        margin_mm=margins,
        over_joint_mm=abs(wider),
        at_bridge_mm=amount * float(each.at_bridge_mm),
        amount_mm=amount,
        width_mm=width,
    )
