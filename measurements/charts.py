"""The Plotly figure of one instrument's trend: plain text only, as the content policy requires."""

import json
from datetime import date
from typing import Any

import plotly.graph_objects as go
from plotly.subplots import make_subplots

from geometry.units import MM_PER_INCH, LengthUnit
from measurements.trend import Trend

INK, SOFT, ACCENT, ALARM = "#3b3a37", "#8a8479", "#14557b", "#9c2a12"
BAND = "rgba(20, 85, 123, 0.18)"
CONFIG = {
    "displaylogo": False,
    "responsive": True,
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displayModeBar": False,
}


def trend_figure(trend: Trend, unit: LengthUnit = "mm") -> dict[str, Any]:
    """Figure and configuration for ``Plotly.newPlot``; three rows on one time axis.

    Bridge rise corrected for work and season with its band, the two limits and marks for work; then
    the action at fret 12; then the saddle.
    """
    per_unit = 1.0 if unit == "mm" else MM_PER_INCH
    figure = make_subplots(
        rows=3, cols=1, shared_xaxes=True, vertical_spacing=0.04, row_heights=[0.56, 0.22, 0.22]
    )
    _rise(figure, trend, per_unit)
    for row, series in ((2, trend.actions), (3, trend.saddles)):
        _sides(figure, row, series, per_unit)
    digits = ".2f" if unit == "mm" else ".3f"
    for row, title in ((1, "Bridge rise"), (2, "Action 12"), (3, "Saddle")):
        figure.update_yaxes(
            title_text=f"{title}, {unit}", tickformat=digits, hoverformat=digits, row=row, col=1
        )
    figure.update_xaxes(hoverformat="%e %b %Y", showspikes=True, spikethickness=1)
    figure.update_yaxes(range=_span(trend, per_unit), row=1, col=1)
    figure.update_layout(
        template="none",
        hovermode="x unified",
        margin={"l": 64, "r": 16, "t": 16, "b": 90},
        legend={"orientation": "h", "y": -0.08, "yanchor": "top", "x": 0},
        font={"family": "system-ui, sans-serif", "size": 13},
        height=680,
    )
    spec = json.loads(figure.to_json())
    return {"data": spec["data"], "layout": spec["layout"], "config": CONFIG}


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


def _rise(figure: go.Figure, trend: Trend, per_unit: float) -> None:
    days = [point.day for point in trend.band]
    for name, figures, line, fill in (
        ("90 % point", [p.high_mm for p in trend.band], 0, None),
        ("likely range", [p.low_mm for p in trend.band], 0, "tonexty"),
        ("likely", [p.likely_mm for p in trend.band], 2, None),
    ):
        figure.add_scatter(
            x=days,
            y=[value / per_unit for value in figures],
            name=name,
            mode="lines",
            line={"width": line, "color": ACCENT, "dash": "dash"},
            fill=fill,
            fillcolor=BAND,
            showlegend=name != "90 % point",
            row=1,
            col=1,
        )
    for held_down, name, symbol in (
        (False, "reading, corrected", "circle"),
        (True, "reading the fit distrusts", "x"),
    ):
        readings = [reading for reading in trend.readings if reading.held_down == held_down]
        if readings:
            figure.add_scatter(
                x=[reading.day for reading in readings],
                y=[reading.lasting_mm / per_unit for reading in readings],
                name=name,
                mode="markers",
                marker={"size": 9, "color": INK if not held_down else ALARM, "symbol": symbol},
                row=1,
                col=1,
            )
    _limit(figure, trend.saddle_limit_mm, per_unit, "saddle at its floor", ALARM, "dot")
    if shows_reset_limit(trend) and trend.reset_limit_mm != trend.saddle_limit_mm:
        _limit(figure, trend.reset_limit_mm, per_unit, "joint's travel used up", ALARM, "solid")
    _works(figure, trend)
    figure.add_vline(x=_text(trend.today), line={"width": 1, "color": SOFT})


def _limit(
    figure: go.Figure, at_mm: float | None, per_unit: float, words: str, colour: str, dash: str
) -> None:
    if at_mm is not None:
        figure.add_hline(
            y=at_mm / per_unit,
            line={"width": 2, "color": colour, "dash": dash},
            annotation={"text": words, "font": {"color": colour}, "xanchor": "left"},
            annotation_position="top left",
            row=1,
            col=1,
        )


def _works(figure: go.Figure, trend: Trend) -> None:
    if trend.works:
        levels = [p.low_mm for p in trend.band] + [r.lasting_mm for r in trend.readings]
        base = min(levels, default=0.0)
        figure.add_scatter(
            x=[work.day for work in trend.works],
            y=[base] * len(trend.works),
            text=[work.words for work in trend.works],
            hovertemplate="%{text}<extra></extra>",
            name="work done",
            mode="markers",
            marker={"size": 11, "symbol": "triangle-up-open", "color": INK},
            row=1,
            col=1,
        )


def _sides(
    figure: go.Figure, row: int, series: dict[str, tuple[tuple[date, float], ...]], per_unit: float
) -> None:
    for side, dash, symbol in (("bass", "solid", "circle"), ("treble", "dot", "diamond")):
        points = series.get(side, ())
        figure.add_scatter(
            x=[day for day, _ in points],
            y=[value / per_unit for _, value in points],
            name=side,
            legendgroup=side,
            showlegend=row == 2,
            mode="lines+markers",
            line={"width": 1.5, "color": INK, "dash": dash},
            marker={"symbol": symbol, "size": 7},
            row=row,
            col=1,
        )


def _text(day: date) -> str:
    return day.isoformat()
