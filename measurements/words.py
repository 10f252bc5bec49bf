"""Plain sentences for facts and conclusions; the page, the report and the charts share them."""

import re
from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.advice import Advice, Option
from geometry.balance import Suspect
from geometry.reasons import REASONS
from geometry.units import LengthUnit
from instruments.models import Turn
from measurements.facts.arrays import HORIZON_YEARS
from measurements.models import SIDES, Outlook, Side, State, Work, WorkKind
from shop.figures import decimal, length_words, month_words, turns_words


def side_words(side: str) -> str:
    """``bass`` or ``treble`` in the reader's language."""
    return str(Side(side).label)


def change_words(before: float | None, after: float | None, unit: LengthUnit) -> str:
    """``3.00 mm → 2.60 mm``, or what is known of it."""
    if after is None:
        return ""
    if before is None:
        return _("to %(length)s") % {"length": length_words(after, unit)}
    return f"{length_words(before, unit)} → {length_words(after, unit)}"


def angle_words(angle_deg: float | None) -> str:
    """``−0.41°``: a true minus sign, and none before a zero."""
    if angle_deg is None:
        return "–"
    return f"{decimal(angle_deg, 2)}°"


def turn_words(turns: float, lowering_turn: str) -> str:
    """``3/4 turn clockwise``: the way the hand turns, from the joint's own direction."""
    amount = {"turns": _turns(turns)}
    if (lowering_turn == Turn.CLOCKWISE) == (turns >= 0):
        return _("%(turns)s clockwise") % amount
    return _("%(turns)s anticlockwise") % amount


def _turns(turns: float) -> str:
    """A number of turns as a fraction where it is one, else with two decimals."""
    size = abs(turns)
    whole = abs(size * 16 - round(size * 16)) < 1e-6
    return turns_words(size) if whole else turns_words(size, decimal(size, 2))


def work_words(work: Work, unit: LengthUnit = "mm") -> str:
    """What was done, in one line."""
    if work.kind == WorkKind.JOINT:
        return _joint_words(work, unit)
    if work.kind == WorkKind.SADDLE:
        return _("Saddle: %(changes)s") % {
            "changes": _both_sides(
                unit,
                (work.saddle_bass_from_mm, work.saddle_bass_to_mm),
                (work.saddle_treble_from_mm, work.saddle_treble_to_mm),
            )
        }
    if work.kind == WorkKind.RELIEF:
        change = change_words(work.relief_from_mm, work.relief_to_mm, unit)
        return (_("Relief %(change)s") % {"change": change}).strip()
    if work.kind == WorkKind.NUT:
        sides = ((None, work.nut_bass_to_mm), (None, work.nut_treble_to_mm))
        return _("Nut, action at 1: %(changes)s") % {"changes": _both_sides(unit, *sides)}
    if work.kind == WorkKind.RESET:
        return _reset_words(work, unit)
    return work.notes or _("Other work")


def _reset_words(work: Work, unit: LengthUnit) -> str:
    parts = [_("Neck reset")]
    if work.wedge_mm is not None:
        parts.append(_("wedge %(length)s") % {"length": length_words(work.wedge_mm, unit)})
    saddles = (work.saddle_bass_to_mm, work.saddle_treble_to_mm)
    if saddles != (None, None):
        changes = _both_sides(unit, *((None, mm) for mm in saddles))
        parts.append(_("saddle %(changes)s") % {"changes": changes})
    return ", ".join(parts)


def _joint_words(work: Work, unit: LengthUnit) -> str:
    change = f"{angle_words(work.tilt_from_deg)} → {angle_words(work.tilt_to_deg)}"
    tilt = _("tilt %(change)s") % {"change": change}
    if work.turns is not None:
        amount = {"turns": _turns(work.turns), "tilt": tilt}
        if work.turns >= 0:
            return _("Adjuster %(turns)s to lower the action, %(tilt)s") % amount
        return _("Adjuster %(turns)s to raise the action, %(tilt)s") % amount
    if work.shim_to_mm is not None:
        shim = change_words(work.shim_from_mm, work.shim_to_mm, unit)
        return _("Shim %(change)s, %(tilt)s") % {"change": shim, "tilt": tilt}
    return _("Neck angle, %(tilt)s") % {"tilt": tilt}


def _both_sides(unit: LengthUnit, *sides: tuple[float | None, float | None]) -> str:
    parts = [
        f"{side_words(name)} {change_words(before, after, unit)}"
        for name, (before, after) in zip(SIDES, sides, strict=True)
        if after is not None
    ]
    return ", ".join(parts) or _("worked on")


def when_words(dates: Sequence[date | None], today: date) -> str:
    """``2031 (2028 to 2037)``, or months where a date is near; ``dates`` are early, likely, late."""
    early, likely, late = dates
    if likely is not None and likely <= today:
        if late is None or late <= today:
            return _("now")
        return _("now, at the latest %(late)s") % {"late": _when(late, today)}
    if likely is None:
        if early is None:
            return _("not within %(years)d years") % {"years": HORIZON_YEARS}
        return _("likely after %(year)d, at the earliest %(early)s") % {
            "year": today.year + HORIZON_YEARS,
            "early": _when(early, today),
        }
    beyond = _("more than %(years)d years") % {"years": HORIZON_YEARS}
    return _("%(likely)s (%(early)s to %(late)s)") % {
        "likely": _when(likely, today),
        "early": _when(early, today),
        "late": beyond if late is None else _when(late, today),
    }


def _when(day: date | None, today: date) -> str:
    if day is None:
        return _("later")
    if day <= today:
        return _("now")
    if (day - today).days < 730:
        return month_words(day)
    return f"{day:%Y}"


def booking_words(outlook: Outlook) -> str:
    """What the owner is to be told when a reset is near, whatever keeps the instrument going till then."""
    if outlook.state == State.OVERDUE:
        return _(
            "Book the neck reset: it is due. What follows keeps the instrument going until then."
        )
    if outlook.state == State.BOOK:
        return _("Book the neck reset: likely %(when)s.") % {"when": reset_words(outlook)}
    return ""


def reset_words(outlook: Outlook) -> str:
    if outlook.state == State.UNKNOWN:
        return "–"
    return when_words(
        (outlook.reset_early, outlook.reset_likely, outlook.reset_late), outlook.as_of
    )


def saddle_words(outlook: Outlook) -> str:
    if outlook.state == State.UNKNOWN:
        return "–"
    return when_words(
        (outlook.saddle_spent_early, outlook.saddle_spent_likely, outlook.saddle_spent_late),
        outlook.as_of,
    )


def advice_words(advice: Advice, unit: LengthUnit, lowering_turn: str) -> str:
    """The advice's one sentence in the reader's unit, with the way the screw turns."""
    values = advice.reason_values

    def in_figures(match: re.Match[str]) -> str:
        name, places, length = match.groups()
        return length_words(values[name], unit) if length else decimal(values[name], int(places))

    sentence = re.sub(r"\{(\w+):\.(\d)f\}( mm)?", in_figures, _(REASONS[advice.reason_key]))
    turns = values.get("turns", 0.0)
    return sentence.format(
        side=side_words(advice.reason_side) if advice.reason_side else "",
        turns_text=turn_words(turns, lowering_turn),
    )


def option_words(option: Option, unit: LengthUnit, lowering_turn: str) -> str:
    """What an option asks the hand to do: ``3/8 turn clockwise; saddle bass −0.25 mm``."""
    parts = []
    if option.turns:
        parts.append(turn_words(option.turns, lowering_turn))
    if option.shim_mm is not None and option.tilt_change_deg:
        parts.append(_("shim %(length)s") % {"length": length_words(option.shim_mm, unit)})
    if option.key == "reset":
        parts.append(
            _("reset by %(angle)s, wedge %(wedge)s")
            % {
                "angle": angle_words(option.tilt_change_deg),
                "wedge": length_words(option.wedge_mm, unit),
            }
        )
    for side, cut in zip(SIDES, option.saddle_cut_mm, strict=True):
        where = {"amount": length_words(abs(float(cut)), unit), "side": side_words(side)}
        if cut > 0:
            parts.append(_("lower the saddle by %(amount)s on the %(side)s") % where)
        elif cut < 0:
            parts.append(_("a saddle %(amount)s taller on the %(side)s") % where)
    return "; ".join(parts) or _("nothing")


OPTION_TITLES = {
    "leave": gettext_noop("Leave it"),
    "saddle": gettext_noop("Saddle only"),
    "tilt": gettext_noop("Neck angle only"),
    "tilt_and_saddle": gettext_noop("Neck angle, then saddle"),
    "reset": gettext_noop("Neck reset"),
}


READING_NAMES = {
    "action_1": gettext_noop("action at fret 1"),
    "action_12": gettext_noop("action at fret 12"),
    "saddle": gettext_noop("saddle"),
    "bridge_rise": gettext_noop("bridge rise"),
    "relief": gettext_noop("relief"),
}


def _reading_words(name: str) -> str:
    """``action_12_bass`` as ``action at fret 12, bass``."""
    for ending in SIDES:
        if name.endswith(f"_{ending}"):
            reading = _(READING_NAMES[name.removesuffix(f"_{ending}")])
            return f"{reading}, {side_words(ending)}"
    if name.endswith("_swapped"):
        reading = _(READING_NAMES[name.removesuffix("_swapped")])
        return _("%(reading)s, bass and treble swapped") % {"reading": reading}
    return _(READING_NAMES[name])


#: Which reading may be wrong, by the slip that geometry recognises in it.
SLIPS: dict[str, str] = {
    "": gettext_noop("%(reading)s, if it should read %(length)s"),
    "decimal point": gettext_noop(
        "%(reading)s, if it should read %(length)s (a slip of the decimal point?)"
    ),
    "unit": gettext_noop("%(reading)s, if it should read %(length)s (a slip of the unit?)"),
    "sign": gettext_noop("%(reading)s, if it should read %(length)s (a slip of the sign?)"),
}


def suspect_words(suspect: Suspect, unit: LengthUnit) -> str:
    """Which reading may be wrong, what it should then read, and how the slip may have come about."""
    name = _reading_words(suspect.name)
    if suspect.slip == "swapped":
        return name
    return _(SLIPS[suspect.slip]) % {
        "reading": name,
        "length": length_words(suspect.should_read_mm, unit),
    }


def assumption_words(advice: Advice, unit: LengthUnit) -> list[str]:
    """What was taken for each reading that was not measured."""
    return [
        f"{_reading_words(name)}: {length_words(value, unit)}"
        for name, value in advice.assumed_mm.items()
    ]
