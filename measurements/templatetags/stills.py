"""The still picture of a chart, in its place until the chart's script is there."""

from collections.abc import Mapping
from typing import Any

from django import template

from measurements.drawings.figure_svg import still_pictures

register = template.Library()


@register.inclusion_tag("measurements/drawings/_stills.html")
def stills(figure: Mapping[str, Any], *words: object) -> dict[str, Any]:
    """A chart of the record, drawn by the server; ``words``, put together, say what it shows."""
    return {"stills": still_pictures(figure, "".join(map(str, words)))}
