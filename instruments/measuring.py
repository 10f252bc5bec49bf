"""The order in which an instrument is measured: its own, or the trade's usual one."""

import re
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

RELIEF, ACTION, SADDLE, RISE = "relief", "action", "saddle", "bridge rise"
MARGINS, HUMIDITY, TEMPERATURE = "margins", "humidity", "temperature"

#: Common practice, no source: the strings first, then the bridge, then the room. Margins are read now
#: and then only, so they have no place of their own unless an instrument gives them one.
USUAL_ORDER = (RELIEF, ACTION, SADDLE, RISE, HUMIDITY, TEMPERATURE)
GROUPS = (*USUAL_ORDER, MARGINS)
#: Of two sides the treble is read first; all frets of one string before the other string.
TREBLE_FIRST = "treble first"
ALONG_STRINGS = "along each string"
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
    """Words of an order, separated by commas or lines; raises ``ValueError`` saying which are known."""
    words = [" ".join(word.lower().split()) for word in re.split(r"[,;\r\n]", text)]
    words = [word for word in words if word]
    for word in words:
        if word not in WORDS:
            near = get_close_matches(word, WORDS, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            shown = word if len(word) <= 40 else word[:40] + "…"
            raise ValueError(f"“{shown}” is not known here.{hint} Known: {', '.join(WORDS)}.")
        if words.count(word) > 1:
            raise ValueError(f"“{word}” stands twice; name each once, in the order of measuring.")
    return words


class OrderField(forms.CharField):
    """An order of measuring as words separated by commas; cleans to a list."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 200)
        kwargs.setdefault("label", "Order of measuring")
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 1}))
        kwargs.setdefault(
            "help_text",
            f"Empty: {', '.join(USUAL_ORDER)}. Name what comes first; the rest follows. "
            f"{MARGINS.capitalize()}, {TREBLE_FIRST} and {ALONG_STRINGS} may be named too.",
        )
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(map(str, value)) if isinstance(value, list) else value

    def to_python(self, value: Any) -> list[str]:  # type: ignore[override]
        try:
            return parse_order(str(value or ""))
        except ValueError as error:
            raise ValidationError(f"Order of measuring: {error}") from error

    def run_validators(self, value: Any) -> None:
        """The text has been read; a list has no length to check."""
