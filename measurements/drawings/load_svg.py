"""The expected resets of each quarter as a picture, coordinates only; ``_load.svg`` prints them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from measurements.drawings.parts import Line, Point, Text
from measurements.forecast.load import Quarter
from shop.figures import decimal

NARROW, WIDE = 340, 720  # px of the view box: a phone; a desk
HEIGHT, ABOVE, BELOW, LEFT, RIGHT = 260.0, 40.0, 46.0, 34.0, 8.0
FIRST = 1.5  # what is due already stands wider apart than a quarter, for its two words
MOST_TICKS = 6
BAR = 0.62  # of a quarter's width


@dataclass(frozen=True)
class Bar:
    """One quarter: a box for what to expect, a line for its range, a mark for what is booked."""

    x: float
    y: float
    width: float
    height: float
    already: bool
    reach: Line
    caps: tuple[Line, Line]
    booked: Point | None
    label: tuple[Text, ...]
    figure: Text


@dataclass(frozen=True)
class LoadPicture:
    width: float
    height: float
    title: str
    words: str
    frame: Line
    grid: tuple[Line, ...]
    grid_labels: tuple[Text, ...]
    bars: tuple[Bar, ...]
    capacity: Line
    capacity_label: Text


def load_pictures(quarters: Sequence[Quarter], capacity: int) -> tuple[LoadPicture, ...]:
    """The narrow and the wide picture; () where nothing is expected at all."""
    if not any(quarter.expected > 0 for quarter in quarters):
        return ()
    return tuple(_picture(quarters, capacity, width) for width in (NARROW, WIDE))


def load_words(quarters: Sequence[Quarter], capacity: int) -> str:
    """What the picture shows, for those who cannot see it, and as its summary."""
    already, *ahead = quarters
    two_years = sum(quarter.expected for quarter in ahead)
    over = [quarter.words for quarter in ahead if quarter.expected > capacity]
    words = _(
        "Due already: about %(due)s (%(low)s to %(high)s). In the running quarter and the next eight: "
        "about %(more)s more, against room for %(capacity)s a quarter."
    ) % {
        "due": count_words(already.expected),
        "low": already.low,
        "high": already.high,
        "more": count_words(two_years),
        "capacity": capacity,
    }
    if not over:
        return words
    return f"{words} " + _("More than there is room for: %(quarters)s.") % {
        "quarters": ", ".join(over)
    }


def count_words(count: float) -> str:
    """``0.4`` or ``12``: tenths only where they matter."""
    return decimal(count, 1 if count < 9.95 else 0)


def _picture(quarters: Sequence[Quarter], capacity: int, width: int) -> LoadPicture:
    top = max(capacity, 1, *(max(quarter.high, quarter.booked) for quarter in quarters))
    step = _step(top)
    most = step * -(-top // step)
    plot = HEIGHT - ABOVE - BELOW

    def y(count: float) -> float:
        return round(ABOVE + plot * (1.0 - count / most), 1)

    each = (width - LEFT - RIGHT) / (len(quarters) - 1 + FIRST)
    levels = range(0, most + 1, step)
    limit = y(capacity)
    return LoadPicture(
        width=width,
        height=HEIGHT,
        title=_("Neck resets expected in each quarter"),
        words=load_words(quarters, capacity),
        frame=Line(LEFT, y(0), width - RIGHT, y(0)),
        grid=tuple(Line(LEFT, y(level), width - RIGHT, y(level)) for level in levels),
        grid_labels=tuple(Text(LEFT - 6, y(level) + 4, str(level), "end") for level in levels),
        bars=tuple(_bar(quarter, place, each, y) for place, quarter in enumerate(quarters)),
        capacity=Line(LEFT, limit, width - RIGHT, limit),
        capacity_label=Text(
            LEFT, 14.0, _("dashed: room for %(count)s a quarter") % {"count": capacity}, "start"
        ),
    )


def _bar(quarter: Quarter, place: int, each: float, y: Callable[[float], float]) -> Bar:
    middle = round(LEFT + each * (place + FIRST - 0.5 if place else FIRST / 2), 1)
    wide = round(each * BAR, 1)
    low, high = y(quarter.low), y(quarter.high)
    cap = wide / 5
    above = min(high, y(quarter.booked) - 6) if quarter.booked else high
    return Bar(
        x=round(middle - wide / 2, 1),
        y=y(quarter.expected),
        width=wide,
        height=round(y(0) - y(quarter.expected), 1),
        already=quarter.start is None,
        reach=Line(middle, low, middle, high),
        caps=(
            Line(middle - cap, low, middle + cap, low),
            Line(middle - cap, high, middle + cap, high),
        ),
        booked=(middle, y(quarter.booked)) if quarter.booked else None,
        label=tuple(
            Text(middle, HEIGHT - up, words)
            for up, words in zip((26, 11), _label(quarter, place), strict=True)
            if words
        ),
        figure=Text(middle, above - 5, count_words(quarter.expected)),
    )


def _label(quarter: Quarter, place: int) -> tuple[str, str]:
    """Two short lines below a bar."""
    if quarter.start is None:
        return (
            pgettext("first of two short lines", "due"),
            pgettext("second of two short lines", "already"),
        )
    number = (quarter.start.month + 2) // 3
    named = number == 1 or (place == 1 and number != 4)  # the next one names its year then
    year = str(quarter.start.year) if named else ""
    return _("Q%(quarter)s") % {"quarter": number}, year


def _step(top: int) -> int:
    """Whole resets between two lines of the grid: 1, 2 or 5 times a power of ten."""
    size = 1
    while True:
        for factor in (1, 2, 5):
            if top <= factor * size * MOST_TICKS:
                return factor * size
        size *= 10
