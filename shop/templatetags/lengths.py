"""Shows figures in the reader's unit."""

from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.translation import gettext as _

from geometry.units import LengthUnit
from shop.figures import length_words

register = template.Library()
DASH = "–"


def _missing(value_mm: Any) -> bool:
    """Nothing, not a number, or what a template gives for a name it does not know."""
    return value_mm is None or value_mm == "" or value_mm != value_mm


@register.filter
def in_unit(value_mm: Any, unit: LengthUnit = "mm") -> str:
    """A length with its unit, or a dash where there is none."""
    return DASH if _missing(value_mm) else length_words(value_mm, unit or "mm")


@register.filter
def both(value_mm: Any) -> str:
    """A length in both units, as it was understood."""
    if _missing(value_mm):
        return DASH
    return f"{length_words(value_mm, 'mm')} = {length_words(value_mm, 'in')}"


@register.filter
def both_lines(value_mm: Any) -> str:
    """A length in both units, one above the other, for a narrow column."""
    if _missing(value_mm):
        return DASH
    return format_html("{} <br>{}", length_words(value_mm, "mm"), length_words(value_mm, "in"))


@register.filter
def size(value_mm: Any) -> Any:
    """A length without its sign, for where words say which way."""
    return value_mm if _missing(value_mm) else abs(value_mm)


@register.filter
def above_or_below(value_mm: Any) -> str:
    return _("below") if value_mm < 0 else _("above")


@register.filter
def off(value_mm: Any, unit: LengthUnit = "mm") -> str:
    """A difference in words: ``0.20 mm higher``."""
    if _missing(value_mm):
        return DASH
    words = _("%(length)s higher") if value_mm > 0 else _("%(length)s lower")
    return words % {"length": length_words(abs(value_mm), unit)}


@register.filter
def lookup(mapping: dict[str, object], key: str) -> object:
    return mapping.get(key, "")
