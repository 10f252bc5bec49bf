"""Shows figures in the reader's unit."""

from django import template
from geometry.units import format_length

register = template.Library()


@register.filter
def length(value_mm: float | None, unit: str = "mm") -> str:
    """A length with its unit, or a dash where there is none."""
    return "–" if value_mm is None else format_length(value_mm, unit or "mm")


@register.filter
def signed(value_mm: float | None, unit: str = "mm") -> str:
    """A difference of lengths, its sign always shown."""
    if value_mm is None:
        return "–"
    text = format_length(value_mm, unit or "mm")
    return text if text.startswith("−") else f"+{text}"


@register.filter
def both(value_mm: float | None) -> str:
    """A length in both units, as it was understood."""
    if value_mm is None:
        return "–"
    return f"{format_length(value_mm, 'mm')} = {format_length(value_mm, 'in')}"


@register.filter
def lookup(mapping: dict[str, object], key: str) -> object:
    return mapping.get(key, "")
