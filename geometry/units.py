"""Lengths, turns, angles, humidity and temperature as people type them.

One reading as text goes in; a number in the canonical unit comes out, with the unit and the text
as typed kept beside it. Whatever is not plainly one number is refused, saying what would be right.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, NamedTuple, TypeVar

from geometry._checks import as_between, as_finite
from geometry.constants import (
    ANGLE_LIMIT_DEG,
    HUMIDITY_RANGE_PCT,
    LENGTH_LIMIT_MM,
    ROOM_TEMPERATURE_RANGE_C,
    SIXTY_FOURTHS,
    TEXT_LIMIT,
    TURNS_LIMIT,
)
from geometry.constants import MM_PER_INCH as MM_PER_INCH  # for forms too
from geometry.refusals import OutOfRangeError, Phrase, RefusedTextError, Sentence

LengthUnit = Literal["mm", "in"]
QuantityKind = Literal["humidity", "temperature", "turns", "angle"]
Name = TypeVar("Name", bound=str)

MINUS = "\N{MINUS SIGN}"


class UnitOfLength(NamedTuple):
    """What one of it is [mm], and with how many decimals a person writes it."""

    mm: float
    decimals: int


UNITS: dict[LengthUnit, UnitOfLength] = {
    "mm": UnitOfLength(1.0, 2),
    "in": UnitOfLength(MM_PER_INCH, 3),
}
_ANY_UNIT = " or ".join(repr(name) for name in UNITS)
_EXACT_MM = {name: Fraction(str(unit.mm)) for name, unit in UNITS.items()}

# Signs that keyboards and copied text put in the place of plain ones.
_PLAIN = str.maketrans(
    {
        MINUS: "-",
        "\N{HYPHEN}": "-",
        "\N{FIGURE DASH}": "-",
        "\N{EN DASH}": "-",
        "\N{FRACTION SLASH}": "/",
        "\N{DIVISION SLASH}": "/",
        "\N{DOUBLE PRIME}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
        "\N{LEFT DOUBLE QUOTATION MARK}": '"',
        "\N{PRIME}": "'",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{THIN SPACE}": " ",
        "\N{DEGREE CELSIUS}": "°C",
        "\N{DEGREE FAHRENHEIT}": "°F",
    }
)
_LENGTH_UNITS: dict[str, LengthUnit] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("in", "inch", "inches", '"', "''"), "in"),
}
_QUANTITY_UNITS: dict[str, dict[str, str]] = {
    "humidity": dict.fromkeys(("%", "%rh", "rh", "percent", "pct"), "%"),
    "temperature": {
        **dict.fromkeys(("c", "°c", "degc", "celsius"), "C"),
        **dict.fromkeys(("f", "°f", "degf", "fahrenheit"), "F"),
    },
    "turns": dict.fromkeys(("turn", "turns"), "turn"),
    "angle": dict.fromkeys(("°", "deg", "degree", "degrees"), "deg"),
}
_EXAMPLES: dict[str, Phrase] = {
    "length": Phrase.LENGTH,
    "humidity": Phrase.HUMIDITY,
    "temperature": Phrase.TEMPERATURE,
    "turns": Phrase.TURNS,
    "angle": Phrase.ANGLE,
}
_RANGES: dict[str, tuple[float, float]] = {
    "humidity": HUMIDITY_RANGE_PCT,
    "temperature": ROOM_TEMPERATURE_RANGE_C,
    "turns": (-TURNS_LIMIT, TURNS_LIMIT),
    "angle": (-ANGLE_LIMIT_DEG, ANGLE_LIMIT_DEG),
}
_OUTSIDE: dict[str, Sentence] = {
    "humidity": Sentence.NO_HUMIDITY,
    "temperature": Sentence.NO_TEMPERATURE,
    "turns": Sentence.NO_TURNS,
    "angle": Sentence.NO_ANGLE,
}

# Every pattern is anchored and without nested repeats, and the text is short: none can hang.
_TOKEN = re.compile(r"[0-9.,/+-]+|[^0-9.,/+\-\s]+")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)")
_FRACTION = re.compile(r"([+-]?)([0-9]{1,4})/([0-9]{1,4})")
_WHOLE = re.compile(r"[+-]?[0-9]{1,4}")
_SLASH = re.compile(r"(?<=[0-9]) {0,9}/ {0,9}(?=[0-9])")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]*,[0-9]{3}")


@dataclass(frozen=True)
class Length:
    """A length as understood: millimetres, the unit it was given in, and the text as typed."""

    mm: float
    unit: LengthUnit
    text: str


@dataclass(frozen=True)
class Quantity:
    """A quantity as understood, in %, °C, turns or degrees; its unit and the text as typed.

    ``unit`` is the one it was given in: ``%``, ``C``, ``F``, ``turn`` or ``deg``.
    """

    value: float
    unit: str
    text: str


def _visible(text: str) -> str:
    """Show what was typed, cut short, with invisible characters made visible."""
    shown = text if len(text) <= TEXT_LIMIT else text[:TEXT_LIMIT] + "…"
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in shown)


def _refuse(text: str, why: Sentence, what: str, **parts: str) -> RefusedTextError:
    return RefusedTextError(why, _parts(text, _EXAMPLES[what], parts))


def _parts(text: str, example: Phrase, others: dict[str, str]) -> dict[str, str]:
    """The parts of a sentence; every one has what was typed and what would be right."""
    return {"typed": _visible(text), "example": example, **others}


def _plain(text: str, what: str, limit: int = TEXT_LIMIT) -> str:
    """Return the text with look-alike signs made plain, refusing what cannot be a reading."""
    if not isinstance(text, str):
        raise ValueError(f"A reading must be text, got {text!r}; write {_EXAMPLES[what]}.")
    if len(text) > limit:
        raise _refuse(text, Sentence.TOO_LONG, what, length=str(len(text)), limit=str(limit))
    trimmed = text.strip()
    if not trimmed:
        raise _refuse(text, Sentence.NOTHING, what)
    if any(unicodedata.category(c)[0] == "C" for c in trimmed):
        raise _refuse(text, Sentence.CONTROL, what)
    spread = []
    for c in trimmed.translate(_PLAIN):
        kind, _, parts = unicodedata.decomposition(c).partition(" ")
        if kind == "<fraction>":  # ½ becomes 1/2, and 1½ becomes 1 1/2
            c = " " + "".join(chr(int(p, 16)) for p in parts.split()).translate(_PLAIN)
        spread.append(c)
    return _SLASH.sub("/", "".join(spread)).strip().lower()  # "6 / 64" is one fraction


def _split(text: str, what: str, units: Mapping[str, Name]) -> tuple[list[str], Name | None]:
    """Return the numeral's one or two parts and the unit, or None where none was given."""
    plain = _plain(text, what)
    plain = re.sub(r"^([+-]) +", r"\1", plain)  # "- 0.3" is a number with a stray space
    plain = re.sub(r"([a-z])\.$", r"\1", plain)  # "in." is how many write inches
    tokens = _TOKEN.findall(plain)
    words = [t for t in tokens if t[0] not in "0123456789.,/+-"]
    numerals = tokens[: len(tokens) - len(words)]
    known = "".join(words)
    if known in units and tokens == numerals + words:
        return numerals, units[known]
    if len(words) > 1 and all(w in units for w in words):
        raise _refuse(text, Sentence.TWO_UNITS, what)
    if words and (tokens != numerals + words or not numerals):
        raise _refuse(text, Sentence.NO_NUMBER, what)
    if words:
        raise _refuse(text, Sentence.UNKNOWN_UNIT, what, unit=" ".join(words))
    return numerals, None


def _fraction(text: str, numeral: str, what: str) -> Fraction:
    match = _FRACTION.fullmatch(numeral)
    if not match:
        raise _refuse(text, Sentence.NO_NUMBER, what)
    sign, top, bottom = match.groups()
    if int(bottom) == 0:
        raise _refuse(text, Sentence.BY_ZERO, what)
    value = Fraction(int(top), int(bottom))
    return -value if sign == "-" else value


def _decimal(text: str, numeral: str, what: str) -> Fraction:
    if ("." in numeral and "," in numeral) or _THOUSANDS.fullmatch(numeral):
        raise _refuse(text, Sentence.AMBIGUOUS, what)
    if not _DECIMAL.fullmatch(numeral):
        raise _refuse(text, Sentence.NO_NUMBER, what)
    return Fraction(numeral.replace(",", ".").rstrip("."))


def _value(text: str, numerals: list[str], what: str) -> tuple[Fraction, bool]:
    """Return the exact number, and whether it was written as a fraction."""
    if len(numerals) == 1:
        if "/" in numerals[0]:
            return _fraction(text, numerals[0], what), True
        return _decimal(text, numerals[0], what), False
    if len(numerals) != 2 or not _WHOLE.fullmatch(numerals[0]) or numerals[1][0] in "+-":
        raise _refuse(text, Sentence.NOT_ONE_NUMBER, what)
    part = _fraction(text, numerals[1], what)
    if part >= 1:
        raise _refuse(text, Sentence.IMPROPER, what)
    whole = int(numerals[0])
    return (whole - part if numerals[0][0] == "-" else whole + part), True


def parse_length(text: str, default_unit: LengthUnit = "mm") -> Length:
    """Understand one length as typed.

    Parameters
    ----------
    text : str
        For example ``2.4``, ``2,4 mm``, ``0.094"``, ``6/64``, ``1 1/64 in``, ``½``. A fraction is
        in inches unless mm is said.
    default_unit : one of ``UNITS``
        Unit of a plain number without one.

    Returns
    -------
    Length
        In mm, with the unit it was given in and the text as typed.

    Raises
    ------
    ValueError
        If the text is not plainly one length, saying what was typed and what would be right.

    Examples
    --------
    >>> parse_length("6/64").mm
    2.38125
    """
    if default_unit not in UNITS:
        raise ValueError(f"default_unit must be {_ANY_UNIT}, got {default_unit!r}")
    numerals, named = _split(text, "length", _LENGTH_UNITS)
    value, is_fraction = _value(text, numerals, "length")
    unit = named or ("in" if is_fraction else default_unit)
    return _length(value, unit, text)


def _length(value: Fraction, unit: LengthUnit, text: str) -> Length:
    exact = value * _EXACT_MM[unit]
    if abs(exact) > LENGTH_LIMIT_MM:
        raise _refuse(text, Sentence.OVER_LENGTH, "length", limit=f"{LENGTH_LIMIT_MM:g}")
    return Length(float(exact), unit, text)


def parse_quantity(text: str, kind: QuantityKind, default_unit: str | None = None) -> Quantity:
    """Understand a humidity, temperature, number of turns or angle as typed.

    Parameters
    ----------
    text : str
        For example ``47 %``, ``70 °F``, ``3/8``, ``1 1/8 turns``, ``0.25°``. Fractions are for
        turns and angles.
    kind : {"humidity", "temperature", "turns", "angle"}
        What it is.
    default_unit : {"C", "F"}, optional
        Unit of a temperature without one; °C if not given. Has no meaning for the others.

    Returns
    -------
    Quantity
        In %, °C, turns or degrees, with the unit it was given in and the text as typed.

    Raises
    ------
    ValueError
        If the text is not plainly one such quantity or is out of range (``OutOfRangeError``), saying
        what was typed and what would be right.

    Examples
    --------
    >>> parse_quantity("1 1/8", "turns").value
    1.125
    """
    if kind not in _QUANTITY_UNITS:
        raise ValueError(f"kind must be one of {', '.join(_QUANTITY_UNITS)}, got {kind!r}")
    units = _QUANTITY_UNITS[kind]
    default = next(iter(units.values())) if default_unit is None else default_unit
    if default not in units.values():
        raise ValueError(f"default_unit of {kind} cannot be {default_unit!r}")
    numerals, named = _split(text, kind, units)
    value, is_fraction = _value(text, numerals, kind)
    if is_fraction and kind in ("humidity", "temperature"):
        raise _refuse(text, Sentence.FRACTION, kind)
    unit = named or default
    exact = (value - 32) * Fraction(5, 9) if unit == "F" else value
    low, high = _RANGES[kind]
    if not low <= exact <= high:
        limits = {"low": _number(low, 0), "high": _number(high, 0)}
        raise OutOfRangeError(_OUTSIDE[kind], _parts(text, _EXAMPLES[kind], limits))
    return Quantity(float(exact), unit, text)


def _number(value: float, decimals: int) -> str:
    """Write a number with a true minus sign, and none before a zero."""
    written = f"{abs(value):.{decimals}f}"
    return (MINUS if value < 0 and float(written) else "") + written


def _mixed(value: float, denominator: int, reduce: bool) -> str:
    """Write a number as whole and fraction, to the nearest of a denominator."""
    count = round(abs(value) * denominator)
    whole, rest = divmod(count, denominator)
    divisor = math.gcd(rest, denominator) if reduce else 1
    parts = [str(whole)] if whole or not rest else []
    if rest:
        parts.append(f"{rest // divisor}/{denominator // divisor}")
    return (MINUS if value < 0 and count else "") + " ".join(parts)


def format_length(mm: float, unit: LengthUnit = "mm", *, sixty_fourths: bool = False) -> str:
    """Write a length for people: ``2.40 mm``, ``0.094 in`` or ``6/64 in``.

    Parameters
    ----------
    mm : float
        Length. [mm]
    unit : one of ``UNITS``
        Unit to write, with its decimals: mm with two, inches with three.
    sixty_fourths : bool
        Inches as the nearest 64th instead; has no meaning for other units.

    Returns
    -------
    str
        With a true minus sign; :func:`parse_length` reads it back.

    Raises
    ------
    ValueError
        If the length is not finite or the unit is none of ``UNITS``.
    """
    value = mm
    if not (isinstance(mm, float) and -LENGTH_LIMIT_MM <= mm <= LENGTH_LIMIT_MM):
        # What takes any array says what is wrong, and is slow for one good number.
        value = float(as_between("mm", mm, -LENGTH_LIMIT_MM, LENGTH_LIMIT_MM))
    if unit not in UNITS:
        raise ValueError(f"unit must be {_ANY_UNIT}, got {unit!r}")
    size_mm, decimals = UNITS[unit]
    if sixty_fourths and unit == "in":
        return f"{_mixed(value / size_mm, SIXTY_FOURTHS, reduce=False)} in"
    return f"{_number(value / size_mm, decimals)} {unit}"


def format_turns(turns: float) -> str:
    """Write a number of turns to the nearest 16th: ``3/8 turn``, ``1 1/8 turns``.

    Parameters
    ----------
    turns : float
        Turns, either sign. [-]

    Returns
    -------
    str
        With a true minus sign; :func:`parse_quantity` reads it back.

    Raises
    ------
    ValueError
        If the number is not finite.
    """
    value = float(as_finite("turns", turns))
    noun = "turn" if 0 < abs(value) <= 1 else "turns"
    return f"{_mixed(value, 16, reduce=True)} {noun}"
