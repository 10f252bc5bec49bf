"""Sheets of labels by their dimensions, and where each label and what is on it lies. All in mm.

Distances are from the upper left corner of the paper. Labels are named by size and number: sheets of
the same size and number lie alike whoever makes them, but margins may differ by a millimetre, so print
one with outlines on plain paper first and hold it against the sheet.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from shop.figures import shortest

A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)
#: Room kept free inside each label, for the die's and the printer's play.
PAD_MM = 1.5
#: What a printer cannot reach at the paper's edge.
UNPRINTABLE_MM = 4.5
#: A code whose squares are smaller is hard to read for a phone.
LEAST_MODULE_MM = 0.4
MOST_CODE_MM = 30.0
QUIET_MODULES = 4  # free squares that a code needs around it (ISO/IEC 18004, from memory)


@dataclass(frozen=True)
class Box:
    """A rectangle on the paper."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Sheet:
    """A sheet of equal labels, in the middle of its paper unless ``top_mm`` says otherwise."""

    key: str
    paper_mm: tuple[float, float]
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    gap_mm: float = 0.0
    inches: str = ""

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def name(self) -> str:
        paper = "A4" if self.paper_mm == A4 else "Letter"
        size = f"{shortest(self.width_mm)} × {shortest(self.height_mm)} mm"
        also = f" ({self.inches})" if self.inches else ""
        return _("%(paper)s: %(size)s, %(count)s a sheet") % {
            "paper": paper,
            "size": f"{size}{also}",
            "count": self.count,
        }

    def box(self, place: int) -> Box:
        """The label at a place, counted from 0 along the rows; raises ``ValueError`` beyond the last."""
        if not 0 <= place < self.count:
            raise ValueError(f"place {place}: this sheet has {self.count} labels")
        row, column = divmod(place, self.columns)
        wide = self.columns * self.width_mm + (self.columns - 1) * self.gap_mm
        left = (self.paper_mm[0] - wide) / 2
        top = (self.paper_mm[1] - self.rows * self.height_mm) / 2
        return Box(
            left + column * (self.width_mm + self.gap_mm),
            top + row * self.height_mm,
            self.width_mm,
            self.height_mm,
        )

    def printable(self, place: int) -> Box:
        """The part of a label that may be printed on: inside its padding and the printer's reach."""
        box = self.box(place)
        left = max(box.left_mm + PAD_MM, UNPRINTABLE_MM)
        top = max(box.top_mm + PAD_MM, UNPRINTABLE_MM)
        right = min(box.left_mm + box.width_mm - PAD_MM, self.paper_mm[0] - UNPRINTABLE_MM)
        bottom = min(box.top_mm + box.height_mm - PAD_MM, self.paper_mm[1] - UNPRINTABLE_MM)
        return Box(left, top, right - left, bottom - top)

    @property
    def room_mm(self) -> tuple[float, float]:
        """Width and height that every label of the sheet has for print."""
        boxes = [self.printable(place) for place in range(self.count)]
        return min(box.width_mm for box in boxes), min(box.height_mm for box in boxes)

    @property
    def code_mm(self) -> float:
        """Side of the QR code, its quiet zone included."""
        width, height = self.room_mm
        return min(height, 0.55 * width, MOST_CODE_MM)

    def module_mm(self, modules: int) -> float:
        """Side of one square of a code that is ``modules`` wide without its quiet zone."""
        return self.code_mm / (modules + 2 * QUIET_MODULES)


SHEETS = (
    Sheet("a4-24", A4, 70, 37, 3, 8),
    Sheet("a4-21", A4, 63.5, 38.1, 3, 7, gap_mm=2.5),
    Sheet("a4-14", A4, 99.1, 38.1, 2, 7, gap_mm=2.5),
    Sheet("a4-40", A4, 48.5, 25.4, 4, 10),
    Sheet("a4-65", A4, 38.1, 21.2, 5, 13, gap_mm=2.5),
    Sheet("letter-30", LETTER, 66.7, 25.4, 3, 10, gap_mm=3.1, inches="2 5/8 × 1 in"),
    Sheet("letter-14", LETTER, 101.6, 33.9, 2, 7, gap_mm=4.8, inches="4 × 1 1/3 in"),
    Sheet("letter-10", LETTER, 101.6, 50.8, 2, 5, gap_mm=4.8, inches="4 × 2 in"),
)
SHEET_BY_KEY = {sheet.key: sheet for sheet in SHEETS}


def places(sheet: Sheet, count: int, start: int = 1) -> Iterator[tuple[int, int]]:
    """Page and place, each from 0, of ``count`` labels, the first at the ``start``-th of its sheet."""
    for number in range(start - 1, start - 1 + count):
        yield divmod(number, sheet.count)


#: Widths of bold letters as parts of their size, each a little more than the print's own.
_WIDTHS = {**dict.fromkeys("MWmw@%", 1.11), **dict.fromkeys("-. IJijlt", 0.44)}
MOST_LETTER_MM, LEAST_LETTER_MM = 9.0, 2.2
LINE = 1.15  # of a tag, in letter sizes


def letters_wide(text: str) -> float:
    """How wide a tag is in bold, in letter sizes."""
    return sum(_WIDTHS.get(letter, 0.72 if letter.isdigit() else 0.86) for letter in text)


def tag_size_mm(tag: str, width_mm: float) -> float:
    """Size of letters with which a tag fits on a line, or the least that it may have and be broken."""
    fitting = width_mm / max(letters_wide(tag), 1.0)
    return math.floor(10 * max(LEAST_LETTER_MM, min(MOST_LETTER_MM, fitting))) / 10
