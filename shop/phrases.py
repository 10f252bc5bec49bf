"""Joints between phrases, as the reader's language makes them."""

from collections.abc import Sequence

from django.utils.translation import get_language
from django.utils.translation import gettext as _


def listed(parts: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``; empty without parts."""
    if len(parts) < 2:
        return "".join(parts)
    return _("%(most)s and %(last)s") % {"most": ", ".join(parts[:-1]), "last": parts[-1]}


def running_on(sentence: str) -> str:
    """A sentence that goes on after a colon or a comma: English then begins it small.

    German keeps the capital: of a noun always, and of a whole sentence after a colon.
    """
    if (get_language() or "en").startswith("en"):
        return f"{sentence[:1].lower()}{sentence[1:]}"
    return sentence
