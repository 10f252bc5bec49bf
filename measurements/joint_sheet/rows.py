"""What a joint sheet is made of: lines of a name and a figure, rows of a table."""

from typing import NamedTuple


class Line(NamedTuple):
    name: str
    words: str


class Row(NamedTuple):
    name: str
    cells: list[str]
