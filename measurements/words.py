"""Plain sentences for facts and conclusions; the page, the report and the charts share them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from geometry.advice import Advice, Option
from geometry.balance import Suspect
from geometry.reasons import REASONS
from geometry.units import LengthUnit, format_turns
from instruments.models import Turn
from measurements.facts.arrays import HORIZON_YEARS
from measurements.models import SIDES, Outlook, State, Work, WorkKind
from shop.figures import day_words, length_words, month_words

if TYPE_CHECKING:
    from measurements.forecast.movement import Coverage


def change_words(before: float | None, after: float | None, unit: LengthUnit) -> str:
    """``3.00 mm → 2.60 mm``, or what is known of it."""
    if after is None:
        return ""
    if before is None:
        return f"to {length_words(after, unit)}"
    return f"{length_words(before, unit)} → {length_words(after, unit)}"


def angle_words(angle_deg: float | None) -> str:
    """``−0.41°``: a true minus sign, and none before a zero."""
    if angle_deg is None:
        return "–"
    return f"{round(angle_deg, 2) + 0.0:.2f}°".replace("-", "−")


def turn_words(turns: float, lowering_turn: str) -> str:
    """``3/4 turn clockwise``: the way the hand turns, from the joint's own direction."""
    other = {Turn.CLOCKWISE: Turn.ANTICLOCKWISE, Turn.ANTICLOCKWISE: Turn.CLOCKWISE}
    way = lowering_turn if turns >= 0 else other[Turn(lowering_turn)]
    return f"{_turns(turns)} {way}"


def _turns(turns: float) -> str:
    """A number of turns as a fraction where it is one, else with two decimals."""
    size = abs(turns)
    if abs(size * 16 - round(size * 16)) < 1e-6:
        return format_turns(size)
    return f"{size:.2f} turn{'s' if size > 1 else ''}"


def work_words(work: Work, unit: LengthUnit = "mm") -> str:
    """What was done, in one line."""
    if work.kind == WorkKind.JOINT:
        return _joint_words(work, unit)
    if work.kind == WorkKind.SADDLE:
        return "Saddle: " + _both_sides(
            unit,
            (work.saddle_bass_from_mm, work.saddle_bass_to_mm),
            (work.saddle_treble_from_mm, work.saddle_treble_to_mm),
        )
    if work.kind == WorkKind.RELIEF:
        return f"Relief {change_words(work.relief_from_mm, work.relief_to_mm, unit)}".strip()
    if work.kind == WorkKind.NUT:
        return "Nut, action at 1: " + _both_sides(
            unit, (None, work.nut_bass_to_mm), (None, work.nut_treble_to_mm)
        )
    if work.kind == WorkKind.RESET:
        wedge = "" if work.wedge_mm is None else f", wedge {length_words(work.wedge_mm, unit)}"
        saddles = (work.saddle_bass_to_mm, work.saddle_treble_to_mm)
        if saddles == (None, None):
            return f"Neck reset{wedge}"
        return f"Neck reset{wedge}, saddle " + _both_sides(unit, *((None, mm) for mm in saddles))
    return work.notes or "Other work"


def _joint_words(work: Work, unit: LengthUnit) -> str:
    tilt = f"tilt {angle_words(work.tilt_from_deg)} → {angle_words(work.tilt_to_deg)}"
    if work.turns is not None:
        sense = "lower" if work.turns >= 0 else "raise"
        return f"Adjuster {_turns(work.turns)} to {sense} the action, {tilt}"
    if work.shim_to_mm is not None:
        return f"Shim {change_words(work.shim_from_mm, work.shim_to_mm, unit)}, {tilt}"
    return f"Neck angle, {tilt}"


def _both_sides(unit: LengthUnit, *sides: tuple[float | None, float | None]) -> str:
    parts = [
        f"{name} {change_words(before, after, unit)}"
        for name, (before, after) in zip(SIDES, sides, strict=True)
        if after is not None
    ]
    return ", ".join(parts) or "worked on"


def when_words(dates: Sequence[date | None], today: date) -> str:
    """``2031 (2028 to 2037)``, or months where a date is near; ``dates`` are early, likely, late."""
    early, likely, late = dates
    beyond = f"more than {HORIZON_YEARS} years"
    if likely is not None and likely <= today:
        return (
            "now" if late is None or late <= today else f"now, at the latest {_when(late, today)}"
        )
    if likely is None:
        if early is None:
            return f"not within {HORIZON_YEARS} years"
        return f"likely after {today.year + HORIZON_YEARS}, at the earliest {_when(early, today)}"
    upper = beyond if late is None else _when(late, today)
    return f"{_when(likely, today)} ({_when(early, today)} to {upper})"


def _when(day: date | None, today: date) -> str:
    if day is None:
        return "later"
    if day <= today:
        return "now"
    if (day - today).days < 730:
        return month_words(day)
    return f"{day:%Y}"


def booking_words(outlook: Outlook) -> str:
    """What the owner is to be told when a reset is near, whatever keeps the instrument going till then."""
    if outlook.state == State.OVERDUE:
        return "Book the neck reset: it is due. What follows keeps the instrument going until then."
    if outlook.state == State.BOOK:
        return f"Book the neck reset: likely {reset_words(outlook)}."
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

    def in_unit(match: re.Match[str]) -> str:
        return length_words(values[match[1]], unit)

    sentence = re.sub(r"\{(\w+_mm):\.2f\} mm", in_unit, REASONS[advice.reason_key])
    turns = values.get("turns", 0.0)
    return sentence.format(
        side=advice.reason_side, turns_text=turn_words(turns, lowering_turn), **values
    )


def option_words(option: Option, unit: LengthUnit, lowering_turn: str) -> str:
    """What an option asks the hand to do: ``3/8 turn clockwise; saddle bass −0.25 mm``."""
    parts = []
    if option.turns:
        parts.append(turn_words(option.turns, lowering_turn))
    if option.shim_mm is not None and option.tilt_change_deg:
        parts.append(f"shim {length_words(option.shim_mm, unit)}")
    if option.key == "reset":
        parts.append(
            f"reset by {angle_words(option.tilt_change_deg)}, "
            f"wedge {length_words(option.wedge_mm, unit)}"
        )
    for side, cut in zip(SIDES, option.saddle_cut_mm, strict=True):
        if cut:
            amount = length_words(abs(float(cut)), unit)
            parts.append(
                f"lower the saddle by {amount} on the {side}"
                if cut > 0
                else f"a saddle {amount} taller on the {side}"
            )
    return "; ".join(parts) or "nothing"


OPTION_TITLES = {
    "leave": "Leave it",
    "saddle": "Saddle only",
    "tilt": "Neck angle only",
    "tilt_and_saddle": "Neck angle, then saddle",
    "reset": "Neck reset",
}


def basis_words(outlook: Outlook, covered: Coverage | None = None) -> str:
    """How sure the outlook is, and why; ``covered`` says over which years and seasons."""
    count = outlook.readings
    if not count:
        return ""
    basis = outlook.basis
    parts = [f"{count} reading{'' if count == 1 else 's'} of the bridge rise"]
    if covered is not None and count > 1:
        parts[0] += f" over {_span_words(covered.span_years)}, {SEASONS[covered.seasons]}"
    dry = count - basis.get("humidity_known", 0)
    if dry:
        parts.append(f"{dry} without humidity")
    if basis.get("origin_assumed"):
        parts.append("build year unknown and assumed, which widens the range")
    elif basis.get("age_sd_years"):
        parts.append("build year a guess, which widens the range")
    if basis.get("assumed"):
        parts.append(f"assumed: {', '.join(basis['assumed'])}")
    sentences = [f"Rests on {'; '.join(parts)}."]
    if count < 3:
        sentences.append(
            "With so few the range is wide: it is mostly what is usual for such instruments."
        )
    elif covered is not None:
        sentences += _doubts(covered)
    if covered is not None and covered.held_down:
        sentences.append(_held_down_words(covered.held_down))
    return " ".join(sentences)


SEASONS = (
    "",
    "all in one season of the year",
    "in two seasons of the year",
    "in three seasons of the year",
    "in all four seasons",
)
#: Readings over fewer years than this say little of how the lift slows. Planning default, no source.
SHORT_YEARS = 3.0


def _span_words(years: float) -> str:
    """``12 years``, ``7 months`` or ``3 days``."""
    for amount, word in ((years, "year"), (years * 12, "month"), (years * 365.25, "day")):
        if amount >= (1.95 if word == "year" else 1.0):
            count = round(amount)
            return f"{count} {word}{'' if count == 1 else 's'}"
    return "one day"


def _doubts(covered: Coverage) -> list[str]:
    doubts = []
    if covered.seasons == 1:
        doubts.append("Readings in one season cannot tell season from lift, so the range is wide.")
    if covered.span_years < SHORT_YEARS:
        doubts.append("So short a time says little of how the lift slows, so the range is wide.")
    return doubts


def _held_down_words(days: Sequence[date]) -> str:
    """Which readings count for little, by their dates."""
    named = [day_words(day) for day in days]
    listed = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
    if len(named) == 1:
        return f"The reading of {listed} does not fit the others and counts for little."
    return f"The readings of {listed} do not fit the others and count for little."


READING_NAMES = {
    "action_1": "action at fret 1",
    "action_12": "action at fret 12",
    "saddle": "saddle",
    "bridge_rise": "bridge rise",
    "relief": "relief",
}


def _reading_words(name: str) -> str:
    """``action_12_bass`` as ``action at fret 12, bass``."""
    for ending in ("_bass", "_treble"):
        if name.endswith(ending):
            return f"{READING_NAMES[name.removesuffix(ending)]}, {ending[1:]}"
    if name.endswith("_swapped"):
        return f"{READING_NAMES[name.removesuffix('_swapped')]}, bass and treble swapped"
    return READING_NAMES[name]


def suspect_words(suspect: Suspect, unit: LengthUnit) -> str:
    """Which reading may be wrong, what it should then read, and how the slip may have come about."""
    name = _reading_words(suspect.name)
    if suspect.slip == "swapped":
        return name
    slip = f" (a slip of the {suspect.slip}?)" if suspect.slip else ""
    return f"{name}, if it should read {length_words(suspect.should_read_mm, unit)}{slip}"


def assumption_words(advice: Advice, unit: LengthUnit) -> list[str]:
    """What was taken for each reading that was not measured."""
    return [
        f"{_reading_words(name)}: {length_words(value, unit)}"
        for name, value in advice.assumed_mm.items()
    ]
