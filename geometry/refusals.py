"""Why a text is no reading: each sentence whole, its parts named, so that another language can say it.

``str(error)`` is the English sentence; what speaks to people may translate ``error.pattern``, and those of
``error.parts`` that are a ``Phrase``, and put them together itself.
"""

from collections.abc import Mapping
from enum import StrEnum

from geometry.marking import gettext_noop


class Sentence(StrEnum):
    """What is wrong with what was typed, and what would be right."""

    NOTHING = gettext_noop("Nothing was typed (“%(typed)s”); write %(example)s.")
    TOO_LONG = gettext_noop(
        "“%(typed)s” is %(length)s characters long, more than %(limit)s; write %(example)s."
    )
    CONTROL = gettext_noop("“%(typed)s” holds an invisible control character; write %(example)s.")
    TWO_UNITS = gettext_noop("“%(typed)s” names two units; write %(example)s.")
    NO_NUMBER = gettext_noop("“%(typed)s” is not a plain number; write %(example)s.")
    NOT_ONE_NUMBER = gettext_noop("“%(typed)s” is not one plain number; write %(example)s.")
    UNKNOWN_UNIT = gettext_noop(
        "“%(typed)s” has a unit that is not known here, %(unit)s; write %(example)s."
    )
    BY_ZERO = gettext_noop("“%(typed)s” divides by zero; write %(example)s.")
    AMBIGUOUS = gettext_noop(
        "“%(typed)s” is ambiguous: the comma may mark thousands or decimals; write %(example)s."
    )
    IMPROPER = gettext_noop(
        "“%(typed)s” has a whole number beside a fraction of one or more; write %(example)s."
    )
    FRACTION = gettext_noop("“%(typed)s” is a fraction; write %(example)s.")
    OVER_LENGTH = gettext_noop("“%(typed)s” is more than %(limit)s mm; write %(example)s.")
    NO_HUMIDITY = gettext_noop("“%(typed)s” is outside %(low)s to %(high)s %%; write %(example)s.")
    NO_TEMPERATURE = gettext_noop(
        "“%(typed)s” is outside %(low)s to %(high)s °C; write %(example)s."
    )
    NO_TURNS = gettext_noop("“%(typed)s” is outside %(low)s to %(high)s turns; write %(example)s.")
    NO_ANGLE = gettext_noop("“%(typed)s” is outside %(low)s to %(high)s °; write %(example)s.")
    SPACES_AND_SEMICOLONS = gettext_noop(
        "“%(typed)s” has both spaces and semicolons between its readings; write %(example)s."
    )
    TOO_MANY = gettext_noop(
        "“%(typed)s” holds %(count)s readings, more than %(limit)s; write %(example)s."
    )
    UNIT_FIRST = gettext_noop("“%(typed)s” does not begin with a number; write %(example)s.")
    STRAY_SPACE = gettext_noop(
        "“%(typed)s” may be one number with a stray space, or several; write %(example)s."
    )
    MIXED_NUMBERS = gettext_noop(
        "“%(typed)s” has whole numbers and fractions that may belong together or not; "
        "write %(example)s."
    )
    INCHES_AND_MM = gettext_noop(
        "“%(typed)s” mixes fractions, which are inches, with millimetres; write %(example)s."
    )
    SOME_UNITS = gettext_noop(
        "“%(typed)s” names the unit of some readings only; write %(example)s."
    )


class Phrase(StrEnum):
    """What would be right, as it stands in a sentence."""

    LENGTH = gettext_noop('a number such as 2.4 mm, 0.094" or 3/32 in')
    HUMIDITY = gettext_noop("a number such as 47 or 47 %")
    TEMPERATURE = gettext_noop("a number such as 21 °C or 70 °F")
    TURNS = gettext_noop("a number of turns such as 3/8, 0.375 or 1 1/8")
    ANGLE = gettext_noop("a number of degrees such as 0.25 or 0.25°")
    LENGTHS = gettext_noop("2.4 2.5 2.4 mm, or 6/64; 1 1/64 with semicolons")


class RefusedTextError(ValueError):
    """A text that is not plainly what it should be.

    Parameters
    ----------
    pattern : Sentence
        The English sentence, with a named place for each part.
    parts : mapping of str to str
        What stands in those places.
    """

    def __init__(self, pattern: Sentence, parts: Mapping[str, str]) -> None:
        super().__init__(pattern % dict(parts))
        self.pattern = pattern
        self.parts = dict(parts)


class OutOfRangeError(RefusedTextError):
    """A quantity that is plainly one number, but beyond what it can be anywhere."""
