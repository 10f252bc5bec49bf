"""The service report in plain words: for people who own an instrument, not for people who repair it."""

from collections.abc import Sequence
from datetime import date

import numpy as np
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, pgettext

from geometry.advice import Advice, Option
from geometry.readings import Targets
from geometry.units import LengthUnit
from measurements.drawings.side_view import Measured
from measurements.facts.arrays import HORIZON_YEARS
from measurements.models import SIDES, Outlook, State, Work, WorkKind
from measurements.words import change_words, side_words
from shop.figures import length_words, turns_words
from shop.phrases import listed

CARE = (
    gettext_noop(
        "Keep the instrument at 45 to 55 % relative humidity, in its case when it is not being played; "
        "a small hygrometer in the case tells you."
    ),
    gettext_noop(
        "Below 40 % the top sinks and can crack; above 70 % it swells, the strings stand higher and glue "
        "can soften. Keep it away from heaters, from the sun and from a hot car."
    ),
    gettext_noop(
        "A change of season moves the strings a little and is nothing to worry about. A sudden change, a "
        "buzz or a bridge that lifts at its edge is: please bring the instrument in."
    ),
)
CAUTIONS = (
    gettext_noop(
        "What is said here of the future is an estimate from readings, not a promise. It is checked by "
        "measuring again."
    ),
    gettext_noop(
        "Work at the neck joint is for a trained repairer, with the strings slackened first. Strings "
        "under tension can snap: protect your eyes."
    ),
    gettext_noop("The maker's own instructions and warranty come first."),
    gettext_noop(
        "Some older instruments hold ivory, tortoiseshell or protected woods: check the local rules before "
        "they are sold, sent or taken abroad."
    ),
)
GLOSSARY = (
    (
        gettext_noop("Action"),
        gettext_noop("the gap between a string and a fret: how high the strings stand."),
    ),
    (
        gettext_noop("Relief"),
        gettext_noop("the slight forward bow of the neck that lets the strings swing freely."),
    ),
    (
        gettext_noop("Bridge rise"),
        gettext_noop(
            "how far the bridge stands above the line of the frets; years of pull raise it."
        ),
    ),
    (
        gettext_noop("Saddle"),
        gettext_noop(
            "the strip, often of bone, in the bridge that carries the strings; it can be lowered."
        ),
    ),
    (
        gettext_noop("Room"),
        gettext_noop(
            "how much further the bridge can rise before lowering the saddle no longer helps."
        ),
    ),
    (
        gettext_noop("Neck reset"),
        gettext_noop("setting the neck at a new angle, so that a taller saddle fits again."),
    ),
)


def care_words() -> list[str]:
    return [_(words) for words in CARE]


def caution_words() -> list[str]:
    return [_(words) for words in CAUTIONS]


def glossary_words() -> list[list[str]]:
    """A word and its meaning each."""
    return [[_(word), _(meaning)] for word, meaning in GLOSSARY]


def outlook_words(outlook: Outlook, unit: LengthUnit) -> list[str]:
    """The room left, and what to expect when, with its range."""
    if outlook.state == State.UNKNOWN or outlook.saddle_room_mm is None:
        return [_("There are not enough readings yet to say how the instrument will move.")]
    room, by_joint = outlook.saddle_room_mm, outlook.joint_room_mm or 0.0
    words = [_("The strings' pull slowly raises the bridge."), _room_words(room, unit)]
    if by_joint > 0:
        words.append(
            _("The adjustable neck joint can make up for another %(length)s.")
            % {"length": length_words(by_joint, unit)}
        )
    due = outlook.reset_likely is not None and outlook.reset_likely <= outlook.as_of
    reset = {"when": around(*_dates(outlook, "reset"), outlook.as_of)}
    if outlook.reset_likely is None or due or (room <= 0 and by_joint <= 0):
        words.append(_("A neck reset is %(when)s.") % reset)
    else:
        words.append(_("After that the neck needs a reset: %(when)s.") % reset)
    if outlook.remeasure:
        words.append(
            _("The newest measurements do not fit the earlier ones and are to be taken again.")
        )
    elif room <= 0 and (outlook.reset_likely is None or outlook.reset_likely > outlook.as_of):
        words.append(_("The dates rest on all measurements, not on the newest alone."))
    if outlook.readings < 3:
        words.append(_("With so few readings the range is wide; each further check-in narrows it."))
    return words


def _room_words(room_mm: float, unit: LengthUnit) -> str:
    if room_mm <= 0:
        return _("By the newest measurements the saddle cannot usefully be lowered any further.")
    return _(
        "It can rise by another %(length)s before the saddle cannot be lowered any further."
    ) % {"length": length_words(room_mm, unit)}


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
    when = _("not enough readings yet to say")
    if outlook.state != State.UNKNOWN and outlook.saddle_room_mm is not None:
        when = around(*_dates(outlook, "reset"), outlook.as_of)
    rows = [
        (_("We found"), " ".join(found)),
        (_("We did"), " ".join(done) or _("No work on this visit.")),
        (_("Now"), " ".join(now)),
        (pgettext("the step", "Next"), ahead),
        (_("Neck reset"), f"{capfirst(when)}."),
    ]
    return [[name, words] for name, words in rows if words]


def around(early: date | None, likely: date | None, late: date | None, today: date) -> str:
    """``likely around 2031, between 2028 and 2037``; early and late are the 10 and 90 % points."""
    beyond = today.year + HORIZON_YEARS
    if likely is None:
        if early is None:
            return _("not to be expected within the next %(years)d years") % {
                "years": HORIZON_YEARS
            }
        return _("likely only after %(beyond)d, at the earliest around %(early)d") % {
            "beyond": beyond,
            "early": early.year,
        }
    if likely <= today:
        if late is None or late.year <= today.year:
            return _("due now")
        return _("due now, at the latest around %(late)d") % {"late": late.year}
    if late is not None and early is not None and early.year == late.year:
        return _("likely in %(year)d") % {"year": likely.year}
    after = _("some time after %(year)d") % {"year": beyond}
    return _("likely around %(likely)d, between %(early)s and %(late)s") % {
        "likely": likely.year,
        "early": _("now") if early is None or early <= today else str(early.year),
        "late": after if late is None else str(late.year),
    }


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
        lead = (
            _("The strings now stand %(how)s.")
            if later
            else _("At the 12th fret the strings stood %(how)s.")
        )
        words.append(lead % {"how": _beside(over, targets, unit)})
    saddles = [mm for mm in reading.saddle_mm if mm is not None]
    floor = float(np.asarray(targets.saddle_floor_mm))
    if saddles and min(saddles) <= floor and not later:
        words.append(
            _("The saddle was as low as it may be.")
            if min(saddles) > floor - 0.1
            else _("The saddle was lower than it should be.")
        )
    low, high = targets.relief_window_mm
    relief = reading.relief_mm
    if relief is not None and not low <= relief <= high and not later:
        words.append(
            _("The neck had too much bow.") if relief > high else _("The neck had too little bow.")
        )
    return words


def _beside(over: dict[str, float], targets: Targets, unit: LengthUnit) -> str:
    """``0.51 mm too high on the bass side and as wanted on the treble side``."""
    if len(over) == 2 and all(abs(mm) <= targets.action_tolerance_mm for mm in over.values()):
        return _("as wanted")
    return listed([_side_beside(side, mm, targets, unit) for side, mm in over.items()])


def _side_beside(side: str, over_mm: float, targets: Targets, unit: LengthUnit) -> str:
    words = {"side": side_words(side), "length": length_words(abs(over_mm), unit)}
    if abs(over_mm) <= targets.action_tolerance_mm:
        return _("as wanted on the %(side)s side") % words
    if over_mm > 0:
        return _("%(length)s too high on the %(side)s side") % words
    return _("%(length)s too low on the %(side)s side") % words


def work_sentence(work: Work, unit: LengthUnit) -> str:
    """What was done, as one would say it over the counter."""
    if work.kind == WorkKind.JOINT:
        return _joint_sentence(work, unit)
    if work.kind == WorkKind.SADDLE:
        return _saddle_sentence(work, unit)
    if work.kind == WorkKind.RELIEF:
        change = change_words(work.relief_from_mm, work.relief_to_mm, unit)
        if not change:
            return _("Bow of the neck set.")
        return _("Bow of the neck (relief) set: %(change)s.") % {"change": change}
    if work.kind == WorkKind.NUT:
        return _("Nut worked on, which sets how high the strings stand at the first fret.")
    if work.kind == WorkKind.RESET:
        saddles = [
            mm for mm in (work.saddle_bass_to_mm, work.saddle_treble_to_mm) if mm is not None
        ]
        if not saddles:
            return _("Neck reset: the neck was set at a new angle.")
        new = " / ".join(length_words(mm, unit) for mm in saddles)
        return _(
            "Neck reset: the neck was set at a new angle, and a new saddle fitted (%(heights)s)."
        ) % {"heights": new}
    return work.notes or _("Other work.")


def _saddle_sentence(work: Work, unit: LengthUnit) -> str:
    sides = (
        ("bass", work.saddle_bass_from_mm, work.saddle_bass_to_mm),
        ("treble", work.saddle_treble_from_mm, work.saddle_treble_to_mm),
    )
    done = ", ".join(
        f"{side_words(side)} {change_words(before, after, unit)}"
        for side, before, after in sides
        if after is not None
    )
    if not done:
        return _("Saddle worked on.")
    if all(a is None or b is None or b <= a for _side, a, b in sides):
        return _("Saddle lowered: %(changes)s.") % {"changes": done}
    return _("Saddle raised: %(changes)s.") % {"changes": done}


def _joint_sentence(work: Work, unit: LengthUnit) -> str:
    if (work.tilt_to_deg or 0.0) >= (work.tilt_from_deg or 0.0):
        way = _("Neck angle set back, which lowers the strings")
    else:
        way = _("Neck angle set forward, which raises the strings")
    if work.turns is not None:
        turns = turns_words(abs(work.turns))
        return _("%(way)s: %(turns)s of the adjuster.") % {"way": way, "turns": turns}
    if work.shim_to_mm is not None:
        shim = change_words(work.shim_from_mm, work.shim_to_mm, unit)
        return _("%(way)s: shim %(change)s.") % {"way": way, "change": shim}
    return f"{way}."


FIRST_STEPS = {
    "cannot_say": gettext_noop(
        "Measure the bridge rise and the action at the 12th fret: without them nothing more "
        "can be said."
    ),
    "remeasure": gettext_noop(
        "Measure again before anything else: a reading does not agree with the others."
    ),
    "relief": gettext_noop("Set the bow of the neck (relief) first, then measure again."),
    "nut": gettext_noop("See to the nut first, then measure again."),
    "none": gettext_noop("Nothing needs doing now."),
}
OPTION_STEPS = {
    "leave": gettext_noop(
        "No ordinary adjustment brings the strings to where they should be: please talk to us."
    ),
    "saddle": gettext_noop("Lower the saddle."),
    "tilt": gettext_noop("Set the neck's angle back at its joint, which can be undone."),
    "tilt_and_saddle": gettext_noop("Set the neck's angle back at its joint, then fit the saddle."),
    "reset": gettext_noop(
        "Reset the neck: what is left of the saddle, and of any travel at the joint, is not enough."
    ),
}
# How soon to measure again: common practice, no source.
AGAIN = {
    State.OVERDUE: gettext_noop("Please book the neck reset."),
    State.BOOK: gettext_noop(
        "Please book the neck reset; until then have it measured every six months."
    ),
    State.WATCH: gettext_noop("Have it measured again in about a year, at the same time of year."),
    State.ROOM: gettext_noop(
        "Have it measured again in about two years, or when it plays differently."
    ),
    State.UNKNOWN: gettext_noop(
        "Have it measured again in a few months: that gives a first outlook."
    ),
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
            _("Work was done after the last measurements: the instrument is to be measured again.")
        ]
    words = [_(FIRST_STEPS.get(advice.first_step, FIRST_STEPS["none"]))]
    pressing = outlook.state in (State.OVERDUE, State.BOOK)
    if advice.first_step == "none" and pressing:
        words = [_("The strings stand as they should for now.")]
    if advice.first_step == "height" and chosen is not None:
        words = _option_steps(chosen, unit)
    reset_now = advice.first_step == "height" and chosen is not None and chosen.key == "reset"
    if advice.first_step == "none" or (pressing and not reset_now):
        words.append(_(AGAIN[State(outlook.state)]))
    return words


def _option_steps(chosen: Option, unit: LengthUnit) -> list[str]:
    """What the recommended option asks for, and where it brings the strings."""
    if chosen.key == "leave":
        return [_(OPTION_STEPS["leave"])]
    step = _(OPTION_STEPS[chosen.key])
    if chosen.key == "saddle" and np.any(chosen.saddle_cut_mm < 0):
        step = _("Fit a new saddle, taller where it needs to be.")
    bass, treble = (length_words(float(mm), unit) for mm in chosen.action_12_after_mm)
    leads_to = _(
        "That brings the strings to %(bass)s on the bass side and %(treble)s on the treble side at "
        "the 12th fret."
    )
    return [step, leads_to % {"bass": bass, "treble": treble}]


def state_words(state: str) -> str:
    return str(State(state).label)


def lines_of(text: str) -> Sequence[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
