"""The trend as a still picture: for the printed report and for a page without JavaScript.

A pure function of the ``Trend``; ``_trend.svg`` only prints the numbers. Dots are the bridge rise
corrected for work and season, the band its likely course, two lines the limits, triangles the work.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from geometry.units import UNITS, LengthUnit
from measurements.drawings.charts import shows_reset_limit
from measurements.drawings.parts import Line, Point, Text, text_width
from measurements.forecast.trend import BandPoint, Trend
from shop.figures import day_words, decimal, length_words

NARROW = 340  # px of the view box: a phone
WIDE = 720  # a desk or an A4 page
PLOT_HEIGHT = {NARROW: 190.0, WIDE: 220.0}
LEFT, RIGHT, ABOVE, ROW, TICK = 42.0, 8.0, 38.0, 17.0, 16.0
LEAST_AHEAD = timedelta(days=3653)
BEYOND = timedelta(days=731)
MARGIN = 0.12  # of the height kept free above and below
HEADINGS: dict[LengthUnit, str] = {
    "mm": gettext_noop("Bridge rise in mm"),
    "in": gettext_noop("Bridge rise in inches"),
}
STEPS: dict[LengthUnit, tuple[float, ...]] = {
    "mm": (0.2, 0.5, 1.0, 2.0, 5.0),
    "in": (0.01, 0.02, 0.05, 0.1, 0.2),
}
YEARS = (1, 2, 5, 10, 20, 50)
MOST_TICKS = 8
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Sign:
    """One entry of the key below the picture; ``x`` and ``y`` are the middle of its sign."""

    kind: str
    x: float
    y: float
    text: Text


@dataclass(frozen=True)
class TrendPicture:
    """Coordinates in px of the view box; y runs downwards. Point lists are ready to print."""

    width: float
    height: float
    title: str
    words: str
    frame: Line
    grid: tuple[Line, ...]
    ticks: tuple[Line, ...]
    tick_labels: tuple[Text, ...]
    band: str
    likely: str
    dots: tuple[Point, ...]
    crosses: tuple[Point, ...]
    saddle_limit: Line | None
    reset_limit: Line | None
    limit_labels: tuple[Text, ...]
    works: tuple[str, ...]
    today: Line
    today_label: Text
    heading: Text
    signs: tuple[Sign, ...]

    @property
    def description(self) -> str:
        return f"{self.title}. {self.words}"


def trend_pictures(trend: Trend, **choices: Any) -> tuple[TrendPicture, ...]:
    """The narrow and the wide picture, of which the page shows the one that fits; () for none.

    ``choices`` as for :func:`trend_picture`, without ``width``.
    """
    pictures = (trend_picture(trend, width=width, **choices) for width in (NARROW, WIDE))
    return tuple(picture for picture in pictures if picture is not None)


def trend_picture(
    trend: Trend,
    *,
    unit: LengthUnit = "mm",
    name: str = "",
    today_words: str = "",
    width: int = WIDE,
) -> TrendPicture | None:
    """Coordinates of the trend's picture, or None where there is no reading of the bridge rise.

    Parameters
    ----------
    trend : Trend
        Readings, band, limits and work. [mm]
    unit : one of ``geometry.units.UNITS``
        Unit of the scale and of the words.
    name : str
        What to call the instrument in the title.
    today_words : str
        What to call the day up to which the readings go, if not today.
    width : int
        ``NARROW`` or ``WIDE``.
    """
    if not trend.readings:
        return None
    title = _("Trend of %(name)s") % {"name": name} if name else _("Trend of the bridge rise")
    return _Plot(trend, unit, width, today_words or _("today")).view(title, words_of(trend, unit))


def last_day(trend: Trend) -> date:
    """Where the picture ends: two years after even a slow lift has used up the room."""
    latest = max([trend.today, *(reading.day for reading in trend.readings)]) + LEAST_AHEAD
    end = max((point.day for point in trend.band), default=latest)
    limit = trend.reset_limit_mm if trend.reset_limit_mm is not None else trend.saddle_limit_mm
    if limit is None:
        return end
    spent = [p.day for p in trend.band if p.low_mm >= limit]
    return min(end, max(latest, min(spent, default=end) + BEYOND))


class _Plot:
    """Works out one picture. Days and mm come in, px of the view box go out."""

    def __init__(self, trend: Trend, unit: LengthUnit, width: int, today_words: str) -> None:
        self.trend, self.unit, self.width, self.today_words = trend, unit, width, today_words
        self.end = last_day(trend)
        self.start = min(
            [r.day for r in trend.readings] + [w.day for w in trend.works] + [trend.today]
        )
        self.band = [p for p in trend.band if self.start <= p.day <= self.end]
        # As in the chart: a limit far above all else would flatten what is to be seen; words name it.
        near = trend.saddle_limit_mm == trend.reset_limit_mm or shows_reset_limit(trend)
        self.reset_limit_mm = trend.reset_limit_mm if near else None
        limits = [mm for mm in (trend.saddle_limit_mm, self.reset_limit_mm) if mm is not None]
        levels = [r.lasting_mm for r in trend.readings] + limits
        high = levels if limits else [*levels, *(p.high_mm for p in self.band)]
        low = [*levels, *(p.low_mm for p in self.band)]
        room = max(max(high) - min(low), 0.5) * MARGIN
        self.low_mm, self.high_mm = min(low) - room, max(high) + 1.5 * room
        self.top, self.bottom = ABOVE, ABOVE + PLOT_HEIGHT[width]
        self.days = max((self.end - self.start).days, 1)

    def x(self, day: date) -> float:
        share = (day - self.start).days / self.days
        return round(LEFT + 6.0 + share * (self.width - LEFT - RIGHT - 12.0), 1)

    def y(self, mm: float) -> float:
        share = (mm - self.low_mm) / (self.high_mm - self.low_mm)
        return round(self.bottom - share * (self.bottom - self.top), 1)

    def view(self, title: str, words: str) -> TrendPicture:
        trend, right = self.trend, self.width - RIGHT
        ticks, years = self._years()
        levels = self._levels()
        today = self.x(trend.today)
        signs = tuple(self._signs())
        return TrendPicture(
            width=self.width,
            height=round(max(sign.y for sign in signs) + 12.0, 1),
            title=title,
            words=words,
            frame=Line(LEFT, self.bottom, right, self.bottom),
            grid=tuple(Line(LEFT, y, right, y) for y, _ in levels),
            ticks=ticks,
            tick_labels=(
                *years,
                *(Text(LEFT - 6.0, y + 4.0, label, "end") for y, label in levels),
            ),
            band=self._band(),
            likely=_printed(self._course(lambda point: point.likely_mm)),
            dots=tuple(self._readings(False)),
            crosses=tuple(self._readings(True)),
            saddle_limit=self._limit(trend.saddle_limit_mm),
            reset_limit=None if self._same() else self._limit(self.reset_limit_mm),
            limit_labels=tuple(self._limit_labels()),
            works=tuple(self._works()),
            today=Line(today, self.top, today, self.bottom),
            today_label=self._today_label(today),
            heading=Text(0.0, 12.0, _heading(self.unit), "start"),
            signs=signs,
        )

    def _today_label(self, x: float) -> Text:
        half = text_width(self.today_words) / 2
        x = min(max(x, half), self.width - half)
        return Text(round(x, 1), ABOVE - 6.0, self.today_words)

    def _years(self) -> tuple[tuple[Line, ...], tuple[Text, ...]]:
        px_per_year = (self.width - LEFT - RIGHT - 12.0) / self.days * 365.2425
        wide_enough = (step for step in YEARS if step * px_per_year >= text_width("2000") + 14.0)
        step = next(wide_enough, YEARS[-1])
        first = -(-self.start.year // step) * step
        days = [date(year, 1, 1) for year in range(first, self.end.year + 1, step)]
        spots = [(self.x(day), str(day.year)) for day in days if self.start <= day <= self.end]
        y, right = self.bottom, self.width - text_width("2000") / 2
        return (
            tuple(Line(x, y, x, y + 5.0) for x, _ in spots),
            tuple(Text(min(x, right), y + TICK + 12.0, words) for x, words in spots),
        )

    def _levels(self) -> list[tuple[float, str]]:
        per_unit, decimals = UNITS[self.unit]
        low, high = self.low_mm / per_unit, self.high_mm / per_unit
        steps = STEPS[self.unit]
        step = next((s for s in steps if (high - low) / s <= MOST_TICKS), steps[-1])
        marks = range(int(-(-low // step)), int(high // step) + 1)
        places = max(decimals - 1, 0)
        return [(self.y(mark * step * per_unit), decimal(mark * step, places)) for mark in marks]

    def _course(self, level: Callable[[BandPoint], float]) -> list[Point]:
        """A line through the band's points, cut where it leaves the picture at the top."""
        points = [((point.day - self.start).days, level(point)) for point in self.band]
        cut = list(_below(points, self.high_mm))
        return [(self.x(self.start + timedelta(days=day)), self.y(mm)) for day, mm in cut]

    def _band(self) -> str:
        upper, lower = self._course(lambda p: p.high_mm), self._course(lambda p: p.low_mm)
        if not upper or not lower:
            return ""
        corner = [(lower[-1][0], upper[-1][1])] if upper[-1][0] < lower[-1][0] else []
        return _printed([*upper, *corner, *reversed(lower)])

    def _readings(self, held_down: bool) -> Iterator[Point]:
        for reading in self.trend.readings:
            if reading.held_down == held_down:
                yield self.x(reading.day), self.y(reading.lasting_mm)

    def _works(self) -> Iterator[str]:
        y = self.bottom
        for work in self.trend.works:
            if self.start <= work.day <= self.end:
                x = self.x(work.day)
                yield f"{x},{y + 1} {round(x - 5, 1)},{y + 11} {round(x + 5, 1)},{y + 11}"

    # The limits and their labels

    def _same(self) -> bool:
        return self.trend.reset_limit_mm == self.trend.saddle_limit_mm

    def _limit(self, at_mm: float | None) -> Line | None:
        if at_mm is None:
            return None
        return Line(LEFT, self.y(at_mm), self.width - RIGHT, self.y(at_mm))

    def _joint_limit(self) -> tuple[float | None, str]:
        at_mm = self.trend.reset_limit_mm
        if at_mm is None or self.reset_limit_mm is not None:
            return at_mm, _("joint's travel used up: reset due")
        words = _("joint's travel ends: %(height)s, above")
        return self.high_mm, words % {"height": length_words(at_mm, self.unit)}

    def _limit_labels(self) -> Iterator[Text]:
        """Beside their lines, where no dot, line or other label is; above the line if it is free."""
        named = (
            [(self.trend.saddle_limit_mm, _("saddle at its floor: reset due"))]
            if self._same()
            else [
                self._joint_limit(),
                (self.trend.saddle_limit_mm, _("saddle at its floor")),
            ]
        )
        lines = [self.y(mm) for mm, _ in named if mm is not None]
        grid = [y for y, _ in self._levels()]
        dots = [*self._readings(False), *self._readings(True)]
        course = self._course(lambda point: point.likely_mm)
        today = self._today_label(self.x(self.trend.today))
        half = text_width(today.words) / 2
        taken: list[Box] = [(today.x - half, today.y - 12.0, today.x + half, today.y + 3.0)]
        for mm, words in named:
            if mm is None:
                continue
            spots = list(self._spots(self.y(mm), words))
            costs = [
                4 * sum(_overlap(box, other) for other in taken)
                + 2 * sum(_inside(box, dot, 4.0) for dot in dots)
                + 2 * sum(box[1] < y < box[3] for y in lines)
                + sum(box[1] < y < box[3] for y in grid) / 2
                + (box[0] < self.x(self.trend.today) < box[2])
                + min(sum(_inside(box, point, 3.0) for point in course), 1)
                for box, _ in spots
            ]
            box, text = spots[costs.index(min(costs))]
            taken.append(box)
            yield text

    def _spots(self, y: float, words: str) -> Iterator[tuple[Box, Text]]:
        width, right = text_width(words), self.width - RIGHT - 2.0
        for base in (y - 5.0, y + 14.0):
            for x in (LEFT + 6.0, right - width):
                box = (x, base - 10.0, x + width, base + 3.0)
                yield box, Text(round(x, 1), round(base, 1), words, "start")

    # The key

    def _signs(self) -> Iterator[Sign]:
        entries = [("dot", _("reading, corrected for work and season"))]
        if any(reading.held_down for reading in self.trend.readings):
            entries.append(("cross", _("reading that does not fit the rest")))
        if self.band:
            entries += [("likely", _("likely course")), ("band", _("likely range (8 in 10)"))]
        if self.trend.works:
            entries.append(("work", _("work done")))
        x, y = 0.0, self.bottom + TICK + 12.0 + ROW + 4.0
        for kind, words in entries:
            width = 28.0 + text_width(words)
            if x > 0 and x + width > self.width:
                x, y = 0.0, y + ROW
            yield Sign(kind, x + 10.0, y - 4.0, Text(x + 25.0, y, words, "start"))
            x = round(x + width + 10.0, 1)


def _below(points: Sequence[Point], high: float) -> Iterator[Point]:
    """The part of a rising line that lies below ``high``, ending on it."""
    if points and points[0][1] <= high:
        yield points[0]
    for (x0, y0), (x1, y1) in pairwise(points):
        if y0 <= high < y1:
            yield x0 + (x1 - x0) * (high - y0) / (y1 - y0), high
        if y1 <= high:
            yield x1, y1


def _printed(points: Iterable[Point]) -> str:
    return " ".join(f"{x},{y}" for x, y in points)


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _inside(box: Box, point: Point, margin: float) -> bool:
    x, y = point
    return box[0] - margin < x < box[2] + margin and box[1] - margin < y < box[3] + margin


def _heading(unit: LengthUnit) -> str:
    return _(HEADINGS[unit])


def words_of(trend: Trend, unit: LengthUnit) -> str:
    """The trend in words and figures, for those who cannot see it."""
    parts = [_readings_words(trend, unit)]
    until = last_day(trend)
    ahead = [point for point in trend.band if point.day <= until]
    if ahead:
        end = ahead[-1]
        low, likely, high = (
            length_words(mm, unit) for mm in (end.low_mm, end.likely_mm, end.high_mm)
        )
        words = _("By %(year)s likely %(likely)s, between %(low)s and %(high)s.")
        parts.append(words % {"year": end.day.year, "likely": likely, "low": low, "high": high})
    if trend.saddle_limit_mm is not None:
        words = _("The saddle is at its floor at %(height)s.")
        parts.append(words % {"height": length_words(trend.saddle_limit_mm, unit)})
    if trend.reset_limit_mm is not None:
        words = _("A reset is due at %(height)s.")
        parts.append(words % {"height": length_words(trend.reset_limit_mm, unit)})
    parts += [f"{day_words(work.day)}: {work.words}." for work in trend.works]
    return " ".join(parts)


def _readings_words(trend: Trend, unit: LengthUnit) -> str:
    first, last, count = trend.readings[0], trend.readings[-1], len(trend.readings)
    return ngettext(
        "%(count)s reading of the bridge rise, corrected for work and season: %(first)s on "
        "%(first_day)s.",
        "%(count)s readings of the bridge rise, corrected for work and season: %(first)s on "
        "%(first_day)s, %(last)s on %(last_day)s.",
        count,
    ) % {
        "count": count,
        "first": length_words(first.lasting_mm, unit),
        "first_day": day_words(first.day),
        "last": length_words(last.lasting_mm, unit),
        "last_day": day_words(last.day),
    }
