"""How an instrument is named on a page."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()


@register.filter
def whole(named: object) -> SafeString:
    """An instrument, or its tag, with the tag kept in one piece: a line never ends at its hyphen.

    Raises nothing: whatever is given is written as text, its first word kept together.
    """
    tag, space, rest = str(named).partition(" ")
    return format_html('<span class="tag">{}</span>{}{}', tag, space, rest)
