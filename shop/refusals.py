"""What ``geometry`` says of a text that is no reading, in the reader's language."""

from django.utils.translation import gettext as _

from geometry.refusals import Phrase, RefusedTextError


def in_words(error: ValueError) -> str:
    """Why a text was refused: ``geometry``'s own sentence translated; any other error as it stands."""
    if not isinstance(error, RefusedTextError):
        return str(error)
    parts = {
        name: _(part) if isinstance(part, Phrase) else part for name, part in error.parts.items()
    }
    return _(error.pattern) % parts
