"""Why a text that was typed was refused, in the reader's language."""

from django.utils.translation import gettext as _

from geometry.units import RefusedTextError


def in_words(error: ValueError) -> str:
    """What an error says; of a text that could not be read, in the language of the page."""
    if not isinstance(error, RefusedTextError):
        return str(error)
    return f"{_(error.why) % error.values}; {_(error.example)}."
