"""The service report in plain words: for people who own an instrument, not for people who repair it."""

from collections.abc import Sequence
from datetime import date

import numpy as np

from geometry.advice import Advice, Option
from geometry.readings import Targets
from geometry.units import LengthUnit, format_turns
from measurements.drawings.side_view import SIDES, Measured
from measurements.facts.arrays import HORIZON_YEARS
from measurements.models import Outlook, State, Work, WorkKind
from measurements.words import change_words
from shop.figures import length_words

DUE_NOW = "due now"

CARE = (
    "Keep the instrument at 45 to 55 % relative humidity, in its case when it is not being played; "
    "a small hygrometer in the case tells you.",
    "Below 40 % the top sinks and can crack; above 70 % it swells, the strings stand higher and glue "
    "can soften. Keep it away from heaters, from the sun and from a hot car.",
    "A change of season moves the strings a little and is nothing to worry about. A sudden change, a "
    "buzz or a bridge that lifts at its edge is: please bring the instrument in.",
)
CAUTIONS = (
    "What is said here of the future is an estimate from readings, not a promise. It is checked by "
    "measuring again.",
    "Work at the neck joint is for a trained repairer, with the strings slackened first. Strings "
    "under tension can snap: protect your eyes.",
    "The maker's own instructions and warranty come first.",
    "Some older instruments hold ivory, tortoiseshell or protected woods: check the local rules before "
    "they are sold, sent or taken abroad.",
)
GLOSSARY = (
    ("Action", "the gap between a string and a fret: how high the strings stand."),
    ("Relief", "the slight forward bow of the neck that lets the strings swing freely."),
    (
        "Bridge rise",
        "how far the bridge stands above the line of the frets; years of pull raise it.",
    ),
    (
        "Saddle",
        "the strip, often of bone, in the bridge that carries the strings; it can be lowered.",
    ),
    ("Room", "how much further the bridge can rise before lowering the saddle no longer helps."),
    ("Neck reset", "setting the neck at a new angle, so that a taller saddle fits again."),
)


def outlook_words(outlook: Outlook, unit: LengthUnit) -> list[str]:
    """The room left, and what to expect when, with its range."""
    if outlook.state == State.UNKNOWN or outlook.saddle_room_mm is None:
        return ["There are not enough readings yet to say how the instrument will move."]
    today = outlook.as_of
    room, by_joint = outlook.saddle_room_mm, outlook.joint_room_mm or 0.0
    reset = around(*_dates(outlook, "reset"), today)
    words = ["The strings' pull slowly raises the bridge."]
    if room > 0:
        words.append(
            f"It can rise by another {length_words(room, unit)} before the saddle cannot be lowered "
            "any further."
        )
    else:
        words.append(
            "By the newest measurements the saddle cannot usefully be lowered any further."
        )
    if by_joint > 0:
        words.append(
            f"The adjustable neck joint can make up for another {length_words(by_joint, unit)}."
        )
    due = outlook.reset_likely is not None and outlook.reset_likely <= today
    if outlook.reset_likely is None or due or (room <= 0 and by_joint <= 0):
        words.append(f"A neck reset is {reset}.")
    else:
        words.append(f"After that the neck needs a reset: {reset}.")
    if outlook.remeasure:
        words.append(
            "The newest measurements do not fit the earlier ones and are to be taken again."
        )
    elif room <= 0 and (outlook.reset_likely is None or outlook.reset_likely > today):
        words.append("The dates rest on all measurements, not on the newest alone.")
    if outlook.readings < 3:
        words.append("With so few readings the range is wide; each further check-in narrows it.")
    return words


def _dates(outlook: Outlook, name: str) -> tuple[date | None, date | None, date | None]:
    return (
        getattr(outlook, f"{name}_early"),
        getattr(outlook, f"{name}_likely"),
        getattr(outlook, f"{name}_late"),
    )


def glance_words(
    found: Sequence[str], done: Sequence[str], now: Sequence[str], ahead: str, outlook: Outlook
) -> list[list[str]]:
    """The report in a few lines, of its own sentences: a name and words each."""
    when = "not enough readings yet to say"
    if outlook.state != State.UNKNOWN and outlook.saddle_room_mm is not None:
        when = around(*_dates(outlook, "reset"), outlook.as_of)
    rows = [
        ("We found", " ".join(found)),
        ("We did", " ".join(done) or "No work on this visit."),
        ("Now", " ".join(now)),
        ("Next", ahead),
        ("Neck reset", f"{when[0].upper()}{when[1:]}."),
    ]
    return [[name, words] for name, words in rows if words]


def around(early: date | None, likely: date | None, late: date | None, today: date) -> str:
    """``likely around 2031, between 2028 and 2037``; early and late are the 10 and 90 % points."""
    if likely is None:
        if early is None:
            return f"not to be expected within the next {HORIZON_YEARS} years"
        return (
            f"likely only after {today.year + HORIZON_YEARS}, at the earliest around {early.year}"
        )
    if likely <= today:
        if late is None or late.year <= today.year:
            return DUE_NOW
        return f"{DUE_NOW}, at the latest around {late.year}"
    if late is not None and early is not None and early.year == late.year:
        return f"likely in {likely.year}"
    start = "now" if early is None or early <= today else str(early.year)
    end = f"some time after {today.year + HORIZON_YEARS}" if late is None else str(late.year)
    return f"likely around {likely.year}, between {start} and {end}"


def found_words(reading: Measured, targets: Targets, unit: LengthUnit, *, later: bool) -> list[str]:
    """How the strings stand beside what is wanted; ``later`` for the readings after the work."""
    wanted = dict(zip(SIDES, np.asarray(targets.action_12_mm, float), strict=True))
    over = {
        side: reading.actions_mm[12, side] - float(wanted[side])
        for side in SIDES
        if (12, side) in reading.actions_mm
    }
    words = []
    if over:
        lead = "The strings now stand" if later else "At the 12th fret the strings stood"
        words.append(f"{lead} {_beside(over, targets, unit)}.")
    saddles = [mm for mm in reading.saddle_mm if mm is not None]
    floor = float(np.asarray(targets.saddle_floor_mm))
    if saddles and min(saddles) <= floor and not later:
        words.append(
            "The saddle was as low as it may be."
            if min(saddles) > floor - 0.1
            else "The saddle was lower than it should be."
        )
    low, high = targets.relief_window_mm
    relief = reading.relief_mm
    if relief is not None and not low <= relief <= high and not later:
        words.append(f"The neck had {'too much' if relief > high else 'too little'} bow.")
    return words


def _beside(over: dict[str, float], targets: Targets, unit: LengthUnit) -> str:
    """``0.51 mm too high on the bass side and as wanted on the treble side``."""
    parts = []
    for side, mm in over.items():
        if abs(mm) <= targets.action_tolerance_mm:
            parts.append(f"as wanted on the {side} side")
        else:
            way = "too high" if mm > 0 else "too low"
            parts.append(f"{length_words(abs(mm), unit)} {way} on the {side} side")
    if len(parts) == 2 and all(part.startswith("as wanted") for part in parts):
        return "as wanted"
    return " and ".join(parts)


def work_sentence(work: Work, unit: LengthUnit) -> str:
    """What was done, as one would say it over the counter."""
    if work.kind == WorkKind.JOINT:
        return _joint_sentence(work, unit)
    if work.kind == WorkKind.SADDLE:
        sides = (
            ("bass", work.saddle_bass_from_mm, work.saddle_bass_to_mm),
            ("treble", work.saddle_treble_from_mm, work.saddle_treble_to_mm),
        )
        done = ", ".join(
            f"{side} {change_words(a, b, unit)}" for side, a, b in sides if b is not None
        )
        lowered = all(a is None or b is None or b <= a for _, a, b in sides)
        return (
            f"Saddle {'lowered' if lowered else 'raised'}: {done}." if done else "Saddle worked on."
        )
    if work.kind == WorkKind.RELIEF:
        change = change_words(work.relief_from_mm, work.relief_to_mm, unit)
        return f"Bow of the neck (relief) set: {change}." if change else "Bow of the neck set."
    if work.kind == WorkKind.NUT:
        return "Nut worked on, which sets how high the strings stand at the first fret."
    if work.kind == WorkKind.RESET:
        saddles = [
            mm for mm in (work.saddle_bass_to_mm, work.saddle_treble_to_mm) if mm is not None
        ]
        new = " / ".join(length_words(mm, unit) for mm in saddles)
        fitted = f", and a new saddle fitted ({new})" if new else ""
        return f"Neck reset: the neck was set at a new angle{fitted}."
    return work.notes or "Other work."


def _joint_sentence(work: Work, unit: LengthUnit) -> str:
    back = (work.tilt_to_deg or 0.0) >= (work.tilt_from_deg or 0.0)
    way = "back, which lowers the strings" if back else "forward, which raises the strings"
    if work.turns is not None:
        return f"Neck angle set {way}: {format_turns(abs(work.turns))} of the adjuster."
    if work.shim_to_mm is not None:
        return (
            f"Neck angle set {way}: shim {change_words(work.shim_from_mm, work.shim_to_mm, unit)}."
        )
    return f"Neck angle set {way}."


FIRST_STEPS = {
    "cannot_say": "Measure the bridge rise and the action at the 12th fret: without them nothing more "
    "can be said.",
    "remeasure": "Measure again before anything else: a reading does not agree with the others.",
    "relief": "Set the bow of the neck (relief) first, then measure again.",
    "nut": "See to the nut first, then measure again.",
    "none": "Nothing needs doing now.",
}
OPTION_STEPS = {
    "leave": "No ordinary adjustment brings the strings to where they should be: please talk to us.",
    "saddle": "Lower the saddle.",
    "tilt": "Set the neck's angle back at its joint, which can be undone.",
    "tilt_and_saddle": "Set the neck's angle back at its joint, then fit the saddle.",
    "reset": "Reset the neck: what is left of the saddle, and of any travel at the joint, is not enough.",
}
# How soon to measure again: common practice, no source.
AGAIN = {
    State.OVERDUE: "Please book the neck reset.",
    State.BOOK: "Please book the neck reset; until then have it measured every six months.",
    State.WATCH: "Have it measured again in about a year, at the same time of year.",
    State.ROOM: "Have it measured again in about two years, or when it plays differently.",
    State.UNKNOWN: "Have it measured again in a few months: that gives a first outlook.",
}


def next_words(
    advice: Advice,
    chosen: Option | None,
    outlook: Outlook,
    unit: LengthUnit,
    *,
    unmeasured: bool = False,
) -> list[str]:
    """The next step, what it leads to, and when to come again."""
    if unmeasured:
        return [
            "Work was done after the last measurements: the instrument is to be measured again."
        ]
    words = [FIRST_STEPS.get(advice.first_step, FIRST_STEPS["none"])]
    pressing = outlook.state in (State.OVERDUE, State.BOOK)
    if advice.first_step == "none" and pressing:
        words = ["The strings stand as they should for now."]
    if advice.first_step == "height" and chosen is not None:
        words = [OPTION_STEPS[chosen.key]]
        if chosen.key == "saddle" and np.any(chosen.saddle_cut_mm < 0):
            words = ["Fit a new saddle, taller where it needs to be."]
        if chosen.key != "leave":
            bass, treble = (length_words(float(mm), unit) for mm in chosen.action_12_after_mm)
            words.append(
                f"That brings the strings to {bass} on the bass side and {treble} on the treble side "
                "at the 12th fret."
            )
    reset_now = advice.first_step == "height" and chosen is not None and chosen.key == "reset"
    if advice.first_step == "none" or (pressing and not reset_now):
        words.append(AGAIN[State(outlook.state)])
    return words


def state_words(state: str) -> str:
    return str(State(state).label)


def lines_of(text: str) -> Sequence[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
