"""Figures and days as the reader's language writes them: ``2.40 mm``, ``2,40 mm``; ``4 May``, ``4. Mai``.

Everything that a person reads goes through here or through Django's own filters; what a program reads
(exports, coordinates, addresses) does not.
"""

import re
from datetime import date, datetime

from django.utils.formats import date_format, get_format, number_format
from django.utils.timezone import localtime
from django.utils.translation import ngettext

from geometry.units import MINUS, LengthUnit, format_length, format_turns

# One comma before three digits: thousands to some, decimals to others.
_COMMA_BEFORE_THREE = re.compile(r"(?<![0-9.,])([1-9][0-9]*),([0-9]{3})(?![0-9]|[.,][0-9])")


def as_meant(typed: str) -> str:
    """What was typed, with a point in ``25,400`` where the language's own decimal sign is a comma."""
    if get_format("DECIMAL_SEPARATOR") != ",":
        return typed
    return _COMMA_BEFORE_THREE.sub(r"\1.\2", typed)


def localized(plain: str) -> str:
    """A figure written with a point, with the language's own decimal sign."""
    return plain.replace(".", str(get_format("DECIMAL_SEPARATOR")))


def length_words(mm: float, unit: LengthUnit = "mm") -> str:
    """A length with its unit: ``2.40 mm``, ``0.094 in``."""
    return localized(format_length(mm, unit))


def decimal(value: float, places: int) -> str:
    """A number with so many decimals, a true minus sign, and none before a zero."""
    written = f"{abs(value):.{places}f}"
    return localized((MINUS if value < 0 and float(written) else "") + written)


def shortest(value: float) -> str:
    """A number with as many decimals as it needs, at most six figures."""
    return localized(f"{value:g}".replace("-", MINUS))


def counted(number: int) -> str:
    """A count, its thousands grouped."""
    return str(number_format(number, force_grouping=True))


def turns_figure(turns: float) -> str:
    """Turns to the nearest 16th, without the word: ``1 1/8``."""
    return format_turns(turns).rsplit(" ", 1)[0]


def turns_words(turns: float, figure: str = "") -> str:
    """Turns to the nearest 16th, or as ``figure`` writes them: ``3/8 turn``, ``1 1/8 turns``."""
    many = 1 if 0 < abs(turns) <= 1 else 2
    return ngettext("%(figure)s turn", "%(figure)s turns", many) % {
        "figure": figure or turns_figure(turns)
    }


def day_words(day: date) -> str:
    """``4 May 2026``; of a moment, the day in the shop."""
    return date_format(_in_shop(day), "DATE_FORMAT")


def moment_words(moment: datetime) -> str:
    """``4 May 2026, 14:05``, in the shop's time."""
    return date_format(localtime(moment), "DATETIME_FORMAT")


def month_words(day: date) -> str:
    """``May 2026``."""
    return date_format(_in_shop(day), "YEAR_MONTH_FORMAT")


def _in_shop(day: date) -> date:
    return localtime(day) if isinstance(day, datetime) else day
