"""What ``geometry`` says of a text that is no reading, in the reader's language.

``geometry`` knows nothing of languages: its sentences stand here again, for the translators' catalogue.
"""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.refusals import Phrase, RefusedTextError

#: Every ``geometry.refusals.Sentence`` and ``Phrase``.
SAID = (
    gettext_noop("Nothing was typed (“%(typed)s”); write %(example)s."),
    gettext_noop(
        "“%(typed)s” is %(length)s characters long, more than %(limit)s; write %(example)s."
    ),
    gettext_noop("“%(typed)s” holds an invisible control character; write %(example)s."),
    gettext_noop("“%(typed)s” names two units; write %(example)s."),
    gettext_noop("“%(typed)s” is not a plain number; write %(example)s."),
    gettext_noop("“%(typed)s” is not one plain number; write %(example)s."),
    gettext_noop("“%(typed)s” has a unit that is not known here, %(unit)s; write %(example)s."),
    gettext_noop("“%(typed)s” divides by zero; write %(example)s."),
    gettext_noop(
        "“%(typed)s” is ambiguous: the comma may mark thousands or decimals; write %(example)s."
    ),
    gettext_noop(
        "“%(typed)s” has a whole number beside a fraction of one or more; write %(example)s."
    ),
    gettext_noop("“%(typed)s” is a fraction; write %(example)s."),
    gettext_noop("“%(typed)s” is more than %(limit)s mm; write %(example)s."),
    gettext_noop("“%(typed)s” is outside %(low)s to %(high)s %%; write %(example)s."),
    gettext_noop("“%(typed)s” is outside %(low)s to %(high)s °C; write %(example)s."),
    gettext_noop("“%(typed)s” is outside %(low)s to %(high)s turns; write %(example)s."),
    gettext_noop("“%(typed)s” is outside %(low)s to %(high)s °; write %(example)s."),
    gettext_noop(
        "“%(typed)s” has both spaces and semicolons between its readings; write %(example)s."
    ),
    gettext_noop("“%(typed)s” holds %(count)s readings, more than %(limit)s; write %(example)s."),
    gettext_noop("“%(typed)s” does not begin with a number; write %(example)s."),
    gettext_noop(
        "“%(typed)s” may be one number with a stray space, or several; write %(example)s."
    ),
    gettext_noop(
        "“%(typed)s” has whole numbers and fractions that may belong together or not; write %(example)s."
    ),
    gettext_noop(
        "“%(typed)s” mixes fractions, which are inches, with millimetres; write %(example)s."
    ),
    gettext_noop("“%(typed)s” names the unit of some readings only; write %(example)s."),
    gettext_noop('a number such as 2.4 mm, 0.094" or 3/32 in'),
    gettext_noop("a number such as 47 or 47 %"),
    gettext_noop("a number such as 21 °C or 70 °F"),
    gettext_noop("a number of turns such as 3/8, 0.375 or 1 1/8"),
    gettext_noop("a number of degrees such as 0.25 or 0.25°"),
    gettext_noop("2.4 2.5 2.4 mm, or 6/64; 1 1/64 with semicolons"),
)


def in_words(error: ValueError) -> str:
    """Why a text was refused: ``geometry``'s own sentence translated; any other error as it stands."""
    if not isinstance(error, RefusedTextError):
        return str(error)
    parts = {
        name: _(part) if isinstance(part, Phrase) else part for name, part in error.parts.items()
    }
    return _(error.pattern) % parts
