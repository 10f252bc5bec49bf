"""A drift chart as a picture, coordinates only; ``_drift.svg`` prints them."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from measurements.drawings.parts import Line, Point, Text
from measurements.gauges.hands import Hand
from shop.figures import month_words

WIDTH, HEIGHT, ABOVE, BELOW, SIDE = 400.0, 120.0, 10.0, 24.0, 8.0


@dataclass(frozen=True)
class DriftPicture:
    width: float
    height: float
    title: str
    line: str
    dots: tuple[Point, ...]
    beyond: tuple[Point, ...]
    centre: Line
    limits: tuple[Line, Line]
    labels: tuple[Text, ...]


def drift_picture(hand: Hand) -> DriftPicture:
    """The moving average in order of the readings, with its centre and its limits."""
    chart = hand.chart
    reach = max(chart.high, float(abs(chart.values).max())) * 1.1
    count = len(chart.values)
    each = (WIDTH - 2 * SIDE) / max(count - 1, 1)

    def y(value: float) -> float:
        return round(ABOVE + (HEIGHT - ABOVE - BELOW) * (reach - value) / (2 * reach), 1)

    points = [(round(SIDE + each * place, 1), y(float(v))) for place, v in enumerate(chart.values)]
    across = [
        Line(SIDE, y(level), WIDTH - SIDE, y(level)) for level in (0.0, chart.low, chart.high)
    ]
    first, last = hand.moments[0], hand.moments[-1]
    return DriftPicture(
        width=WIDTH,
        height=HEIGHT,
        title=_title(hand, count),
        line=" ".join(f"{x},{height}" for x, height in points),
        dots=tuple(point for point, out in zip(points, chart.beyond, strict=True) if not out),
        beyond=tuple(point for point, out in zip(points, chart.beyond, strict=True) if out),
        centre=across[0],
        limits=(across[1], across[2]),
        labels=(
            Text(SIDE, HEIGHT - 6, _short(first), "start"),
            Text(WIDTH - SIDE, HEIGHT - 6, _short(last), "end"),
            Text(SIDE, y(chart.high) + 13, _("reads too high"), "start"),
            Text(SIDE, y(chart.low) - 4, _("reads too low"), "start"),
        ),
    )


def _title(hand: Hand, count: int) -> str:
    if hand.since:
        words = _(
            "%(name)s: %(count)s readings from %(first)s to %(last)s, beyond the limits at the end"
        )
    else:
        words = _(
            "%(name)s: %(count)s readings from %(first)s to %(last)s, within the limits at the end"
        )
    first, last = month_words(hand.moments[0]), month_words(hand.moments[-1])
    return words % {"name": hand.name, "count": count, "first": first, "last": last}


def _short(moment: datetime) -> str:
    """``Sep 2026``, where there is little room."""
    return date_format(localtime(moment), "M Y")
