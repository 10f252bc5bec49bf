"""The rungs of the trade's order, and the sentence that each has to say."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from geometry.action import relief_step
from geometry.balance import SIDES, Balance
from geometry.constants import SURPRISE_U
from geometry.marking import gettext_noop
from geometry.moves import HAIR
from geometry.options import Bench, Option
from geometry.readings import SetUp, Targets
from geometry.units import format_turns

FirstStep = Literal["remeasure", "relief", "nut", "height", "none", "cannot_say"]

# One sentence for each reason; the figures are in ``Advice.reason_values``.
REASONS = {
    "no_bridge_rise": gettext_noop(
        "Bridge rise was not measured: without it nothing can be said of the saddle "
        "or the neck's angle."
    ),
    "no_action_12": gettext_noop(
        "Action at fret 12 was not measured on both sides, and the other readings do not give it."
    ),
    "surprise": gettext_noop(
        "The newest bridge rise is far from where the earlier ones were heading "
        "({surprise_z:.1f} times the usual scatter): measure again, and look for a loose brace or a "
        "lifting bridge."
    ),
    "contradiction": gettext_noop(
        "Action at fret 12 reads {measured_mm:.2f} mm on the {side} where the other "
        "readings give {predicted_mm:.2f} mm: one of them is misread, so measure again."
    ),
    "relief_high": gettext_noop(
        "Relief is {relief_mm:.2f} mm, above {limit_mm:.2f} mm: tighten the rod in small "
        "steps first, then measure again."
    ),
    "relief_low": gettext_noop(
        "Relief is {relief_mm:.2f} mm, below {limit_mm:.2f} mm: loosen the rod in small "
        "steps first, then measure again."
    ),
    "nut_high": gettext_noop(
        "Action at fret 1 is {action_1_mm:.2f} mm on the {side}, above its target of "
        "{target_mm:.2f} mm: see to the nut first, then measure again."
    ),
    "nut_low": gettext_noop(
        "Action at fret 1 is {action_1_mm:.2f} mm on the {side}, below its target of "
        "{target_mm:.2f} mm: see to the nut first, then measure again."
    ),
    "in_tolerance": gettext_noop(
        "Action at fret 12 is {bass_mm:.2f} mm bass and {treble_mm:.2f} mm treble, "
        "within {tolerance_mm:.2f} mm of its targets."
    ),
    "turns": gettext_noop(
        "{turns_text} brings fret 12 to {bass_mm:.2f} mm bass and {treble_mm:.2f} mm treble, "
        "and can be undone."
    ),
    "shim": gettext_noop(
        "A shim of {shim_mm:.2f} mm brings fret 12 to {bass_mm:.2f} mm bass and "
        "{treble_mm:.2f} mm treble, and can be undone."
    ),
    "turns_and_saddle": gettext_noop(
        "{turns_text} takes up what bass and treble have in common, and the saddle "
        "the rest: fret 12 comes to {bass_mm:.2f} mm bass and {treble_mm:.2f} mm treble."
    ),
    "shim_and_saddle": gettext_noop(
        "A shim of {shim_mm:.2f} mm takes up what bass and treble have in common, "
        "and the saddle the rest: fret 12 comes to {bass_mm:.2f} mm bass and {treble_mm:.2f} mm treble."
    ),
    "turns_and_new_saddle": gettext_noop(
        "{turns_text} with a new, taller saddle brings fret 12 to {bass_mm:.2f} "
        "mm bass and {treble_mm:.2f} mm treble."
    ),
    "shim_and_new_saddle": gettext_noop(
        "A shim of {shim_mm:.2f} mm with a new, taller saddle brings fret 12 to "
        "{bass_mm:.2f} mm bass and {treble_mm:.2f} mm treble."
    ),
    "saddle_cut": gettext_noop(
        "Lowering the saddle brings fret 12 to {bass_mm:.2f} mm bass and {treble_mm:.2f} "
        "mm treble, and leaves at least {saddle_mm:.2f} mm of it."
    ),
    "saddle_taller": gettext_noop(
        "A taller saddle brings fret 12 to {bass_mm:.2f} mm bass and {treble_mm:.2f} mm treble."
    ),
    "reset": gettext_noop(
        "Neither saddle nor joint can bring the action to its targets: a reset of "
        "{tilt_deg:.2f}° with {wedge_mm:.2f} mm at the heel's foot does."
    ),
    "nothing_serves": gettext_noop(
        "No option brings the action to its targets: check readings and targets."
    ),
}


@dataclass(frozen=True)
class Finding:
    """What one rung of the order found: the step to take, and the key and figures of the reason."""

    first_step: FirstStep
    key: str
    values: dict[str, float]
    side: str = ""

    def sentence(self) -> str:
        """The reason in words, lengths in mm."""
        turns = self.values.get("turns", 0.0)
        turns_text = format_turns(abs(turns)) + (" forward" if turns < 0 else "")
        return REASONS[self.key].format(side=self.side, turns_text=turns_text, **self.values)


def check_missing(set_up: SetUp) -> Finding | None:
    """Can anything be said at all?"""
    if np.isnan(set_up.bridge_rise_mm):
        return Finding("cannot_say", "no_bridge_rise", {})
    if np.isnan(set_up.action_12_mm).any():
        return Finding("cannot_say", "no_action_12", {})
    return None


def check_readings(found: Balance, set_up: SetUp, surprise_z: float | None) -> Finding | None:
    """Do the readings agree with each other, and with earlier ones?"""
    worst = int(np.argmax(np.abs(np.nan_to_num(found.balance_mm))))
    if found.contradicts.any():
        measured = float(set_up.action_12_mm[worst])
        values = {
            "measured_mm": measured,
            "predicted_mm": measured - float(found.balance_mm[worst]),
            "u_mm": float(found.u_mm[worst]),
        }
        return Finding("remeasure", "contradiction", values, SIDES[worst])
    if surprise_z is not None and abs(surprise_z) > SURPRISE_U:
        return Finding("remeasure", "surprise", {"surprise_z": abs(surprise_z)})
    return None


def check_relief(set_up: SetUp, targets: Targets) -> Finding | None:
    """Is the relief within its window?"""
    relief = float(set_up.relief_mm)
    low, high = targets.relief_window_mm
    if low - HAIR <= relief <= high + HAIR:
        return None
    above = relief > high
    step = relief_step((low + high) / 2.0 - relief)
    values = {
        "relief_mm": relief,
        "limit_mm": high if above else low,
        "action_12_change_mm": float(step.action_12_change_mm),
        "bridge_rise_change_mm": float(step.bridge_rise_change_mm),
    }
    return Finding("relief", "relief_high" if above else "relief_low", values)


def check_nut(set_up: SetUp, targets: Targets) -> Finding | None:
    """Is the action at fret 1 near its target?"""
    over = set_up.action_1_mm - np.asarray(targets.action_1_mm, np.float64)
    worst = int(np.argmax(np.abs(over)))
    if abs(over[worst]) <= targets.nut_tolerance_mm + HAIR:
        return None
    action = float(set_up.action_1_mm[worst])
    values = {"action_1_mm": action, "target_mm": action - float(over[worst])}
    return Finding("nut", "nut_high" if over[worst] > 0 else "nut_low", values, SIDES[worst])


def height_reason(option: Option) -> Finding:
    """Why the recommended option is the one to take."""
    bass, treble = (float(v) for v in option.action_12_after_mm)
    values = {"bass_mm": bass, "treble_mm": treble}
    if option.key == "leave":
        return Finding("height", "nothing_serves", values)
    if option.key == "reset":
        values |= {"tilt_deg": option.tilt_change_deg, "wedge_mm": option.wedge_mm}
        return Finding("height", "reset", values)
    if option.key == "saddle":
        values["saddle_mm"] = float(np.min(option.saddle_after_mm))
        taller = np.any(option.saddle_cut_mm < 0)
        return Finding("height", "saddle_taller" if taller else "saddle_cut", values)
    if option.shim_mm is None:
        by = "turns"
        values["turns"] = option.turns or 0.0
    else:
        by = "shim"
        values["shim_mm"] = option.shim_mm
    if option.key == "tilt_and_saddle":
        by += "_and_new_saddle" if np.any(option.saddle_cut_mm < 0) else "_and_saddle"
    return Finding("height", by, values)


def check_height(bench: Bench) -> Finding | None:
    """Is the action at fret 12 near its target? The reason if it is; None if it needs work."""
    tolerance = bench.targets.action_tolerance_mm
    if np.any(np.abs(bench.error_mm) > tolerance + HAIR):
        return None
    bass, treble = (float(v) for v in bench.set_up.action_12_mm)
    values = {"bass_mm": bass, "treble_mm": treble, "tolerance_mm": tolerance}
    return Finding("none", "in_tolerance", values)
