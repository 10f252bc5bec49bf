"""The adjuster, step by step: how much of its travel is used, what each turn leads to, when to stop."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from geometry.advice import Option
from geometry.joint import bolt_travel
from geometry.moves import HAIR
from geometry.units import LengthUnit, parse_quantity
from instruments.defaults import joint_dimension
from instruments.models import NeckJoint
from measurements.advice.change import Change
from measurements.advice.counsel import Counsel
from measurements.words import advice_words, option_words, turn_words
from measurements.work.forms import LOWER, RAISE
from measurements.work.joint_reach import EIGHTHS, Limits, joint_limits, tilt_for_turns
from shop.fields import in_box
from shop.figures import as_meant, length_words, turns_figure, turns_words

#: What the buttons add to the turns, in the order in which they stand.
STEPS = (Fraction(-1, 4), Fraction(-1, 8), Fraction(1, 8), Fraction(1, 4), Fraction(1, 2))
NAMES = {
    1: gettext_noop("one eighth"),
    2: gettext_noop("one quarter"),
    3: gettext_noop("three eighths"),
    4: gettext_noop("one half"),
    5: gettext_noop("five eighths"),
    6: gettext_noop("three quarters"),
    7: gettext_noop("seven eighths"),
    8: gettext_noop("one turn"),
}
#: How far a move back goes past its place, to come up again on the pulling side. Common practice.
PAST = 1 / 8


def eighths_words(turns: float) -> str:
    """``three eighths``; a number with its fraction beyond one turn or between eighths."""
    count = abs(turns) * EIGHTHS
    if abs(count - round(count)) < 1e-6 and round(count) in NAMES:
        return _(NAMES[round(count)])
    return turns_words(abs(turns))


def turns_text(turns: float) -> str:
    """A number of turns as it stands in the box: ``3/8``, else with up to four digits."""
    size = abs(turns)
    if abs(size * 16 - round(size * 16)) < 1e-6:
        return turns_figure(size)
    return in_box(f"{size:.4g}", _turns)


def _turns(text: str) -> float:
    return parse_quantity(as_meant(text), "turns").value


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
            return _("Not turned yet on this visit.")
        if not round(abs(self.visit) * 16):
            words = ngettext(
                "This visit: %(count)s step, in sum 0 turns.",
                "This visit: %(count)s steps, in sum 0 turns.",
                self.steps,
            )
        elif self.visit > 0:
            words = ngettext(
                "This visit: %(turns)s to lower the action, in %(count)s step.",
                "This visit: %(turns)s to lower the action, in %(count)s steps.",
                self.steps,
            )
        else:
            words = ngettext(
                "This visit: %(turns)s to raise the action, in %(count)s step.",
                "This visit: %(turns)s to raise the action, in %(count)s steps.",
                self.steps,
            )
        return words % {"turns": turns_words(abs(self.visit)), "count": self.steps}

    @property
    def trial_words(self) -> str:
        if not self.trial or self.left - self.trial < -HAIR or self.used + self.trial < -HAIR:
            return ""
        after = _used_words(self.used + self.trial, self.left - self.trial)
        return _("With this %(turns)s: %(after)s") % {
            "turns": turns_words(abs(self.trial)),
            "after": after,
        }


def _used_words(used: float, left: float) -> str:
    """``1 3/8 turns of 2 1/2 used; 1 1/8 left.`` What is left is rounded down: it must be there."""
    eighths = max(round(used * EIGHTHS), 0)
    spare = max(int(np.floor(left * EIGHTHS + 1e-6)), 0)
    return _("%(used)s of %(whole)s used; %(left)s left.") % {
        "used": turns_words(eighths / EIGHTHS),
        "whole": turns_figure((eighths + spare) / EIGHTHS),
        "left": turns_figure(spare / EIGHTHS),
    }


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
        size = _turns(text) if text else 0.0
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
    label = (_("%(turns)s more") if step > 0 else _("%(turns)s back")) % {
        "turns": turns_figure(abs(step))
    }
    joint = now.instrument.joint
    try:
        tilt = tilt_for_turns(joint, after, limits)
    except ValueError:
        only_back = joint.one_way and step < 0
        why = _("only what was just turned") if only_back else _("past the end of its travel")
        return TurnButton(add, label, why, True)
    foretold = now.foretell(Change(tilt - joint.tilt_now_deg, by_joint=True))
    if foretold is None:
        return TurnButton(add, label, _in_all_words(after), False)
    bass, treble = (length_words(float(mm), unit).split()[0] for mm in foretold.action_12_after_mm)
    return TurnButton(add, label, f"{bass} / {treble}", False)


def _in_all_words(turns: float) -> str:
    if not turns:
        return _("0 in all")
    words = _("%(turns)s lower in all") if turns > 0 else _("%(turns)s higher in all")
    return words % {"turns": turns_text(turns)}


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
    return _(
        "A move back ends on the slack side: go past it, %(back)s, then come up again %(up)s, so "
        "that the play in the bolt is taken up. Log the difference, %(turns)s."
    ) % {"back": back, "up": up, "turns": turns_words(abs(turns))}


def verdict(
    now: Counsel, option: Option | None, turned: Sequence[float], unit: LengthUnit
) -> Verdict:
    """The next move of the adjuster, from what was read last and what its turns have really done.

    ``option`` is the option that turns the adjuster, None where none does; ``turned`` are this visit's turns.
    Once the adjuster has been turned it is brought to its target before the nut: it moves fret 1 as well.
    """
    lowering = now.instrument.joint.lowering_turn
    reason = capfirst(advice_words(now.advice, unit, lowering))
    step = now.advice.first_step
    if step == "cannot_say":
        return Verdict("measure", _("Measure more"), reason)
    if now.facts.unmeasured[0]:
        words = _("Nobody has measured since the last step. Measure before you turn on.")
        return Verdict("measure", _("Measure again"), words)
    if step == "remeasure":
        if now.advice.reason_key == "contradiction":
            title = _("Stop: the readings contradict each other")
            return Verdict("contradiction", title, reason)
        return Verdict("contradiction", _("Stop: measure again"), reason)
    if step == "relief":
        return Verdict("first", _("Relief first"), reason)
    if step == "nut" and not turned:
        return Verdict("first", _("Nut first"), reason)
    if step == "none" or (step == "nut" and _on_target(now)):
        return Verdict("stop", _("On target: stop"), reason)
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
    amount = eighths_words(turns)
    if not turned:
        words = (
            _("%(turns)s to lower the action") if turns > 0 else _("%(turns)s to raise the action")
        )
    else:
        onward = (turns > 0) == (turned[-1] > 0)
        words = _("%(turns)s more") if onward else _("%(turns)s back")
    return capfirst(words % {"turns": amount})


def _leads_to(option: Option, lowering: str, unit: LengthUnit) -> str:
    bass, treble = (length_words(float(mm), unit) for mm in option.action_12_after_mm)
    if option.saddle_cut_mm.any():
        words = _(
            "%(turn)s should bring fret 12 to %(bass)s bass, %(treble)s treble, "
            "with the saddle for the rest of each side afterwards."
        )
    else:
        words = _("%(turn)s should bring fret 12 to %(bass)s bass, %(treble)s treble.")
    turn = turn_words(option.turns or 0.0, lowering)
    return words % {"turn": turn, "bass": bass, "treble": treble}


def _another_way(now: Counsel, reason: str, turned: Sequence[float], unit: LengthUnit) -> Verdict:
    """The adjuster does not serve: what does, or why nothing."""
    chosen = now.recommended
    if chosen is not None and chosen.key != "leave":
        words = option_words(chosen, unit, now.instrument.joint.lowering_turn)
        title = _("Stop turning") if turned else _("Leave the adjuster")
        serves = _("What serves now is: %(option)s.") % {"option": words}
        return Verdict("other", title, f"{serves} {reason}")
    return Verdict("other", _("No turn of the adjuster serves"), reason)
