"""What to do now, in the trade's order: agreeing readings, relief, nut, then height.

For height every option is laid out with what it leads to, and one is recommended. Advice is an
estimate from readings; whatever is done, it is measured again.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_between, as_finite, as_not_negative
from geometry.action import Neck, rise_limit
from geometry.balance import SIDES, Balance, GaugeUncertainty, Suspect, balance, suspects
from geometry.constants import ASSUMED_ACTION_1_SD_MM, MAX_FRET, PIVOT_DEPTH_MM
from geometry.joint import rise_after_tilt
from geometry.options import Bench, Option, OptionKey, lay_out, recommend
from geometry.readings import Joint, Readings, SetUp, Targets, complete, two_sided
from geometry.reasons import (
    Finding,
    FirstStep,
    check_height,
    check_missing,
    check_nut,
    check_readings,
    check_relief,
    height_reason,
)

__all__ = [
    "Advice",
    "GaugeUncertainty",
    "Joint",
    "Option",
    "Readings",
    "Rooms",
    "Targets",
    "advise",
    "rooms",
]


@dataclass(frozen=True, eq=False)
class Advice:
    """What to do now, and everything it rests on.

    ``first_step`` is what to do before anything else; ``reason`` says why in one sentence, with mm,
    and ``reason_key`` with ``reason_values`` say the same to a program (``reason_side`` is "bass",
    "treble" or ""). ``recommended`` is the key of one of ``options``: the option to take when
    ``first_step`` is "height" and "leave" otherwise, since the height is set last; it is empty,
    like ``options``, when nothing can be said. ``balance_mm`` and ``balance_u_mm`` are measured
    less predicted action at fret 12 and its standard uncertainty, bass then treble. ``suspects``
    names single readings that would explain a contradiction, likeliest first, and
    ``suspect_details`` says what each should read. ``assumptions`` says what was assumed for
    readings not taken, and ``assumed_mm`` gives the values by name.
    """

    first_step: FirstStep
    reason: str
    reason_key: str
    reason_values: dict[str, float]
    reason_side: str
    recommended: OptionKey | Literal[""]
    options: tuple[Option, ...]
    balance_mm: FloatArray
    balance_u_mm: FloatArray
    suspects: tuple[str, ...]
    suspect_details: tuple[Suspect, ...]
    assumptions: tuple[str, ...]
    assumed_mm: dict[str, float]


@dataclass(frozen=True, eq=False)
class Rooms:
    """Lift that can still be taken up, each of shape (N,); NaN where a reading lacks. [mm]"""

    saddle_room_mm: FloatArray
    joint_room_mm: FloatArray
    rise_limit_mm: FloatArray


def rooms(
    neck: Neck,
    readings: Readings,
    targets: Targets,
    *,
    tilt_left_deg: ArrayLike = 0.0,
    pivot_to_saddle_mm: ArrayLike | None = None,
    pivot_depth_mm: ArrayLike = PIVOT_DEPTH_MM,
) -> Rooms:
    """Room left in saddle and joint, for a whole fleet at once.

    Parameters
    ----------
    neck : Neck
        Fields are scalars or of shape (N,).
    readings : Readings
        Pairs of shape (N, 2), the rest (N,); what lacks is assumed as in :func:`advise`. [mm]
    targets : Targets
        Pairs of shape (2,) or (N, 2), the floor a scalar or (N,). [mm]
    tilt_left_deg : array_like
        Travel left that lowers the strings, 0 for a joint without any. [°]
    pivot_to_saddle_mm : array_like or None
        Pivot to saddle line; None is from the joint fret. [mm]
    pivot_depth_mm : array_like
        Pivot below the fret plane. [mm]

    Returns
    -------
    Rooms
        ``saddle_room_mm`` = rise limit less bridge rise; ``joint_room_mm`` = how far the travel
        left lowers the bridge rise. Either may be negative: overdrawn.

    Raises
    ------
    ValueError
        If a length, angle or reading cannot be.
    """
    set_up = complete(neck, readings, targets)
    rise = set_up.bridge_rise_mm
    per_side = rise_limit(
        two_sided(neck),
        target_action_12_mm=targets.action_12_mm,
        action_1_mm=set_up.action_1_mm,
        bridge_rise_mm=rise[..., None],
        saddle_mm=set_up.saddle_mm,
        relief_mm=set_up.relief_mm[..., None],
        saddle_floor_mm=np.asarray(targets.saddle_floor_mm, np.float64)[..., None],
    )
    limit = np.min(per_side, axis=-1)
    left = as_not_negative("tilt_left_deg", tilt_left_deg)
    distance = (
        neck.saddle_line_mm - neck.joint_mm if pivot_to_saddle_mm is None else pivot_to_saddle_mm
    )
    after = rise_after_tilt(rise, left, pivot_to_saddle_mm=distance, pivot_depth_mm=pivot_depth_mm)
    return Rooms(limit - rise, rise - after, limit)


def _assumed(set_up: SetUp) -> Iterator[tuple[str, float, str]]:
    """Name, value and sentence for each reading that was not taken but could be filled in."""
    if not set_up.measured["relief"]:
        value = float(set_up.relief_mm)
        yield (
            "relief",
            value,
            f"Relief not measured: {value:.2f} mm assumed, the middle of its window.",
        )
    saddle_from = np.where(set_up.as_built, "assumed, as built", "from the other readings")
    sources = {
        "action_1": ("Action at fret 1", ("assumed, its target",) * 2),
        "saddle": ("Saddle", tuple(saddle_from)),
        "action_12": ("Action at fret 12", ("from the other readings",) * 2),
    }
    for name, (what, how) in sources.items():
        for side, label in enumerate(SIDES):
            value = float(getattr(set_up, f"{name}_mm")[side])
            if not set_up.measured[name][side] and np.isfinite(value):
                sentence = f"{what} not measured, {label}: {value:.2f} mm {how[side]}."
                yield f"{name}_{label}", value, sentence


def _widened(gauges: GaugeUncertainty, set_up: SetUp, targets: Targets) -> GaugeUncertainty:
    """The gauges' standard deviations, wider where a value was assumed and not read."""
    low, high = targets.relief_window_mm
    spread = (high - low) / 2.0 / np.sqrt(3.0)  # a value anywhere in the window
    measured = set_up.measured
    relief = np.where(measured["relief"], np.asarray(gauges.relief_mm, np.float64), spread)
    action_1 = np.where(
        measured["action_1"], np.asarray(gauges.action_1_mm, np.float64), ASSUMED_ACTION_1_SD_MM
    )
    return replace(gauges, relief_mm=relief, action_1_mm=action_1)


def _balance(neck: Neck, set_up: SetUp, readings: Readings, gauges: GaugeUncertainty) -> Balance:
    # A saddle worked out from the action at fret 12 cannot be held against it.
    testable = set_up.measured["saddle"] | set_up.as_built
    return balance(
        neck,
        action_1_mm=set_up.action_1_mm,
        action_12_mm=readings.action_12_mm,
        bridge_rise_mm=set_up.bridge_rise_mm,
        saddle_mm=np.where(testable, set_up.saddle_mm, np.nan),
        relief_mm=set_up.relief_mm,
        uncertainty=gauges,
    )


def _suspects(neck: Neck, set_up: SetUp, gauges: GaugeUncertainty) -> tuple[Suspect, ...]:
    found = suspects(
        neck,
        action_1_mm=set_up.action_1_mm,
        action_12_mm=set_up.action_12_mm,
        bridge_rise_mm=set_up.bridge_rise_mm,
        saddle_mm=set_up.saddle_mm,
        relief_mm=set_up.relief_mm,
        uncertainty=gauges,
    )
    # Only what was read can have been misread.
    read = {name for name, where in set_up.measured.items() if np.all(where)}
    for name, where in set_up.measured.items():
        read |= {f"{name}_{SIDES[i]}" for i in np.flatnonzero(where) if np.ndim(where)}
    return tuple(s for s in found if s.name.removesuffix("_swapped") in read)


def _check_single(neck: Neck, readings: Readings, targets: Targets) -> None:
    for name, value in vars(neck).items():
        if np.ndim(value):
            raise ValueError(f"neck.{name} must be one number, got an array; see rooms for fleets")
    shapes = {
        "readings.action_1_mm": (readings.action_1_mm, (2,)),
        "readings.action_12_mm": (readings.action_12_mm, (2,)),
        "readings.saddle_mm": (readings.saddle_mm, (2,)),
        "readings.bridge_rise_mm": (readings.bridge_rise_mm, ()),
        "readings.relief_mm": (readings.relief_mm, ()),
        "targets.action_1_mm": (targets.action_1_mm, (2,)),
        "targets.action_12_mm": (targets.action_12_mm, (2,)),
        "targets.saddle_floor_mm": (targets.saddle_floor_mm, ()),
    }
    for name, (values, shape) in shapes.items():
        found = np.asarray(values, np.float64).shape
        if found != shape:
            raise ValueError(f"{name} must have shape {shape}, got {found}")


def advise(
    neck: Neck,
    readings: Readings,
    targets: Targets,
    joint: Joint,
    *,
    set_frets: tuple[int, ...],
    uncertainty: GaugeUncertainty | None = None,
    surprise_z: float | None = None,
) -> Advice:
    """Say what to do now with one instrument, and what each option leads to.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck, scalars. [mm]
    readings : Readings
        Pairs of shape (2,), the rest scalars; NaN where not measured. [mm]
    targets : Targets
        What to aim for, and the limits. [mm]
    joint : Joint
        What can be set on the neck joint.
    set_frets : tuple of int
        Frets at which the action is foretold.
    uncertainty : GaugeUncertainty, optional
        Standard deviation of each gauge; the defaults if not given. [mm]
    surprise_z : float, optional
        Standardised residual of the newest reading against earlier ones; beyond 3 it is measured
        again before anything else.

    Returns
    -------
    Advice
        What to do first, why, and every option.

    Raises
    ------
    ValueError
        If an argument cannot be or has the wrong shape.

    Notes
    -----
    The order is the trade's: relief, nut, then angle or saddle (common practice).
    """
    _check_single(neck, readings, targets)
    as_between("set_frets", set_frets, 0, MAX_FRET)
    surprise = None if surprise_z is None else float(as_finite("surprise_z", surprise_z))
    set_up = complete(neck, readings, targets)
    sides = two_sided(neck)
    gauges = _widened(uncertainty or GaugeUncertainty(), set_up, targets)
    found = _balance(sides, set_up, readings, gauges)
    finding = check_missing(set_up)
    options: tuple[Option, ...] = ()
    recommended: OptionKey | Literal[""] = ""
    if finding is None:
        bench = Bench(sides, set_up, targets, joint, tuple(set_frets), gauges)
        options, recommended = lay_out(bench), "leave"
        finding = (
            check_readings(found, set_up, surprise)
            or check_relief(set_up, targets)
            or check_nut(set_up, targets)
            or check_height(bench)
        )
        if finding is None:
            recommended = recommend(bench, options)
            finding = height_reason(next(o for o in options if o.key == recommended))
    contradicted = finding.key == "contradiction"
    return _advice(
        finding,
        recommended,
        options,
        found,
        set_up,
        _suspects(neck, set_up, gauges) if contradicted else (),
    )


def _advice(
    finding: Finding,
    recommended: OptionKey | Literal[""],
    options: tuple[Option, ...],
    found: Balance,
    set_up: SetUp,
    suspected: tuple[Suspect, ...],
) -> Advice:
    assumed = tuple(_assumed(set_up))
    return Advice(
        first_step=finding.first_step,
        reason=finding.sentence(),
        reason_key=finding.key,
        reason_values=finding.values,
        reason_side=finding.side,
        recommended=recommended,
        options=options,
        balance_mm=found.balance_mm,
        balance_u_mm=found.u_mm,
        suspects=tuple(suspect.name for suspect in suspected),
        suspect_details=suspected,
        assumptions=tuple(sentence for _, _, sentence in assumed),
        assumed_mm={name: value for name, value, _ in assumed},
    )
