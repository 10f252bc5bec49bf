"""Attributes of a picture's lines and texts, whether it was made just now or is frozen in a report."""

from typing import Any

from django import template
from django.utils.safestring import SafeString

from measurements.drawings.parts import Line, Text

register = template.Library()


@register.filter
def ends(line: Line | dict[str, Any]) -> SafeString:
    """``x1="…" y1="…" x2="…" y2="…"``."""
    return (Line(**line) if isinstance(line, dict) else line).ends


@register.filter
def place(text: Text | dict[str, Any]) -> SafeString:
    """``x="…" y="…" text-anchor="…"``."""
    return (Text(**text) if isinstance(text, dict) else text).place
