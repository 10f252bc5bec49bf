"""What a joint sheet is made of: lines of a name and a figure, rows of a table."""

from typing import NamedTuple

from instruments.models import JointKind

#: Joints whose angle may be set again without being taken apart: they have room of their own.
ROOMY = (JointKind.TILTING, JointKind.SHIMMED)


class Line(NamedTuple):
    name: str
    words: str


class Row(NamedTuple):
    name: str
    cells: list[str]
