"""The columns of an import: what each is called, how its cells are read, and what they can be."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from functools import lru_cache
from typing import Any, Literal

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from geometry.units import UNITS, LengthUnit, QuantityKind, parse_length, parse_quantity
from instruments.models import DIMENSIONS, JOINT_DIMENSIONS, Instrument, JointKind, Strings
from measurements.check_ins.ranges import (
    POSSIBLE,
    USUAL,
    factor_slip,
    possible_action,
    usual_action,
)
from measurements.models import Stage
from shop.figures import localized, shortest

Range = tuple[float, float]
Group = Literal["row", "reading", "climate", "instrument", "joint"]

FIRST_DAY = date(1900, 1, 1)
HIGHEST_FRET = 36
LEAST_RADIUS_MM = (
    100.0  # below it a fretboard would be narrower than its strings: inches, most likely
)
TURNS = (-40.0, 40.0)
TILT_DEG = (-5.0, 5.0)
SHOWN = 40
ACTION = re.compile(r"action_([0-9]{1,4})_(bass|treble)_(" + "|".join(UNITS) + ")")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
WHOLE = re.compile(r"([0-9]{1,6})(?:\.0*)?")
FLAT = frozenset(("flat", "inf", "infinity", "∞", "0"))
STAGES = {
    "": Stage.RECEIVED,
    "received": Stage.RECEIVED,
    "as received": Stage.RECEIVED,
    "returned": Stage.RETURNED,
    "as returned": Stage.RETURNED,
}
JOINT_KINDS = {**{kind.value: kind for kind in JointKind}, "adjustable": JointKind.TILTING}


@dataclass(frozen=True)
class Column:
    """One column of the file: ``key`` is the model's field, or ``action`` with its ``place``."""

    name: str
    key: str
    group: Group
    read: Callable[[str], Any]
    usual: Range | None = None
    unit: str = ""
    place: tuple[int, str] | None = None

    def unusual(self, value: float) -> str | None:
        """Why a possible value should be looked at again, or None."""
        if self.usual is None or self.usual[0] <= value <= self.usual[1]:
            return None
        why = _("%(value)s is unusual (mostly %(low)s to %(high)s)") % {
            "value": shown(value, self.unit),
            "low": shown(self.usual[0], ""),
            "high": shown(self.usual[1], self.unit),
        }
        return _meant(why, value, self.usual, self.unit)


def _meant(why: str, value: float, usual: Range | None, unit: str) -> str:
    """What is wrong or odd, with the figure that was meant if the decimal point slipped."""
    guess = None if usual is None else factor_slip(value, usual)
    return why if guess is None else _asked(why, shown(guess, unit))


def _asked(why: str, guess: str) -> str:
    return _("%(why)s; did you mean %(guess)s?") % {"why": why, "guess": guess}


def shown(value: float, unit: str) -> str:
    """A figure with four digits as the reader writes it, with its unit if it has one."""
    return f"{localized(f'{value:.4g}')} {unit}".strip().replace("-", "−")


def quoted(text: str) -> str:
    """What stands in a cell, cut short, with invisible characters made visible."""
    cut = text if len(text) <= SHOWN else text[:SHOWN] + "…"
    visible = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in cut)
    return _("“%(text)s”") % {"text": visible}


def _limited(value: float, limits: Range, unit: str, usual: Range | None = None) -> float:
    low, high = limits
    if low <= value <= high:
        return value
    raise ValueError(_meant(impossible(value, limits, unit), value, usual, unit))


def impossible(value: float, limits: Range, unit: str) -> str:
    """Why a figure outside its limits cannot be."""
    return _("%(value)s is impossible: expected %(low)s to %(high)s") % {
        "value": shown(value, unit),
        "low": shown(limits[0], ""),
        "high": shown(limits[1], unit),
    }


def _length(unit: LengthUnit, limits: Range, usual: Range | None = None) -> Callable[[str], float]:
    return lambda text: _limited(parse_length(text, unit).mm, limits, "mm", usual)


def _quantity(kind: QuantityKind, unit: str, limits: Range, usual: Range | None = None) -> Any:
    return lambda text: _limited(parse_quantity(text, kind).value, limits, unit, usual)


def read_angle(text: str) -> float:
    return parse_quantity(text, "angle").value


def _radius(unit: LengthUnit) -> Callable[[str], float]:
    read = _length(unit, DIMENSIONS["fretboard_radius_mm"])

    def radius(text: str) -> float:
        value = 0.0 if text.lower() in FLAT else read(text)
        if 0 < value < LEAST_RADIUS_MM:
            raise ValueError(
                _(
                    "%(value)s is impossible: expected %(low)s to %(high)s mm, or “flat”; is it in "
                    "inches?"
                )
                % {
                    "value": shown(value, "mm"),
                    "low": shortest(LEAST_RADIUS_MM),
                    "high": shortest(DIMENSIONS["fretboard_radius_mm"][1]),
                }
            )
        return value

    return radius


def _whole(limits: Range) -> Callable[[str], int]:
    def whole(text: str) -> int:
        match = WHOLE.fullmatch(text)
        if match is None or not limits[0] <= int(match[1]) <= limits[1]:
            raise ValueError(
                _("%(text)s must be a whole number from %(low)s to %(high)s")
                % {"text": quoted(text), "low": f"{limits[0]:g}", "high": f"{limits[1]:g}"}
            )
        return int(match[1])

    return whole


def _choice(choices: dict[str, Any]) -> Callable[[str], Any]:
    def choice(text: str) -> Any:
        try:
            return choices[" ".join(text.lower().split())]
        except KeyError:
            raise ValueError(none_of(text, [name for name in choices if name])) from None

    return choice


def none_of(text: str, known: Iterable[str]) -> str:
    """Why a word is refused where only some are known."""
    return _("%(text)s is not one of: %(known)s") % {
        "text": quoted(text),
        "known": ", ".join(known),
    }


def _tag(text: str) -> str:
    try:
        field = Instrument._meta.get_field("tag")
        field.run_validators(text)
    except ValidationError:
        raise ValueError(
            _(
                "%(text)s is no tag: 1–32 letters, digits, spaces, dots, hyphens or underscores, "
                "such as K7M4-2"
            )
            % {"text": quoted(text)}
        ) from None
    return text


def _day(today: date) -> Callable[[str], date]:
    def day(text: str) -> date:
        if not DAY.fullmatch(text):
            raise ValueError(
                _("%(text)s is no date; write it as 2026-03-31") % {"text": quoted(text)}
            )
        try:
            value = date.fromisoformat(text)
        except ValueError:
            raise ValueError(
                _("%(day)s is not in the calendar; write it as 2026-03-31") % {"day": text}
            ) from None
        if value > today:
            raise ValueError(
                _("%(day)s lies in the future; today is %(today)s") % {"day": text, "today": today}
            )
        if value < FIRST_DAY:
            raise ValueError(
                _("%(day)s is impossible: expected %(first)s or later")
                % {"day": text, "first": FIRST_DAY}
            )
        return value

    return day


def too_long(text: str, most: int) -> str:
    """Why a text is refused for its length."""
    return _("the text has %(count)s characters; at most %(most)s are kept") % {
        "count": len(text),
        "most": most,
    }


def _text(limit: int, *, one_line: bool = False) -> Callable[[str], str]:
    def words(text: str) -> str:
        if len(text) > limit:
            raise ValueError(too_long(text, limit))
        if one_line and not text.isprintable():
            raise ValueError(
                _("%(text)s holds an invisible control character") % {"text": quoted(text)}
            )
        if one_line and text[:1] in "=@":
            raise ValueError(
                _("%(text)s looks like a spreadsheet formula, not a name") % {"text": quoted(text)}
            )
        return text

    return words


def known_columns(today: date) -> dict[str, Column]:
    """Every column by name but those of action, which are made as they come."""
    columns = [
        Column("tag", "tag", "row", _tag),
        Column("customer", "customer", "row", _text(120, one_line=True)),
        Column("checked_in_on", "day", "row", _day(today)),
        Column("stage", "stage", "row", _choice(STAGES)),
        Column("notes", "notes", "row", _text(4000)),
        Column("turns", "turns", "row", _quantity("turns", _("turns"), TURNS)),
        Column("tilt_now_deg", "tilt_now_deg", "row", _quantity("angle", "°", TILT_DEG)),
        Column("built_year", "built_year", "instrument", _whole((1700, today.year))),
        Column("joint_fret", "joint_fret", "instrument", _whole((8, 20))),
        Column("strings", "strings", "instrument", _choice({s.value: s for s in Strings})),
        Column("joint_kind", "kind", "joint", _choice(JOINT_KINDS)),
        Column("tilt_max_deg", "tilt_max_deg", "joint", _quantity("angle", "°", TILT_DEG)),
    ]
    for name, kind in (("humidity_pct", "humidity"), ("temperature_c", "temperature")):
        unit = "%" if kind == "humidity" else "°C"
        read = _quantity(kind, unit, POSSIBLE[name])  # type: ignore[arg-type]
        columns.append(Column(name, name, "climate", read, USUAL[name], unit))
    for unit_in_name in UNITS:
        columns += _length_columns(unit_in_name)
    return {column.name: column for column in columns}


def _length_columns(unit: LengthUnit) -> list[Column]:
    def named(key: str) -> str:
        return key.removesuffix("mm") + unit

    columns = [
        Column(
            named(key), key, "reading", _length(unit, POSSIBLE[key], USUAL[key]), USUAL[key], "mm"
        )
        for key in ("bridge_rise_mm", "saddle_bass_mm", "saddle_treble_mm", "relief_mm")
    ]
    columns.append(
        Column(named("fretboard_radius_mm"), "fretboard_radius_mm", "instrument", _radius(unit))
    )
    for key in (
        "scale_length_mm",
        "compensation_mm",
        "half_spread_nut_mm",
        "half_spread_saddle_mm",
    ):
        columns.append(Column(named(key), key, "instrument", _length(unit, DIMENSIONS[key])))
    for key in ("pivot_depth_mm", "bolt_arm_mm", "thread_pitch_mm"):
        columns.append(Column(named(key), key, "joint", _length(unit, JOINT_DIMENSIONS[key])))
    return columns


def action_column(name: str) -> Column | None:
    """The column ``action_12_bass_mm`` and its like; None for any other name."""
    match = ACTION.fullmatch(name)
    if match is None or match[1] != str(int(match[1])) or not 1 <= int(match[1]) <= HIGHEST_FRET:
        return None
    fret, side, unit = int(match[1]), match[2], match[3]
    usual = usual_action(fret)
    read = _length(unit, possible_action(fret), usual)  # type: ignore[arg-type]
    key = f"action_{fret}_{side}_mm"
    return Column(name, key, "reading", read, usual, "mm", (fret, side))


def columns_of(header: list[str], today: date) -> tuple[list[Column | None], list[tuple[str, str]]]:
    """The file's columns in order (None for one without a name), and what is wrong: (column, why)."""
    known = known_columns(today)
    columns: list[Column | None] = []
    wrong: list[tuple[str, str]] = []
    seen: set[str] = set()
    for name in (heading.lower() for heading in header):
        column = known.get(name) or action_column(name)
        columns.append(column if name else None)
        if name and column is None:
            wrong.append((quoted(name), _unknown(name, known)))
        elif name in seen and name:
            wrong.append((name, _("stands in the file twice; keep one of the two columns")))
        seen.add(name)
    wrong += [
        (name, _("is missing; every row needs it"))
        for name in ("tag", "checked_in_on")
        if name not in seen
    ]
    if not wrong and not any(column and column.group == "reading" for column in columns):
        why = _("no column holds a reading, such as bridge_rise_mm or action_12_bass_mm")
        wrong.append(("", why))
    return columns, wrong


def _unknown(name: str, known: dict[str, Column]) -> str:
    """Why a heading is refused, with the column that was most likely meant."""
    if name.startswith("action_"):
        return _(
            "is not a column of an import; write action_12_bass_mm, with a fret from 1 to %(highest)s"
        ) % {"highest": HIGHEST_FRET}
    why = _("is not a column of an import")
    near = get_close_matches(name[:SHOWN], known, n=1)
    return _asked(why, near[0]) if near else why


def remembering(read: Callable[[str], Any]) -> Callable[[str], Any]:
    """Read equal texts once: a long log repeats the same few figures."""
    cached = lru_cache(maxsize=20_000)(read)
    return lambda text: cached(text) if len(text) <= SHOWN else read(text)


def as_typed(column: Column, text: str) -> str:
    """The text of a cell with its column's unit where the cell did not say it."""
    bare = not any(sign.isalpha() or sign in "\"'″′”" for sign in text)
    unit = column.name.rpartition("_")[2]
    return f"{text} {unit}" if bare and unit in UNITS and unit != "mm" else text
