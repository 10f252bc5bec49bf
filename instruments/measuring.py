"""The order in which an instrument is measured: its own, or the trade's usual one."""

import re
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import lazy
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

#: As an order is kept; it is shown, and may be typed, in the reader's language.
RELIEF, ACTION = gettext_noop("relief"), gettext_noop("action")
SADDLE, RISE = gettext_noop("saddle"), gettext_noop("bridge rise")
MARGINS = gettext_noop("margins")
HUMIDITY, TEMPERATURE = gettext_noop("humidity"), gettext_noop("temperature")

#: Common practice, no source: the strings first, then the bridge, then the room. Margins are read now
#: and then only, so they have no place of their own unless an instrument gives them one.
USUAL_ORDER = (RELIEF, ACTION, SADDLE, RISE, HUMIDITY, TEMPERATURE)
GROUPS = (*USUAL_ORDER, MARGINS)
#: Of two sides the treble is read first; all frets of one string before the other string.
TREBLE_FIRST = gettext_noop("treble first")
ALONG_STRINGS = gettext_noop("along each string")
WORDS = (*GROUPS, TREBLE_FIRST, ALONG_STRINGS)


def groups_in_order(stored: Sequence[str]) -> tuple[str, ...]:
    """Groups of readings in the order of an instrument; what it does not name follows as usual."""
    named = [word for word in stored if word in GROUPS]
    return (*dict.fromkeys(named), *(word for word in USUAL_ORDER if word not in named))


def places_in_order(
    stored: Sequence[str], frets: Sequence[int], sides: Sequence[str] = ("bass", "treble")
) -> list[list[tuple[int, str]]]:
    """Places where the action is read, as rows of (fret, side): a row a fret, or a row a string."""
    sides = tuple(reversed(sides)) if TREBLE_FIRST in stored else tuple(sides)
    if ALONG_STRINGS in stored:
        return [[(fret, side) for fret in frets] for side in sides]
    return [[(fret, side) for side in sides] for fret in frets]


def parse_order(text: str) -> list[str]:
    """Words of an order, separated by commas or lines, as they are kept.

    Raises ``ValueError`` saying which are known, in the reader's language.
    """
    known = {word: word for word in WORDS} | {_(word).lower(): word for word in WORDS}
    found: list[str] = []
    for typed in re.split(r"[,;\r\n]", text):
        word = " ".join(typed.lower().split())
        if not word:
            continue
        if word not in known:
            raise ValueError(_unknown(word, known))
        if known[word] in found:
            raise ValueError(
                _("“%(word)s” stands twice; name each once, in the order of measuring.")
                % {"word": word}
            )
        found.append(known[word])
    return found


def _unknown(word: str, known: dict[str, str]) -> str:
    shown = word if len(word) <= 40 else word[:40] + "…"
    listed = ", ".join(_(one) for one in WORDS)
    near = get_close_matches(word, known, n=1)
    if not near:
        return _("“%(word)s” is not known here. Known: %(known)s.") % {
            "word": shown,
            "known": listed,
        }
    return _("“%(word)s” is not known here. Did you mean %(near)s? Known: %(known)s.") % {
        "word": shown,
        "near": _(known[near[0]]),
        "known": listed,
    }


def _help() -> str:
    return _(
        "Empty: %(usual)s. Name what comes first; the rest follows. %(margins)s, %(treble)s and "
        "%(along)s may be named too."
    ) % {
        "usual": ", ".join(_(word) for word in USUAL_ORDER),
        "margins": capfirst(_(MARGINS)),
        "treble": _(TREBLE_FIRST),
        "along": _(ALONG_STRINGS),
    }


_help_later = lazy(_help, str)


class OrderField(forms.CharField):
    """An order of measuring as words separated by commas; cleans to a list."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 200)
        kwargs.setdefault("label", gettext_lazy("Order of measuring"))
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 1}))
        kwargs.setdefault("help_text", _help_later())
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(_(str(word)) for word in value) if isinstance(value, list) else value

    def to_python(self, value: Any) -> list[str]:  # type: ignore[override]
        try:
            return parse_order(str(value or ""))
        except ValueError as error:
            raise ValidationError(f"{self.label}: {error}") from error

    def run_validators(self, value: Any) -> None:
        """The text has been read; a list has no length to check."""
