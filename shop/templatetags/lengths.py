"""Shows figures in the reader's unit."""

from typing import Any

from django import template

from geometry.units import LengthUnit, format_length

register = template.Library()
DASH = "–"


def _missing(value_mm: Any) -> bool:
    """Nothing, not a number, or what a template gives for a name it does not know."""
    return value_mm is None or value_mm == "" or value_mm != value_mm


@register.filter
def length(value_mm: Any, unit: LengthUnit = "mm") -> str:
    """A length with its unit, or a dash where there is none."""
    return DASH if _missing(value_mm) else format_length(value_mm, unit or "mm")


@register.filter
def both(value_mm: Any) -> str:
    """A length in both units, as it was understood."""
    if _missing(value_mm):
        return DASH
    return f"{format_length(value_mm, 'mm')} = {format_length(value_mm, 'in')}"


@register.filter
def lookup(mapping: dict[str, object], key: str) -> object:
    return mapping.get(key, "")
