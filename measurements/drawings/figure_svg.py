"""A chart's figure as a still picture, drawn by the server from the very data that the script is given.

For figures with one pair of axes (``record_charts``). ``_still.svg`` only prints the numbers.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.formats import date_format

from measurements.drawings.parts import Line, Point, Text, text_width
from shop.figures import decimal

NARROW, WIDE = 340, 720  # px of the view box: a phone; a desk
PLOT_HEIGHT = {NARROW: 190.0, WIDE: 240.0}
SQUARE = {NARROW: 270.0, WIDE: 420.0}  # the side of a picture with equal axes
LEFT, RIGHT, ABOVE, ROW, BELOW = 46.0, 12.0, 26.0, 18.0, 40.0
MARGIN = 0.06  # of the span kept free on both sides
MOST_TICKS = 7
DAYS_A_YEAR = 365.2425
YEARS = (1, 2, 5, 10, 20)
QUARTERS = (1, 4, 7, 10)  # the months they begin with
#: What a symbol of the chart is called here.
KINDS = {"circle": "dot", "x": "cross", "line-ew-open": "tick"}
Span = tuple[float, float]


@dataclass(frozen=True)
class Series:
    """One trace: its marks, or the stretches of its line, and its entry in the key."""

    kind: str  # dot, cross, tick, bar or dash
    marks: tuple[Point, ...]
    lines: tuple[str, ...]
    sign: Point
    label: Text


@dataclass(frozen=True)
class Still:
    """Coordinates in px of the view box; y runs downwards."""

    width: float
    height: float
    words: str
    grid: tuple[Line, ...]
    tick_labels: tuple[Text, ...]
    titles: tuple[Text, ...]
    series: tuple[Series, ...]


def still_pictures(figure: Mapping[str, Any], words: str) -> tuple[Still, ...]:
    """The narrow and the wide picture, of which the page shows the one that fits.

    ``figure`` as Plotly takes it: ``data`` of scatter traces whose days are ISO text, and ``layout``
    with the titles of its axes; ``words`` say what it shows. A figure without points gives ().
    """
    if not any(None not in point for trace in figure["data"] for point in _points(trace)):
        return ()
    return tuple(_Plot(figure, width).view(words) for width in (NARROW, WIDE))


def _points(trace: Mapping[str, Any]) -> list[tuple[float | None, float | None]]:
    return [(_number(x), y) for x, y in zip(trace["x"], trace["y"], strict=True)]


def _number(x: str | float | None) -> float | None:
    return float(date.fromisoformat(x).toordinal()) if isinstance(x, str) else x


class _Plot:
    """Works out one picture."""

    def __init__(self, figure: Mapping[str, Any], width: int) -> None:
        self.data, self.layout = figure["data"], figure["layout"]
        self.in_days = any(isinstance(x, str) for trace in self.data for x in trace["x"])
        square = "scaleanchor" in self.layout["yaxis"]
        self.width = LEFT + SQUARE[width] + RIGHT if square else float(width)
        self.bottom = ABOVE + (SQUARE[width] if square else PLOT_HEIGHT[width])
        points = [point for trace in self.data for point in _points(trace)]
        self.across = self._span("xaxis", [x for x, _ in points if x is not None])
        self.up = self._span("yaxis", [y for _, y in points if y is not None])

    def _span(self, axis: str, values: Sequence[float]) -> Span:
        if "range" in self.layout[axis]:
            low, high = self.layout[axis]["range"]
            return low, high
        room = MARGIN * ((max(values) - min(values)) or 1.0)
        return min(values) - room, max(values) + room

    def x(self, value: float) -> float:
        low, high = self.across
        return round(LEFT + (value - low) / (high - low) * (self.width - LEFT - RIGHT), 1)

    def y(self, value: float) -> float:
        low, high = self.up
        return round(self.bottom - (value - low) / (high - low) * (self.bottom - ABOVE), 1)

    def view(self, words: str) -> Still:
        series = tuple(self._series())
        levels = [(self.y(at), label) for at, label in _levels(self.up)]
        stops = [(self.x(at), label) for at, label in self._stops()]
        right = self.width - RIGHT
        return Still(
            width=self.width,
            height=round(max(one.label.y for one in series) + 12.0, 1),
            words=words,
            grid=(
                *(Line(LEFT, y, right, y) for y, _ in levels),
                *(Line(x, ABOVE, x, self.bottom) for x, _ in stops),
            ),
            tick_labels=(
                *(Text(LEFT - 6.0, y + 4.0, label, "end") for y, label in levels),
                *(Text(x, self.bottom + 16.0, label) for x, label in stops),
            ),
            titles=tuple(self._titles()),
            series=series,
        )

    def _titles(self) -> Iterator[Text]:
        yield Text(0.0, 12.0, self.layout["yaxis"]["title"]["text"], "start")
        if across := self.layout["xaxis"].get("title"):
            yield Text(self.width - RIGHT, self.bottom + 33.0, across["text"], "end")

    def _stops(self) -> list[tuple[float, str]]:
        """Where the lower axis is marked: figures, the first days of years, or of quarters."""
        low, high = self.across
        if not self.in_days:
            return _levels(self.across)
        room = (self.width - LEFT - RIGHT) / (text_width("Jan 2000") + 12.0)
        first, last = date.fromordinal(int(low)), date.fromordinal(int(high))
        years_shown = range(first.year, last.year + 1)
        days = [date(year, month, 1) for year in years_shown for month in QUARTERS]
        within = [day for day in days if low <= day.toordinal() <= high]
        if len(within) <= room:
            return [(float(day.toordinal()), date_format(day, "M Y")) for day in within]
        years = (high - low) / DAYS_A_YEAR
        step = next((step for step in YEARS if years / step <= room), YEARS[-1])
        return [
            (float(day.toordinal()), str(day.year))
            for day in within
            if day.month == 1 and day.year % step == 0
        ]

    def _series(self) -> Iterator[Series]:
        x, y = 0.0, self.bottom + BELOW + 8.0
        for trace in self.data:
            width = 30.0 + text_width(trace["name"])
            if x > 0 and x + width > self.width:
                x, y = 0.0, y + ROW
            label = Text(x + 26.0, y, trace["name"], "start")
            drawn = trace["mode"] == "lines"
            kind = "bar" if drawn else KINDS[trace["marker"]["symbol"]]
            if drawn and "dash" in trace["line"]:
                kind = "dash"
            marks = () if drawn else tuple(self._marks(trace))
            lines = tuple(self._lines(trace)) if drawn else ()
            yield Series(kind, marks, lines, (x + 10.0, y - 4.0), label)
            x = round(x + width + 10.0, 1)

    def _marks(self, trace: Mapping[str, Any]) -> Iterator[Point]:
        for x, y in _points(trace):
            if x is not None and y is not None:
                yield self.x(x), self.y(y)

    def _lines(self, trace: Mapping[str, Any]) -> Iterator[str]:
        """The stretches of a line between its gaps."""
        stretch: list[str] = []
        for x, y in [*_points(trace), (None, None)]:
            if x is not None and y is not None:
                stretch.append(f"{self.x(x)},{self.y(y)}")
            elif stretch:
                yield " ".join(stretch)
                stretch = []


def _levels(span: Span) -> list[tuple[float, str]]:
    """Round figures within a span, 1, 2 or 5 times a power of ten apart."""
    low, high = span
    size, digits = 0.001, 3
    while True:
        for factor in (1, 2, 5):
            step = factor * size
            if (high - low) / step <= MOST_TICKS:
                marks = range(int(-(-low // step)), int(high // step) + 1)
                return [(mark * step, decimal(mark * step, max(digits, 0))) for mark in marks]
        size, digits = size * 10, digits - 1
