"""Sentences that reconcile a state, which looks at the years to come, with the advice, which looks at now."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.advice import Advice
from geometry.units import LengthUnit
from measurements.facts.arrays import DAYS_A_YEAR
from measurements.models import SIDES, Outlook, State
from measurements.words import reset_words, side_words
from shop.figures import length_words, month_words
from shop.phrases import listed, running_on

if TYPE_CHECKING:
    from measurements.advice.counsel import Counsel

#: Heights are read to a hundredth: a saddle this much below its floor stands on it. [mm]
ON_THE_FLOOR_MM = 0.005


def state_note(outlook: Outlook | None) -> str:
    """What is to be known beside a state, in a line; mostly nothing."""
    if outlook is None or outlook.state == State.UNKNOWN or outlook.saddle_room_mm is None:
        return ""
    parts = []
    saddle, joint = outlook.saddle_room_mm, outlook.joint_room_mm or 0.0
    if saddle <= 0 < saddle + joint:
        spent = outlook.saddle_spent_likely is not None and (
            outlook.saddle_spent_likely <= outlook.as_of
        )
        parts.append(
            _("in the joint: the saddle is spent, the joint carries it")
            if spent
            else _("in the joint: by the newest reading the saddle has none left")
        )
    if outlook.remeasure:
        parts.append(_("by all readings so far; the newest are to be taken again"))
    return "; ".join(parts)


def head_words(now: Counsel) -> str:
    """The advice in two or three words; of nothing to do it says for what, where more is to be said.

    It rests on the advice's own dates and rooms, not on a stored outlook, so that it is the same while
    the readings are typed.
    """
    if now.advice.first_step != "none":
        return _(HEADS.get(now.advice.first_step, LOOK_AGAIN))
    leave = next(option for option in now.advice.options if option.key == "leave")
    more = leave.saddle_room_after_mm <= 0 or sides_below_floor(now) or _is_pressing(now)
    return _("Nothing to do for the action now") if more else _("Nothing to do")


def _is_pressing(now: Counsel) -> bool:
    """Whether the reset, all being left as it is, is due or to be booked."""
    likely = now.option_dates.get("leave", {}).get("reset_likely")
    ahead = timedelta(days=now.profile.book_within_years * DAYS_A_YEAR)
    return likely is not None and likely - now.today <= ahead


HEADS = {
    "remeasure": gettext_noop("Stop and measure again"),
    "relief": gettext_noop("Relief first"),
    "nut": gettext_noop("Nut first"),
    "cannot_say": gettext_noop("Measure more"),
}
LOOK_AGAIN = gettext_noop("Look again")


def sides_below_floor(now: Counsel) -> list[tuple[str, float]]:
    """Sides on which the saddle stands below the shop's floor, and how high it stands there. [mm]"""
    floor = now.profile.saddle_floor_mm
    heights = zip(SIDES, now.facts.saddle_mm[0], strict=True)
    return [(side, float(mm)) for side, mm in heights if mm < floor - ON_THE_FLOOR_MM]


def floor_words(now: Counsel, outlook: Outlook, unit: LengthUnit) -> str:
    """That the saddle stands below its floor; where nothing else is to be done, what would raise it."""
    below = sides_below_floor(now)
    if not below:
        return ""
    floor = now.profile.saddle_floor_mm
    said = _("The saddle stands %(heights)s, below the shop's floor of %(floor)s.") % {
        "heights": listed([_side_height(side, mm, unit) for side, mm in below]),
        "floor": length_words(floor, unit),
    }
    if now.advice.first_step != "none":
        return said
    lacking = floor - min(mm for _side, mm in below)
    if (outlook.joint_room_mm or 0.0) >= lacking:
        way = _(
            "The action is on target and needs nothing done; a saddle at least %(height)s taller, "
            "with the neck tilted back at its joint to suit, would bring it above the floor (see "
            "What if)."
        ) % {"height": length_words(lacking, unit)}
    else:
        way = _(
            "The action is on target and needs nothing done; only a neck reset makes room for a "
            "taller one."
        )
    return f"{said} {way}"


def _side_height(side: str, mm: float, unit: LengthUnit) -> str:
    words = {"height": length_words(mm, unit), "side": side_words(side)}
    return _("%(height)s on the %(side)s") % words


def notes_on(now: Counsel, outlook: Outlook, unit: LengthUnit) -> list[str]:
    """What a practitioner should know beside the advice."""
    notes = []
    if now.facts.unmeasured[0]:
        notes.append(
            _(
                "Work was logged after the last readings. The figures here are what they should be "
                "now: measure again before the next step."
            )
        )
    low = floor_words(now, outlook, unit)
    notes += [low] if low else []
    later = outlook.saddle_spent_likely is None or outlook.saddle_spent_likely > outlook.as_of
    if outlook.saddle_room_mm is not None and outlook.saddle_room_mm <= 0 and later:
        notes.append(
            _("The newest reading stands above the trend; the dates rest on all readings.")
        )
    return notes


def reset_head(advice: Advice, outlook: Outlook | None, step: str) -> str:
    """What the reset sheet says where the advice is another step; ``step`` is that step in words."""
    if advice.recommended == "reset":
        return ""
    state = None if outlook is None else outlook.state
    if outlook is None or state not in (State.OVERDUE, State.BOOK):
        return _(
            "The advice is another step than a reset just now; "
            "these are the figures should one be done."
        )
    if state == State.OVERDUE and outlook.reset_likely is not None:
        month = {"month": month_words(outlook.reset_likely)}
        due = _("The reset is due (overdue since %(month)s).") % month
    else:
        due = _("The reset is to be booked: likely %(when)s.") % {"when": reset_words(outlook)}
    if advice.first_step == "none":
        until = _("Until it is done the action needs nothing.")
        return f"{due} {until} {step}"
    if advice.first_step in ("relief", "nut") or advice.recommended not in ("", "leave"):
        until = _("Until it is done, this keeps the instrument going: %(step)s")
        return f"{due} {until % {'step': running_on(step)}}"
    return f"{due} {step}"
