"""Plotly figures of the forecast's own record: plain text only, as the content policy requires."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from geometry.units import UNITS, LengthUnit
from measurements.drawings.charts import ACCENT, ALARM, INK, SOFT
from measurements.drawings.figures import day_format, figure, scatter
from measurements.facts.rows import date_of
from measurements.forecast.record import Record

#: Share of the span of the figures kept free around them.
MARGIN = 0.06
DECIMALS = 4


def record_figure(found: Record, unit: LengthUnit = "mm") -> dict[str, Any]:
    """One instrument: the range foretold for each reading as a bar, and the reading as a dot."""
    days = [date_of(day) for day in found.day]
    low, likely, high, measured = (
        _in_unit(rise, unit)
        for rise in (found.low_mm, found.likely_mm, found.high_mm, found.measured_mm)
    )
    bars_x: list[date | None] = []
    bars_y: list[float | None] = []
    for day, start, end in zip(days, low, high, strict=True):
        bars_x += [day, day, None]
        bars_y += [start, end, None]
    data = [
        scatter(
            bars_x,
            bars_y,
            name=_("range foretold"),
            mode="lines",
            line={"width": 9, "color": ACCENT},
            opacity=0.3,
            hoverinfo="skip",
        ),
        scatter(
            days,
            likely,
            name=_("likely"),
            mode="markers",
            marker={"size": 11, "color": ACCENT, "symbol": "line-ew-open", "line": {"width": 2}},
        ),
    ]
    data += _dots(found, days, measured, size=9)
    layout = _layout(unit, height=340)
    layout["xaxis"]["hoverformat"] = day_format()
    layout["yaxis"]["title"] = {"text": f"{_('Bridge rise')}, {unit}"}
    return figure(data, layout | {"hovermode": "x unified"})


def agreement_figure(found: Record, tags: Sequence[str], unit: LengthUnit = "mm") -> dict[str, Any]:
    """The shop: what was measured against what was likely, on equal axes; on the line they agree."""
    foretold, measured = _in_unit(found.likely_mm, unit), _in_unit(found.measured_mm, unit)
    both = foretold + measured
    low, high = (min(both), max(both)) if both else (0.0, 1.0)
    margin = MARGIN * ((high - low) or 1.0)
    span = [low - margin, high + margin]
    # What the script puts in: a tag, and the figures as the axes write them.
    point = _("%(tag)s: likely %(likely)s, measured %(measured)s") % {
        "tag": "%{text}",
        "likely": "%{x}",
        "measured": "%{y}",
    }
    line = {"width": 1.5, "color": SOFT, "dash": "dash"}
    data = [scatter(span, span, name=_("as foretold"), mode="lines", line=line, hoverinfo="skip")]
    whose = [tags[row] for row in found.row]
    hover = f"{point}<extra></extra>"
    data += _dots(found, foretold, measured, whose, size=7, hovertemplate=hover, opacity=0.75)
    layout = _layout(unit, height=520)
    digits = _digits(unit)
    for axis, words in (("xaxis", _("Foretold as likely")), ("yaxis", _("Measured"))):
        layout[axis] |= {
            "title": {"text": f"{words}, {unit}"},
            "range": span,
            "constrain": "domain",
            "tickformat": digits,
            "hoverformat": digits,
        }
    layout["yaxis"] |= {"scaleanchor": "x", "scaleratio": 1}
    return figure(data, layout | {"hovermode": "closest"})


def _dots(
    found: Record,
    across: Sequence[Any],
    measured: Sequence[float],
    texts: Sequence[str] = (),
    *,
    size: int,
    **more: Any,
) -> Iterator[dict[str, Any]]:
    """The readings inside the range foretold, and those outside it, each kind where there are any."""
    for inside, name, colour, symbol in (
        (True, _("measured, inside the range"), INK, "circle"),
        (False, _("measured, outside it"), ALARM, "x"),
    ):
        some = np.flatnonzero(found.inside == inside).tolist()
        if some:
            said: dict[str, Any] = {"text": [texts[k] for k in some]} if texts else {}
            yield scatter(
                [across[k] for k in some],
                [measured[k] for k in some],
                name=name,
                mode="markers",
                marker={"size": size, "color": colour, "symbol": symbol},
                **said,
                **more,
            )


def _in_unit(rise_mm: np.ndarray, unit: LengthUnit) -> list[float]:
    shown = np.round(rise_mm / UNITS[unit].mm, DECIMALS)
    return [float(height) for height in shown]


def _digits(unit: LengthUnit) -> str:
    return f".{UNITS[unit].decimals}f"


def _layout(unit: LengthUnit, *, height: int) -> dict[str, Any]:
    digits = _digits(unit)
    return {
        "xaxis": {"zeroline": False},
        "yaxis": {"tickformat": digits, "hoverformat": digits, "zeroline": False},
        "margin": {"l": 64, "r": 16, "t": 16, "b": 48},
        "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
        "height": height,
    }
