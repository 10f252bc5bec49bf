"""The adjuster, step by step: how much of its travel is used, what each turn leads to, when to stop."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from geometry.advice import Option
from geometry.joint import bolt_travel
from geometry.moves import HAIR
from geometry.units import LengthUnit, format_turns, parse_quantity
from instruments.defaults import joint_dimension
from instruments.models import NeckJoint
from measurements.advice.counsel import Counsel
from measurements.words import advice_words, option_words, turn_words
from measurements.work.forms import (
    LOWER,
    RAISE,
    Change,
    Limits,
    joint_limits,
    tilt_for_turns,
)
from shop.figures import length_words

#: What the buttons add to the turns, in the order in which they stand.
STEPS = (Fraction(-1, 4), Fraction(-1, 8), Fraction(1, 8), Fraction(1, 4), Fraction(1, 2))
EIGHTHS = 8
NAMES = {
    1: "one eighth",
    2: "one quarter",
    3: "three eighths",
    4: "one half",
    5: "five eighths",
    6: "three quarters",
    7: "seven eighths",
    8: "one turn",
}
#: How far a move back goes past its place, to come up again on the pulling side. Common practice.
PAST = 1 / 8


def eighths_words(turns: float) -> str:
    """``three eighths``; a number with its fraction beyond one turn or between eighths."""
    count = abs(turns) * EIGHTHS
    if abs(count - round(count)) < 1e-6 and round(count) in NAMES:
        return NAMES[round(count)]
    return format_turns(abs(turns))


def turns_text(turns: float) -> str:
    """A number of turns as it stands in the box: ``3/8``, else with up to four digits."""
    size = abs(turns)
    if abs(size * 16 - round(size * 16)) < 1e-6:
        return format_turns(size).split(" turn")[0]
    return f"{size:.4g}"


@dataclass(frozen=True)
class Part:
    """One stretch of the bar of travel, in hundredths of it."""

    name: str
    start: float
    width: float


@dataclass(frozen=True)
class Travel:
    """The adjuster's travel in turns, as it stands and with what is about to be turned."""

    used: float
    left: float
    visit: float
    steps: int
    trial: float
    parts: tuple[Part, ...]

    @property
    def words(self) -> str:
        return _used_words(self.used, self.left)

    @property
    def visit_words(self) -> str:
        if not self.steps:
            return "Not turned yet on this visit."
        times = "1 step" if self.steps == 1 else f"{self.steps} steps"
        if not round(abs(self.visit) * 16):
            return f"This visit: {times}, in sum 0 turns."
        sense = "lower" if self.visit > 0 else "raise"
        return f"This visit: {format_turns(abs(self.visit))} to {sense} the action, in {times}."

    @property
    def trial_words(self) -> str:
        if not self.trial or self.left - self.trial < -HAIR or self.used + self.trial < -HAIR:
            return ""
        after = _used_words(self.used + self.trial, self.left - self.trial)
        return f"With this {format_turns(abs(self.trial))}: {after}"


def _used_words(used: float, left: float) -> str:
    """``1 3/8 turns of 2 1/2 used; 1 1/8 left.`` What is left is rounded down: it must be there."""
    eighths = max(round(used * EIGHTHS), 0)
    spare = max(int(np.floor(left * EIGHTHS + 1e-6)), 0)
    whole = format_turns((eighths + spare) / EIGHTHS).split(" turn")[0]
    rest = format_turns(spare / EIGHTHS).split(" turn")[0]
    return f"{format_turns(eighths / EIGHTHS)} of {whole} used; {rest} left."


def travel(joint: NeckJoint, turned: Sequence[float], trial: float = 0.0) -> Travel | None:
    """Travel of a tilting joint; None where its limits leave none.

    ``turned`` are the turns of this visit, ``trial`` those about to be made; positive lowers the action.
    """
    arm = joint_dimension("bolt_arm_mm", joint.bolt_arm_mm)
    pitch = joint_dimension("thread_pitch_mm", joint.thread_pitch_mm)
    least, now = joint.tilt_min_deg, joint.tilt_now_deg
    most = joint_dimension("tilt_max_deg", joint.tilt_max_deg)
    if most <= least:
        return None
    used = float(bolt_travel(now - least, arm, least)) / pitch
    left = float(bolt_travel(most - now, arm, now)) / pitch
    visit = float(sum(turned))
    return Travel(used, left, visit, len(turned), trial, _parts(used, used + left, visit, trial))


def _parts(used: float, total: float, visit: float, trial: float) -> tuple[Part, ...]:
    """What was used before, what this visit used, and what the turns in the box would use."""

    def stretch(name: str, one: float, other: float) -> Part:
        low, high = sorted(min(max(at / total * 100.0, 0.0), 100.0) for at in (one, other))
        return Part(name, round(low, 2), round(high - low, 2))

    before = used - max(visit, 0.0)
    parts = [
        stretch("before", 0.0, before),
        stretch("visit", before, used),
        stretch("trial", used, used + trial),
    ]
    return tuple(part for part in parts if part.width > 0)


@dataclass(frozen=True)
class TurnButton:
    """A button that adds to the turns in the box: what it is called, and what the sum leads to."""

    add: str
    label: str
    leads_to: str
    barred: bool


def turns_in(data: Mapping[str, Any]) -> float | None:
    """The turns that stand in the box, positive to lower the action; None where they are no number."""
    text = str(data.get("turns", "")).strip()
    try:
        size = parse_quantity(text, "turns").value if text else 0.0
    except ValueError:
        return None
    return -size if data.get("sense") == RAISE else size


def with_added(data: Mapping[str, Any], add: str) -> dict[str, Any]:
    """What was sent, with a button's step added to the turns in the box.

    ``add`` that is no button's empties the box; where the box holds no number it is left as it is.
    """
    sent = {name: data[name] for name in data}
    total = turns_in(sent)
    if total is None:
        return sent
    steps = {str(step): float(step) for step in STEPS}
    after = total + steps[add] if add in steps else 0.0
    box = turns_text(after) if abs(after) > HAIR else ""
    return sent | {"turns": box, "sense": RAISE if after < -HAIR else LOWER}


def turn_buttons(now: Counsel, total: float, unit: LengthUnit) -> list[TurnButton]:
    """The buttons beside the box, from the turns that stand in it."""
    limits = joint_limits(now.instrument.joint)
    return [_button(now, limits, total, step, unit) for step in STEPS]


def _button(
    now: Counsel, limits: Limits, total: float, fraction: Fraction, unit: LengthUnit
) -> TurnButton:
    add, step = str(fraction), float(fraction)
    after = total + step
    label = f"{format_turns(abs(step)).split(' turn')[0]} {'more' if step > 0 else 'back'}"
    joint = now.instrument.joint
    try:
        tilt = tilt_for_turns(joint, after, limits)
    except ValueError:
        return TurnButton(add, label, "past the end of its travel", True)
    foretold = now.foretell(Change(tilt - joint.tilt_now_deg, by_joint=True))
    if foretold is None:
        return TurnButton(add, label, f"{_signed_words(after)} in all", False)
    bass, treble = (length_words(float(mm), unit).split()[0] for mm in foretold.action_12_after_mm)
    return TurnButton(add, label, f"{bass} / {treble}", False)


def _signed_words(turns: float) -> str:
    if not turns:
        return "0"
    return f"{turns_text(turns)} {'lower' if turns > 0 else 'higher'}"


@dataclass(frozen=True)
class Verdict:
    """What to do next with the adjuster: a few words, a sentence, and the turns where there are any.

    ``key`` is turn, stop, measure, contradiction, first (something else comes first) or other (the adjuster
    does not serve); ``take_up`` says how a move back is finished.
    """

    key: str
    title: str
    words: str
    turns: float = 0.0
    take_up: str = ""


def take_up_words(turns: float, lowering_turn: str) -> str:
    """How to end on the pulling side; empty for a move that does so by itself."""
    if turns >= 0:
        return ""
    back, up = turn_words(turns - PAST, lowering_turn), turn_words(PAST, lowering_turn)
    return (
        f"A move back ends on the slack side: go past it, {back}, then come up again {up}, so that "
        f"the play in the bolt is taken up. Log the difference, {format_turns(abs(turns))}."
    )


def verdict(
    now: Counsel, option: Option | None, turned: Sequence[float], unit: LengthUnit
) -> Verdict:
    """The next move of the adjuster, from what was read last and what its turns have really done.

    ``option`` is the option that turns the adjuster, None where none does; ``turned`` are this visit's turns.
    Once the adjuster has been turned it is brought to its target before the nut: it moves fret 1 as well.
    """
    lowering = now.instrument.joint.lowering_turn
    reason = advice_words(now.advice, unit, lowering)
    reason = reason[:1].upper() + reason[1:]
    step = now.advice.first_step
    if step == "cannot_say":
        return Verdict("measure", "Measure more", reason)
    if now.facts.unmeasured[0]:
        words = "Nobody has measured since the last step. Measure before you turn on."
        return Verdict("measure", "Measure again", words)
    if step == "remeasure":
        if now.advice.reason_key == "contradiction":
            return Verdict("contradiction", "Stop: the readings contradict each other", reason)
        return Verdict("contradiction", "Stop: measure again", reason)
    if step == "relief" or (step == "nut" and not turned):
        return Verdict("first", f"{step.capitalize()} first", reason)
    if step == "none" or (step == "nut" and _on_target(now)):
        return Verdict("stop", "On target: stop", reason)
    if option is None or not option.turns:
        return _another_way(now, reason, turned, unit)
    return Verdict(
        "turn",
        _turn_title(option.turns, turned),
        _leads_to(option, lowering, unit),
        option.turns,
        take_up_words(option.turns, lowering),
    )


def _on_target(now: Counsel) -> bool:
    error = np.asarray(now.readings.action_12_mm) - np.asarray(now.targets.action_12_mm)
    return bool(np.all(np.abs(error) <= now.targets.action_tolerance_mm + HAIR))


def _turn_title(turns: float, turned: Sequence[float]) -> str:
    """``One eighth more``, as seen from the last turn of this visit."""
    amount = eighths_words(turns).capitalize()
    if not turned:
        return f"{amount} to {'lower' if turns > 0 else 'raise'} the action"
    return f"{amount} {'more' if (turns > 0) == (turned[-1] > 0) else 'back'}"


def _leads_to(option: Option, lowering: str, unit: LengthUnit) -> str:
    bass, treble = (length_words(float(mm), unit) for mm in option.action_12_after_mm)
    turn = turn_words(option.turns or 0.0, lowering)
    words = f"{turn} should bring fret 12 to {bass} bass, {treble} treble"
    if option.saddle_cut_mm.any():
        return f"{words}, with the saddle for the rest of each side afterwards."
    return f"{words}."


def _another_way(now: Counsel, reason: str, turned: Sequence[float], unit: LengthUnit) -> Verdict:
    """The adjuster does not serve: what does, or why nothing."""
    chosen = now.recommended
    if chosen is not None and chosen.key != "leave":
        words = option_words(chosen, unit, now.instrument.joint.lowering_turn)
        title = "Stop turning" if turned else "Leave the adjuster"
        return Verdict("other", title, f"What serves now is: {words}. {reason}")
    return Verdict("other", "No turn of the adjuster serves", reason)
