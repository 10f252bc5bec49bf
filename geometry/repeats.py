"""Repeat readings of one place: several lengths in one text, and what their mean is worth.

``2.4 2.5 2.4`` is three readings, and so is ``2.4, 2.5, 2.4``. The unit may stand after each or
once at the end; what could be read in two ways is refused, saying how to write it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import fsum, sqrt
from statistics import fmean, stdev

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_between, as_not_negative
from geometry.constants import REPEATS_LIMIT, VISIT_SD_MM
from geometry.constants import REPEATS_TEXT_LIMIT as REPEATS_TEXT_LIMIT  # for the forms too
from geometry.refusals import Phrase, RefusedTextError, Sentence
from geometry.units import (
    _FRACTION,
    _LENGTH_UNITS,
    _TOKEN,
    _WHOLE,
    Length,
    LengthUnit,
    _length,
    _parts,
    _plain,
    _value,
    parse_length,
)

#: A reading further from the mean of the others than this is asked about. [s.d.] At four, two good
#: readings are asked about once in 200 times.
ODD_U = 4.0
#: Readings that the gauge's own standard deviation is worth, beside those taken here.
GAUGE_WORTH = 8.0

_DIGITS = "0123456789.,/+-"
# What stands before a comma that a space follows, and after it.
_COMMA = re.compile(r"([0-9.,/]*[0-9]|[a-z\"']) ?, +(?=([+-]?[0-9.,/]*))")


@dataclass(frozen=True)
class _Piece:
    """One reading still as text: its one or two numerals and the unit written after it."""

    numerals: tuple[str, ...]
    named: LengthUnit | None

    @property
    def is_fraction(self) -> bool:
        return "/" in self.numerals[-1]

    @property
    def text(self) -> str:
        return " ".join((*self.numerals, *([self.named] if self.named else [])))


def _refuse(text: str, why: Sentence, **parts: str) -> RefusedTextError:
    return RefusedTextError(why, _parts(text, Phrase.LENGTHS, parts))


def parse_lengths(text: str, default_unit: LengthUnit = "mm") -> tuple[Length, ...]:
    """Understand one reading or several readings of one place, as typed.

    Parameters
    ----------
    text : str
        For example ``2.4``, ``2.4 2.5 2.4 mm``, ``2.4, 2.5``, ``2,4; 2,5``, ``0.094" 0.095"``, ``6/64 7/64``,
        ``1 1/64; 1 3/64``. A whole number before a fraction belongs to it.
    default_unit : one of ``UNITS``
        Unit of a plain number where none is written.

    Returns
    -------
    tuple of Length
        In mm, in the order typed.

    Raises
    ------
    ValueError
        If the text is not plainly one to twenty lengths, saying what would be right.

    Examples
    --------
    >>> [reading.mm for reading in parse_lengths("2,4; 2,5 mm")]
    [2.4, 2.5]
    """
    spaced = re.sub(r"[\t\r\n]+", " ", text) if isinstance(text, str) else text
    plain = _plain(spaced, "length", REPEATS_TEXT_LIMIT)
    plain = re.sub(r"^([+-]) +", r"\1", plain)
    plain = re.sub(r"(?<=[a-z])\.(?=[\s;]|$)", "", plain)  # "in." is how many write inches
    plain = _COMMA.sub(_separated, plain)
    if not any(c.isdigit() for c in plain):
        return (parse_length(spaced, default_unit),)  # refuses it, saying what it lacks
    parts = [part for part in plain.split(";") if part.strip()]
    pieces = [_pieces(text, part) for part in parts]
    if len(parts) > 1 and any(len(found) > 1 for found in pieces):
        raise _refuse(text, Sentence.SPACES_AND_SEMICOLONS)
    flat = [piece for found in pieces for piece in found]
    if len(flat) <= 1:  # its own parser knows more of what may be wrong with a single one
        return (parse_length(spaced.strip().rstrip("; "), default_unit),)
    if len(flat) > REPEATS_LIMIT:
        raise _refuse(text, Sentence.TOO_MANY, count=str(len(flat)), limit=str(REPEATS_LIMIT))
    units = _units(text, flat, default_unit)
    return tuple(
        _length(_value(text, list(piece.numerals), "length")[0], unit, piece.text)
        for piece, unit in zip(flat, units, strict=True)
    )


def _separated(found: re.Match[str]) -> str:
    """A comma and a space between readings as a semicolon; ``2, 4`` is left, it may be one number."""
    before, after = found[1], found[2].rstrip(",")
    is_plain = before[-1] not in _DIGITS or any(mark in before + after for mark in ".,/")
    return f"{before}; " if is_plain else found[0]


def _pieces(text: str, part: str) -> list[_Piece]:
    """Cut a text without semicolons into readings."""
    found: list[_Piece] = []
    group: list[str] = []
    words = ""
    for token in [*_TOKEN.findall(part), "0"]:  # the last one only closes what stands before it
        if token[0] not in _DIGITS:
            words += token
            continue
        if words:
            found += _group(text, group, words)
            group, words = [], ""
        group.append(token)
    return found + _group(text, group[:-1], "")


def _group(text: str, group: list[str], words: str) -> list[_Piece]:
    """Readings up to a unit, or to the end; only the last of them is followed by the unit."""
    if not group:
        if words:
            raise _refuse(text, Sentence.UNIT_FIRST)
        return []
    if words and words not in _LENGTH_UNITS:
        raise _refuse(text, Sentence.UNKNOWN_UNIT, unit=words)
    _refuse_split_numbers(text, group)
    numerals = _joined(text, group)
    unit = _LENGTH_UNITS[words] if words else None
    plain = [_Piece(item, None) for item in numerals[:-1]]
    return [*plain, _Piece(numerals[-1], unit)]


def _refuse_split_numbers(text: str, group: list[str]) -> None:
    """``2, 4`` and ``2 .4`` may be one number with a stray space as well as two."""
    for before, after in pairwise(group):
        if before[-1] in ".," or (after[0] in ".," and _WHOLE.fullmatch(before)):
            raise _refuse(text, Sentence.STRAY_SPACE)


def _joined(text: str, group: list[str]) -> list[tuple[str, ...]]:
    """Join each whole number with the fraction after it."""
    mixed: list[tuple[str, ...]] = []
    left = list(group)
    while left:
        fraction = len(left) > 1 and _FRACTION.fullmatch(left[1]) and _WHOLE.fullmatch(left[0])
        size = 2 if fraction and left[1][0] not in "+-" else 1
        mixed.append(tuple(left[:size]))
        left = left[size:]
    sizes = {len(item) for item in mixed}
    if len(sizes) > 1:
        raise _refuse(text, Sentence.MIXED_NUMBERS)
    return mixed


def _units(text: str, pieces: Sequence[_Piece], default: LengthUnit) -> list[LengthUnit]:
    """The unit of each reading: its own, the one at the end, or the usual one."""
    named = [piece.named for piece in pieces if piece.named]
    if len(named) == 1 and pieces[-1].named:
        fractions = {piece.is_fraction for piece in pieces}
        if len(fractions) > 1 and named[0] != "in":
            raise _refuse(text, Sentence.INCHES_AND_MM)
        return [named[0]] * len(pieces)
    units: list[LengthUnit] = [
        piece.named or ("in" if piece.is_fraction else default) for piece in pieces
    ]
    if len(named) < len(pieces) and len(set(units)) > 1:
        raise _refuse(text, Sentence.SOME_UNITS)
    return units


def odd_one(readings_mm: Sequence[float], gauge_u_mm: float) -> int | None:
    """Which reading lies too far from the others of its place to be the gauge's own scatter.

    Parameters
    ----------
    readings_mm : sequence of float
        Readings of one place. [mm]
    gauge_u_mm : float
        Standard deviation of one reading. [mm]

    Returns
    -------
    int or None
        The place in the sequence of the one farthest off, where it lies more than four standard
        deviations of such a difference from the mean of the others.

    Notes
    -----
    A reading less the mean of n − 1 others scatters by u·√(n/(n − 1)): JCGM 100:2008 (GUM), 5.1.
    """
    n = len(readings_mm)
    if n < 2:
        return None
    total = fsum(readings_mm)
    off = [abs(value - (total - value) / (n - 1)) for value in readings_mm]
    worst = max(off)
    if worst <= ODD_U * gauge_u_mm * sqrt(n / (n - 1)) + 1e-9:
        return None
    return n - 1 - off[::-1].index(worst)  # of two, the later one: the first was not doubted


def mean_and_spread(readings_mm: Sequence[float]) -> tuple[float, float | None]:
    """Mean of some readings and their sample standard deviation; None for a single one. [mm]"""
    spread = stdev(readings_mm) if len(readings_mm) > 1 else None
    return fmean(readings_mm), spread


def _mean_variance(
    gauge_u_mm: ArrayLike, count: ArrayLike, spread_mm: ArrayLike | None
) -> FloatArray:
    """Variance of the mean of repeat readings; arguments as :func:`visit_u`, NaN is no spread. [mm²]"""
    n = as_between("count", count, 1, np.inf)
    known = as_not_negative("gauge_u_mm", gauge_u_mm)
    seen = as_not_negative("spread_mm", spread_mm, missing_ok=True)
    more = np.where(np.isnan(seen), 0.0, n - 1.0)
    squares = GAUGE_WORTH * known**2 + more * np.where(np.isnan(seen), 0.0, seen) ** 2
    return np.asarray(squares / (GAUGE_WORTH + more) / n)


def mean_u(gauge_u_mm: ArrayLike, count: ArrayLike, spread_mm: ArrayLike | None) -> FloatArray:
    """Standard uncertainty of the mean of repeat readings of one place.

    Parameters
    ----------
    gauge_u_mm : array_like
        Standard deviation of one reading with this gauge, as the shop knows it. [mm]
    count : array_like
        How many readings, at least one.
    spread_mm : array_like or None
        Their sample standard deviation; None or NaN for a single one. All broadcast. [mm]

    Returns
    -------
    ndarray
        u = √(s²/n), where s² pools what the gauge is known for, worth eight readings, with what was
        seen here. [mm]

    Raises
    ------
    ValueError
        If there is no reading, or a figure is negative.

    Notes
    -----
    JCGM 100:2008 (GUM), 4.2.3 and H.3.6 (pooled experimental standard deviation). The worth of the
    gauge's own figure is a planning default without a source.
    """
    return np.sqrt(_mean_variance(gauge_u_mm, count, spread_mm))


def visit_u(gauge_u_mm: ArrayLike, count: ArrayLike, spread_mm: ArrayLike | None) -> FloatArray:
    """What a visit's mean reading is worth for the lift, as the s.d. of one reading worth as much.

    Parameters
    ----------
    gauge_u_mm, count, spread_mm : array_like
        As for :func:`mean_u`; NaN is no spread. All broadcast.

    Returns
    -------
    ndarray
        ``gauge_u_mm`` itself for a single reading; less for readings that agree, but never below what
        leaves v of it; more for readings that scatter. [mm]

    Raises
    ------
    ValueError
        As :func:`mean_u`.

    Notes
    -----
    A reading misses the law of lift by what moves between visits, of s.d. v (``VISIT_SD_MM``: weather
    that the wood has not followed yet, string tension, where the rule lay), and by the gauge. The mean
    of a visit's readings keeps v² and has u² of the gauge (:func:`mean_u`), so that the variance about
    the law falls from v² + g² to v² + u²: JCGM 100:2008 (GUM), 5.1, independent contributions.
    """
    kept = VISIT_SD_MM**2
    single = as_not_negative("gauge_u_mm", gauge_u_mm)
    mean = _mean_variance(single, count, spread_mm)
    return np.asarray(single * np.sqrt((kept + mean) / (kept + single**2)))
