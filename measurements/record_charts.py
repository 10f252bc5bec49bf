"""Plotly figures of the forecast's own record: plain text only, as the content policy requires."""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from geometry.units import MM_PER_INCH, LengthUnit
from measurements.charts import ACCENT, ALARM, CONFIG, INK, SOFT
from measurements.record import Record
from measurements.rows import date_of

#: Share of the span of the figures kept free around them.
MARGIN = 0.06
DECIMALS = 4


def record_figure(found: Record, unit: LengthUnit = "mm") -> dict[str, Any]:
    """One instrument: the range foretold for each reading as a bar, and the reading as a dot."""
    figure = go.Figure()
    days = [date_of(day) for day in found.day]
    low, likely, high, measured = (
        _in_unit(rise, unit)
        for rise in (found.low_mm, found.likely_mm, found.high_mm, found.measured_mm)
    )
    bars_x, bars_y = [], []
    for day, start, end in zip(days, low, high, strict=True):
        bars_x += [day, day, None]
        bars_y += [start, end, None]
    figure.add_scatter(
        x=bars_x,
        y=bars_y,
        name="range foretold",
        mode="lines",
        line={"width": 9, "color": ACCENT},
        opacity=0.3,
        hoverinfo="skip",
    )
    figure.add_scatter(
        x=days,
        y=likely,
        name="likely",
        mode="markers",
        marker={"size": 11, "color": ACCENT, "symbol": "line-ew-open", "line": {"width": 2}},
    )
    for inside, name, colour, symbol in _kinds():
        some = np.flatnonzero(found.inside == inside)
        if some.size:
            figure.add_scatter(
                x=[days[k] for k in some],
                y=[measured[k] for k in some],
                name=name,
                mode="markers",
                marker={"size": 9, "color": colour, "symbol": symbol},
            )
    _finish(figure, unit, height=340)
    figure.update_layout(hovermode="x unified")
    figure.update_xaxes(hoverformat="%e %b %Y")
    figure.update_yaxes(title_text=f"Bridge rise, {unit}")
    return _spec(figure)


def agreement_figure(found: Record, tags: Sequence[str], unit: LengthUnit = "mm") -> dict[str, Any]:
    """The shop: what was measured against what was likely, on equal axes; on the line they agree."""
    figure = go.Figure()
    foretold, measured = _in_unit(found.likely_mm, unit), _in_unit(found.measured_mm, unit)
    both = foretold + measured
    low, high = (min(both), max(both)) if both else (0.0, 1.0)
    margin = MARGIN * ((high - low) or 1.0)
    span = [low - margin, high + margin]
    figure.add_scatter(
        x=span,
        y=span,
        name="as foretold",
        mode="lines",
        line={"width": 1.5, "color": SOFT, "dash": "dash"},
        hoverinfo="skip",
    )
    for inside, name, colour, symbol in _kinds():
        some = np.flatnonzero(found.inside == inside)
        if some.size:
            figure.add_scatter(
                x=[foretold[k] for k in some],
                y=[measured[k] for k in some],
                text=[tags[found.row[k]] for k in some],
                hovertemplate="%{text}: likely %{x}, measured %{y}<extra></extra>",
                name=name,
                mode="markers",
                marker={"size": 7, "color": colour, "symbol": symbol},
                opacity=0.75,
            )
    _finish(figure, unit, height=520)
    figure.update_layout(hovermode="closest")
    figure.update_xaxes(title_text=f"Foretold as likely, {unit}", range=span, constrain="domain")
    figure.update_yaxes(
        title_text=f"Measured, {unit}",
        range=span,
        constrain="domain",
        scaleanchor="x",
        scaleratio=1,
    )
    digits = _digits(unit)
    figure.update_xaxes(tickformat=digits, hoverformat=digits)
    return _spec(figure)


def _kinds() -> tuple[tuple[bool, str, str, str], ...]:
    return (
        (True, "measured, inside the range", INK, "circle"),
        (False, "measured, outside it", ALARM, "x"),
    )


def _in_unit(rise_mm: np.ndarray, unit: LengthUnit) -> list[float]:
    return np.round(rise_mm / (1.0 if unit == "mm" else MM_PER_INCH), DECIMALS).tolist()


def _digits(unit: LengthUnit) -> str:
    return ".2f" if unit == "mm" else ".3f"


def _finish(figure: go.Figure, unit: LengthUnit, *, height: int) -> None:
    digits = _digits(unit)
    figure.update_yaxes(tickformat=digits, hoverformat=digits, zeroline=False)
    figure.update_xaxes(zeroline=False)
    figure.update_layout(
        template="none",
        margin={"l": 64, "r": 16, "t": 16, "b": 48},
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
        font={"family": "system-ui, sans-serif", "size": 13},
        height=height,
    )


def _spec(figure: go.Figure) -> dict[str, Any]:
    spec = json.loads(figure.to_json())
    return {"data": spec["data"], "layout": spec["layout"], "config": CONFIG}
