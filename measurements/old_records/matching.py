"""Which of our columns each heading of a log means: guessed from its words, settled by a person.

Headings are a shop's own; what is guessed here are the trade's words in English and German, common practice.
A shop that changes its language brings its old headings along, so both are known in both.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from functools import lru_cache
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.units import UNITS, LengthUnit
from measurements.old_records.columns import HIGHEST_FRET, action_column, known_columns
from measurements.old_records.table import Table, TableError

DayOrder = Literal["iso", "day", "month"]
LEAVE_OUT = ""
#: What no row can do without.
NEEDED = ("tag", "checked_in_on")
SAMPLES = 3
FRETS_OFFERED = range(1, 25)
UNIT_WORDS = {
    "mm": re.compile(r"(?:^|[\s_(\[/,])(?:mm|millimet(?:re|er)s?)\.?(?:$|[\s_)\]])"),
    "in": re.compile(r"(?:^|[\s_(\[/,])(?:in|inch(?:es)?)\.?(?:$|[\s_)\]])|[\"″]"),
}
SLASHED_DAY = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")
CLOCK = re.compile(r"(\d{4}-\d{2}-\d{2})[T ]\d{2}:\d{2}.*")
FRET = re.compile(r"(?<![0-9])(\d{1,2})(?:st|nd|rd|th)?(?![0-9])")
SADDLE = re.compile(r"saddle|einlage")
SIDES = {
    "bass": re.compile(r"\b(?:bass|low|lo|b|6th string|low e|bassseite)\b"),
    "treble": re.compile(r"\b(?:treble|high|hi|t|1st string|high e|diskant(?:seite)?)\b"),
}
#: Words that mean a column, the most telling first. Keys are ours without the unit.
WORDS: tuple[tuple[str, str], ...] = (
    (r"\b(?:rh|humid\w*|rf|r f|(?:luft)?feuchte|(?:luft)?feuchtigkeit)\b|%", "humidity_pct"),
    (r"\btemp\w*\b|°c", "temperature_c"),
    (r"\b(?:stage|in out|in/out|zeitpunkt)\b", "stage"),
    (r"\bturns?\b|\bumdrehung(?:en)?\b", "turns"),
    (r"\b(?:(?:max\w*|most) tilt|tilt max|größte neigung|neigung max)\b", "tilt_max_deg"),
    (r"\b(?:tilt|neck angle|neigung|halswinkel)\b", "tilt_now_deg"),
    (r"\b(?:relief|(?:hals)?krümmung)\b", "relief"),
    (r"\b(?:bridge rise|rise|belly|bellying|lift|steghöhe|anhebung)\b", "bridge_rise"),
    (r"\b(?:compensation|comp|kompensation)\b", "compensation"),
    (r"\b(?:scale|mensur)\b", "scale_length"),
    (r"\b(?:griffbrett)?radius\b", "fretboard_radius"),
    (r"\bspread\b.*\bnut\b|\bnut\b.*\bspread\b", "half_spread_nut"),
    (r"\bspread\b.*\bsaddle\b|\bsaddle\b.*\bspread\b", "half_spread_saddle"),
    (r"\bpivot\b", "pivot_depth"),
    (r"\bbolt arm\b|\barm\b", "bolt_arm"),
    (r"\b(?:pitch|(?:gewinde)?steigung)\b", "thread_pitch"),
    (r"\b(?:neck )?joint (?:kind|type)\b|\b(?:neck joint|halsverbindung)\b", "joint_kind"),
    (r"\b(?:joint fret|body joint|halsansatz)\b", "joint_fret"),
    (r"\b(?:year|built|baujahr)\b", "built_year"),
    (r"\b(?:notes?|remarks?|comments?|notiz(?:en)?|(?:be|an)merkung(?:en)?)\b", "notes"),
    (r"\b(?:date|day|when|checked in|measured|datum|gemessen am)\b", "checked_in_on"),
    (r"\b(?:customer|owner|client|player|kund(?:e|in)|besitzer(?:in)?)\b", "customer"),
    (r"\b(?:tag|code|id|label|ticket|instrument|no|number|kennung|nr|nummer)\b", "tag"),
    (r"\bstrings?\b|\bsaiten\b", "strings"),
)


@dataclass(frozen=True)
class Choice:
    """One of our columns as it is offered: ``key`` is its name without the unit of length."""

    key: str
    words: str
    group: str


@dataclass(frozen=True)
class Heading:
    """A heading of the file with its first values, what is guessed, and the unit it names itself."""

    place: int
    text: str
    samples: list[str]
    guess: str
    unit: LengthUnit | None


def choices(headings: Sequence[Heading] = ()) -> list[Choice]:
    """Every column a heading may be matched to, in the order of the trade's sheet."""
    found = [Choice(key, _(words), _(group)) for group, pairs in _OFFERED for key, words in pairs]
    frets = {fret for heading in headings if (fret := _fret_of(heading.guess))}
    for fret in sorted({*FRETS_OFFERED, *frets}):
        for side, words in _ACTION.items():
            found.append(Choice(f"action_{fret}_{side}", _(words) % {"fret": fret}, _("Action")))
    return found


_ACTION = {
    "bass": gettext_noop("action at %(fret)s, bass"),
    "treble": gettext_noop("action at %(fret)s, treble"),
}
_OFFERED: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        gettext_noop("The row"),
        (
            ("tag", gettext_noop("tag of the instrument")),
            ("checked_in_on", gettext_noop("day of the check-in")),
            ("stage", gettext_noop("stage: received or returned")),
            ("customer", gettext_noop("customer's name")),
            ("notes", gettext_noop("notes")),
        ),
    ),
    (
        gettext_noop("Readings"),
        (
            ("relief", gettext_noop("relief")),
            ("bridge_rise", gettext_noop("bridge rise")),
            ("saddle_bass", gettext_noop("saddle, bass")),
            ("saddle_treble", gettext_noop("saddle, treble")),
            ("humidity_pct", gettext_noop("humidity (%)")),
            ("temperature_c", gettext_noop("temperature (°C)")),
        ),
    ),
    (
        gettext_noop("The instrument"),
        (
            ("built_year", gettext_noop("year built")),
            ("strings", gettext_noop("strings: steel or nylon")),
            ("scale_length", gettext_noop("scale length")),
            ("compensation", gettext_noop("compensation")),
            ("joint_fret", gettext_noop("body joint at fret")),
            ("fretboard_radius", gettext_noop("fretboard radius")),
            ("half_spread_nut", gettext_noop("outer string to centre at nut")),
            ("half_spread_saddle", gettext_noop("outer string to centre at saddle")),
        ),
    ),
    (
        gettext_noop("The neck joint"),
        (
            ("joint_kind", gettext_noop("kind of joint")),
            ("turns", gettext_noop("turns made after the reading")),
            ("tilt_now_deg", gettext_noop("tilt at the reading (°)")),
            ("tilt_max_deg", gettext_noop("most tilt (°)")),
            ("pivot_depth", gettext_noop("pivot below the fret plane")),
            ("bolt_arm", gettext_noop("pivot to adjusting bolt")),
            ("thread_pitch", gettext_noop("thread pitch")),
        ),
    ),
)


def headings(table: Table) -> list[Heading]:
    """Each named column of the file with a guess; no two headings are guessed to be the same."""
    taken: set[str] = set()
    found = []
    for place, text in enumerate(table.header):
        if not text:
            continue
        key = guess(text)
        if key in taken:
            key = LEAVE_OUT
        taken.add(key)
        samples = [row[place].strip() for row in table.rows[:200] if row[place].strip()]
        found.append(
            Heading(place, text, [s[:40] for s in samples[:SAMPLES]], key, unit_named(text))
        )
    return found


def guess(text: str) -> str:
    """The key of the column a heading most likely means, or that it is to be left out."""
    exact = text.strip().lower()
    if exact in _by_name() or action_column(exact):
        return _without_unit(exact)
    plain = " ".join(re.sub(r"[^a-zäöüß0-9%°#/]+", " ", exact).replace("#", " no ").split())
    side = next((name for name, words in SIDES.items() if words.search(plain)), None)
    if SADDLE.search(plain) and "spread" not in plain and side:
        return f"saddle_{side}"
    fret = FRET.search(plain)
    if side and fret and 1 <= int(fret[1]) <= HIGHEST_FRET and not re.search("relief", plain):
        return f"action_{int(fret[1])}_{side}"
    for words, key in WORDS:
        if re.search(words, plain):
            return key
    near = get_close_matches(plain.replace(" ", "_")[:40], list(_by_name()), n=1, cutoff=0.8)
    return _without_unit(near[0]) if near else LEAVE_OUT


def unit_named(text: str) -> LengthUnit | None:
    """The unit of length a heading names itself, such as "relief (mm)"."""
    lower = text.strip().lower()
    for unit, words in UNIT_WORDS.items():
        if words.search(lower) and not re.search(r"\bin[ /]out\b|checked.in|measured in", lower):
            return unit  # type: ignore[return-value]
    return None


def matched(
    table: Table, chosen: dict[int, str], unit: LengthUnit, day_order: DayOrder = "iso"
) -> Table:
    """The table under our own names: ``chosen`` gives each place's key, the others are left out.

    Raises ``TableError`` when two headings are matched to one column, or one is unknown.
    """
    names: dict[int, str] = {}
    for place, key in chosen.items():
        if key == LEAVE_OUT:
            continue
        name = _named(key, unit_named(table.header[place]) or unit)
        if name in names.values():
            raise TableError(
                _("Two headings are matched to “%(column)s”. Leave one of them out.")
                % {"column": words_of(key)}
            )
        names[place] = name
    places = list(names)
    day = next((n for n, place in enumerate(places) if names[place] == "checked_in_on"), None)
    rows = []
    for row in table.rows:
        cells = [row[place] for place in places]
        if day is not None:
            cells[day] = _day(cells[day].strip(), day_order)
        rows.append([*cells, ""])
    return Table(header=[names[place] for place in places], rows=rows, lines=table.lines)


def words_of(key: str) -> str:
    return next((choice.words for choice in choices() if choice.key == key), key)


def _named(key: str, unit: LengthUnit) -> str:
    for name in (key, f"{key}_{unit}"):
        if name in _by_name() or action_column(name):
            return name
    raise TableError(
        _("“%(column)s” is none of the columns an import knows.") % {"column": key[:40]}
    )


def _day(text: str, order: DayOrder) -> str:
    """The day as 2026-03-31; a time of day beside it is cut off; what is no day is left as it is."""
    if clock := CLOCK.fullmatch(text):
        return clock[1]
    match = SLASHED_DAY.fullmatch(text)
    if match is None or order == "iso":
        return text
    first, second, year = (int(part) for part in match.groups())
    day, month = (first, second) if order == "day" else (second, first)
    return f"{year}-{month:02d}-{day:02d}" if month <= 12 else text  # the import says what is wrong


@lru_cache(maxsize=1)
def _by_name() -> frozenset[str]:
    return frozenset(known_columns(date.max))


def _without_unit(name: str) -> str:
    return re.sub(rf"_(?:{'|'.join(UNITS)})$", "", name)


def _fret_of(key: str) -> int | None:
    match = re.fullmatch(r"action_(\d{1,2})_(?:bass|treble)", key)
    return int(match[1]) if match else None
