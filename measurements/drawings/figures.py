"""Plotly's figures as the plain data that its script takes.

The library's own figure objects check and copy every property as it is set, at some fifty times the
cost, on every page with a chart. Here the data are written down, and the tests have that library check
them.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from functools import cache
from math import isfinite
from typing import Any

from django.utils.dates import MONTHS, MONTHS_3, WEEKDAYS, WEEKDAYS_ABBR
from django.utils.formats import get_format
from django.utils.translation import get_language, override

CONFIG = {
    "displaylogo": False,
    "responsive": True,
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displayModeBar": False,
}
FONT = {"family": "system-ui, sans-serif", "size": 13}
#: Letters of a name beside its figure; the library's own 15 cut most of them short.
HOVER = {"namelength": 30}
#: Django's letters for parts of a day, as the script's.
_LETTERS = {"j": "%-d", "M": "%b", "F": "%b", "Y": "%Y"}
#: The library's theme "none": nothing is set for us.
NO_THEME = {"data": {"scatter": [{"type": "scatter"}]}}


def scatter(
    x: Iterable[date | float | None], y: Iterable[float | None], *, row: int = 0, **more: Any
) -> dict[str, Any]:
    """Points or a line; ``row`` counts the axes of a figure with several from 1."""
    trace = {"type": "scatter", "x": _plain(x), "y": _plain(y), **more}
    if row:
        trace |= {"xaxis": f"x{_place(row)}", "yaxis": f"y{_place(row)}"}
    return trace


def axis_name(letter: str, row: int) -> str:
    """What the layout calls an axis: ``xaxis``, ``xaxis2`` …"""
    return f"{letter}axis{_place(row)}"


def rows_on_one_time_axis(heights: Sequence[float], gap: float) -> dict[str, Any]:
    """Axes of rows above one another, each a share of what the gaps leave; the days stand below."""
    count = len(heights)
    free = (1.0 - gap * (count - 1)) / sum(heights)
    axes: dict[str, Any] = {}
    top = 1.0
    for row, height in enumerate(heights, start=1):
        bottom = top - height * free if row < count else 0.0
        days: dict[str, Any] = {"anchor": f"y{_place(row)}", "domain": [0.0, 1.0]}
        if row < count:
            days |= {"matches": f"x{count}", "showticklabels": False}
        axes[axis_name("x", row)] = days
        domain = [round(bottom, 9), round(top, 9)]
        axes[axis_name("y", row)] = {"anchor": f"x{_place(row)}", "domain": domain}
        top = bottom - gap
    return axes


def figure(data: list[dict[str, Any]], layout: dict[str, Any]) -> dict[str, Any]:
    """What ``Plotly.newPlot`` is given."""
    return {
        "data": data,
        "layout": {"template": NO_THEME, "font": FONT, "hoverlabel": HOVER, **layout},
        "config": CONFIG | _written_in(get_language() or "en"),
    }


def day_format() -> str:
    """How the script is to write a day: ``%-d %b %Y``, with the month's name cut short."""
    return _days("SHORT_DATE_FORMAT")


def _days(name: str) -> str:
    return "".join(_LETTERS.get(sign, sign) for sign in str(get_format(name)))


@cache
def _written_in(language: str) -> dict[str, Any]:
    """What makes the script write days and figures as that language does, from Django's own formats."""
    with override(language):
        sunday_first = (6, *range(6))
        words = {
            "days": [str(WEEKDAYS[day]) for day in sunday_first],
            "shortDays": [str(WEEKDAYS_ABBR[day]) for day in sunday_first],
            "months": [str(MONTHS[month]) for month in range(1, 13)],
            "shortMonths": [str(MONTHS_3[month]).title() for month in range(1, 13)],
            "decimal": str(get_format("DECIMAL_SEPARATOR")),
            "thousands": str(get_format("THOUSAND_SEPARATOR")),
            "year": "%Y",
            "month": "%b %Y",
            "dayMonth": _days("MONTH_DAY_FORMAT"),
            "dayMonthYear": day_format(),
        }
    return {"locale": language, "locales": {language: {"dictionary": {}, "format": words}}}


def _place(row: int) -> str:
    return "" if row == 1 else str(row)


def _plain(values: Iterable[date | float | None]) -> list[str | float | None]:
    """Days as text; a figure that is none as nothing, since JSON knows no NaN."""
    return [_plain_value(value) for value in values]


def _plain_value(value: date | float | None) -> str | float | None:
    if isinstance(value, date):
        return value.isoformat()
    return value if value is not None and isfinite(value) else None
