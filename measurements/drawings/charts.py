"""The Plotly figure of one instrument's trend: plain text only, as the content policy requires."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from geometry.units import UNITS, LengthUnit
from measurements.drawings.figures import (
    axis_name,
    day_format,
    figure,
    rows_on_one_time_axis,
    scatter,
)
from measurements.forecast.trend import Trend
from measurements.words import side_words

INK, SOFT, ACCENT, ALARM = "#3b3a37", "#8a8479", "#14557b", "#9c2a12"
BAND = "rgba(20, 85, 123, 0.18)"
HEIGHTS, GAP = (0.56, 0.22, 0.22), 0.04


def trend_figure(trend: Trend, unit: LengthUnit = "mm") -> dict[str, Any]:
    """Figure and configuration for ``Plotly.newPlot``; three rows on one time axis.

    Bridge rise corrected for work and season with its band, the two limits and marks for work; then
    the action at fret 12; then the saddle.
    """
    per_unit = UNITS[unit].mm
    data = [*_rise(trend, per_unit)]
    for row, series in ((2, trend.actions), (3, trend.saddles)):
        data += _sides(row, series, per_unit)
    limits = _limits(trend, per_unit)
    layout = {
        **_axes(trend, unit, per_unit),
        "shapes": [shape for shape, _ in limits] + [_today(trend)],
        "annotations": [note for _, note in limits],
        "hovermode": "x unified",
        "margin": {"l": 64, "r": 16, "t": 16, "b": 90},
        "legend": {"orientation": "h", "y": -0.08, "yanchor": "top", "x": 0},
        "height": 680,
    }
    return figure(data, layout)


def _axes(trend: Trend, unit: LengthUnit, per_unit: float) -> dict[str, Any]:
    axes = rows_on_one_time_axis(HEIGHTS, GAP)
    digits = f".{UNITS[unit].decimals}f"
    for row, words in enumerate(_rows(), start=1):
        axes[axis_name("x", row)] |= {
            "hoverformat": day_format(),
            "showspikes": True,
            "spikethickness": 1,
        }
        axes[axis_name("y", row)] |= {
            "title": {"text": f"{words}, {unit}"},
            "tickformat": digits,
            "hoverformat": digits,
        }
    axes["yaxis"]["range"] = _span(trend, per_unit)
    return axes


def _rows() -> tuple[str, str, str]:
    """What the rows show, in words that fit beside the lower ones."""
    action = pgettext("short, in a drawing", "Action 12")
    return _("Bridge rise"), action, pgettext("short, in a drawing", "Saddle")


def _span(trend: Trend, per_unit: float) -> list[float]:
    """Heights to show: readings, band and the saddle's limit; the joint's only if it lies near."""
    heights = [p.low_mm for p in trend.band] + [p.high_mm for p in trend.band]
    heights += [reading.lasting_mm for reading in trend.readings]
    if trend.saddle_limit_mm is not None:
        heights.append(trend.saddle_limit_mm)
    low, high = min(heights), max(heights)
    if shows_reset_limit(trend):
        assert trend.reset_limit_mm is not None  # noqa: S101  what is shown is there
        high = max(high, trend.reset_limit_mm)
    margin = 0.08 * (high - low or 1.0)
    return [(low - margin) / per_unit, (high + margin) / per_unit]


def shows_reset_limit(trend: Trend) -> bool:
    """Whether the joint's limit lies near enough to be drawn without flattening the rest."""
    if trend.reset_limit_mm is None or not trend.band:
        return False
    top = max(point.high_mm for point in trend.band)
    if trend.saddle_limit_mm is not None:
        top = max(top, trend.saddle_limit_mm)
    bottom = min(point.low_mm for point in trend.band)
    return trend.reset_limit_mm <= top + 0.5 * (top - bottom)


def _rise(trend: Trend, per_unit: float) -> Iterator[dict[str, Any]]:
    days = [point.day for point in trend.band]
    top = _("90 % point")
    for name, figures, line, fill in (
        (top, [p.high_mm for p in trend.band], 0, {}),
        (_("likely range"), [p.low_mm for p in trend.band], 0, {"fill": "tonexty"}),
        (_("likely"), [p.likely_mm for p in trend.band], 2, {}),
    ):
        yield scatter(
            days,
            (value / per_unit for value in figures),
            row=1,
            name=name,
            mode="lines",
            line={"width": line, "color": ACCENT, "dash": "dash"},
            fillcolor=BAND,
            showlegend=name != top,
            **fill,
        )
    for held_down, name, symbol in (
        (False, _("reading, corrected"), "circle"),
        (True, _("reading the fit distrusts"), "x"),
    ):
        readings = [reading for reading in trend.readings if reading.held_down == held_down]
        if readings:
            yield scatter(
                [reading.day for reading in readings],
                [reading.lasting_mm / per_unit for reading in readings],
                row=1,
                name=name,
                mode="markers",
                marker={"size": 9, "color": INK if not held_down else ALARM, "symbol": symbol},
            )
    if trend.works:
        yield _works(trend, per_unit)


def _limits(trend: Trend, per_unit: float) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Each limit that is shown, as a line and its words."""
    found = []
    if trend.saddle_limit_mm is not None:
        found.append(_limit(trend.saddle_limit_mm / per_unit, _("saddle at its floor"), "dot"))
    if shows_reset_limit(trend) and trend.reset_limit_mm != trend.saddle_limit_mm:
        assert trend.reset_limit_mm is not None  # noqa: S101  what is shown is there
        found.append(_limit(trend.reset_limit_mm / per_unit, _("joint's travel used up"), "solid"))
    return found


def _limit(at: float, words: str, dash: str) -> tuple[dict[str, Any], dict[str, Any]]:
    line = {"type": "line", "xref": "x domain", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at}
    note = {"text": words, "font": {"color": ALARM}, "showarrow": False, "x": 0, "y": at}
    place = {"xref": "x domain", "xanchor": "left", "yref": "y", "yanchor": "bottom"}
    return line | {"line": {"width": 2, "color": ALARM, "dash": dash}}, note | place


def _today(trend: Trend) -> dict[str, Any]:
    day = trend.today.isoformat()
    line = {"type": "line", "xref": "x", "x0": day, "x1": day, "yref": "y domain", "y0": 0, "y1": 1}
    return line | {"line": {"width": 1, "color": SOFT}}


def _works(trend: Trend, per_unit: float) -> dict[str, Any]:
    levels = [p.low_mm for p in trend.band] + [r.lasting_mm for r in trend.readings]
    base = min(levels, default=0.0) / per_unit
    return scatter(
        [work.day for work in trend.works],
        [base] * len(trend.works),
        row=1,
        text=[work.words for work in trend.works],
        hovertemplate="%{text}<extra></extra>",
        name=_("work done"),
        mode="markers",
        marker={"size": 11, "symbol": "triangle-up-open", "color": INK},
    )


def _sides(
    row: int, series: dict[str, tuple[tuple[date, float], ...]], per_unit: float
) -> Iterator[dict[str, Any]]:
    for side, dash, symbol in (("bass", "solid", "circle"), ("treble", "dot", "diamond")):
        points = series.get(side, ())
        yield scatter(
            [day for day, _ in points],
            [value / per_unit for _, value in points],
            row=row,
            name=side_words(side),
            legendgroup=side,
            showlegend=row == 2,
            mode="lines+markers",
            line={"width": 1.5, "color": INK, "dash": dash},
            marker={"symbol": symbol, "size": 7},
        )
