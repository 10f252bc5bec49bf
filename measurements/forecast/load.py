"""How many neck resets the coming quarters will bring: from every forecast's chances, not from likely dates.

Each instrument's forecast gives the chance that its reset falls due in a quarter. The sum of the
chances is the number to expect; the spread of the number follows from the chances too, with the
instruments taken as independent of one another (a Poisson-binomial count, whose variance is the sum of
p(1 − p)). What they share, such as a damp summer or the shop's own prior being wrong, is not in it.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from math import ceil, floor, sqrt
from typing import Any

from django.db import connection
from django.db.models import Count, F, QuerySet, Sum
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.models import CHANCES, Booking, Outlook
from shop.statements import Statement

QUARTERS = len(CHANCES) - 1
#: Of the normal law: 80 % lie within so many standard deviations.
FOUR_IN_FIVE = 1.2816


@dataclass(frozen=True)
class Quarter:
    """Resets that fall due in a quarter; ``start`` None stands for those due already."""

    start: date | None
    expected: float
    low: int
    high: int
    booked: int = 0

    @property
    def words(self) -> str:
        if self.start is None:
            return _("due already")
        return _("%(year)s Q%(quarter)s") % {
            "year": self.start.year,
            "quarter": (self.start.month + 2) // 3,
        }


def quarter_start(day: date) -> date:
    return date(day.year, 3 * ((day.month - 1) // 3) + 1, 1)


def quarters_after(start: date, count: int) -> date:
    """First day of the quarter ``count`` quarters after the one that starts on ``start``."""
    months = start.year * 12 + start.month - 1 + 3 * count
    return date(months // 12, months % 12 + 1, 1)


def chance_days(as_of: date) -> list[date]:
    """The days by which ``CHANCES`` are asked: that day, and the last of its and eight later quarters."""
    start = quarter_start(as_of)
    ends = (quarters_after(start, place) - timedelta(days=1) for place in range(1, QUARTERS + 1))
    return [as_of, *ends]


def expected_resets(instruments: QuerySet[Instrument], today: date) -> list[Quarter]:
    """What is due already, the running quarter and the eight after it; one query and one of bookings.

    An outlook made in an earlier quarter counts with what it said of the same quarters; what it
    expected before today is due already.
    """
    this = quarter_start(today)
    mean: dict[int, float] = defaultdict(float)
    variance: dict[int, float] = defaultdict(float)
    for made, sums in _sums(instruments):
        late = _quarters_between(quarter_start(made), this)
        for place, (amount, spread) in enumerate(sums):
            # place 0 is what was due by the outlook's day, 1 its own quarter
            now = 0 if place == 0 else max(place - late, 0)
            mean[now] += amount
            variance[now] += spread
    booked = _booked(instruments, this)
    starts = [None, *(quarters_after(this, place) for place in range(QUARTERS))]
    return [
        quarter(start, mean[place], variance[place], booked.get(start, 0) if start else 0)
        for place, start in enumerate(starts)
    ]


def quarter(start: date | None, mean: float, variance: float, booked: int = 0) -> Quarter:
    """The range holds the number in at least about four cases in five: whole resets, outwards."""
    reach = FOUR_IN_FIVE * sqrt(max(variance, 0.0))
    low, high = max(0, floor(mean - reach + 1e-9)), ceil(mean + reach - 1e-9)
    return Quarter(start, mean, low, high, booked)


def _sums(
    instruments: QuerySet[Instrument],
) -> Iterator[tuple[date, Sequence[tuple[float, float]]]]:
    """For each day on which outlooks were made: expected number and variance, place by place."""
    if instruments.query.where:
        found: Iterable[Sequence[Any]] = _of(instruments, _by_day())
    else:
        of_all = _of_all(connection.vendor)
        found = of_all.converted(of_all.fetch())
    for made, *sums in found:
        by, squared = sums[: len(CHANCES)], sums[len(CHANCES) :]
        steps = [now - before for now, before in zip(by, [0.0, *by], strict=False)]
        # p(1 - p) = p - p², summed
        yield made, [(step, step - square) for step, square in zip(steps, squared, strict=True)]


def _by_day() -> QuerySet[Any]:
    """Sums over the outlooks of each day: of the chances, then of the squares of their steps."""
    steps = [F(name) - F(before) for before, name in pairwise(CHANCES)]
    squares = [F(CHANCES[0]) * F(CHANCES[0]), *(step * step for step in steps)]
    wanted = {f"sum_{name}": Sum(name) for name in CHANCES}
    wanted |= {f"squared_{place}": Sum(square) for place, square in enumerate(squares)}
    # By day: SQLite has no quarters and would ask Python for each row's.
    known = Outlook.objects.filter(**{f"{CHANCES[0]}__isnull": False}).order_by().values("as_of")
    return known.annotate(**wanted).values_list("as_of", *wanted)


@cache
def _of_all(vendor: str) -> Statement:
    """The same for every instrument: making its SQL takes half as long as running it."""
    return Statement.of(_by_day())


def _quarters_between(earlier: date, later: date) -> int:
    return (later.year - earlier.year) * 4 + (later.month - earlier.month) // 3


def _of(instruments: QuerySet[Instrument], rows: QuerySet[Any]) -> QuerySet[Any]:
    """Rows of those instruments; all of them where nothing narrows the instruments down."""
    if not instruments.query.where:
        return rows
    return rows.filter(instrument__in=instruments.order_by().values("pk"))


def _booked(instruments: QuerySet[Instrument], this: date) -> dict[date, int]:
    """Bookings by the first day of their quarter, from this quarter on."""
    standing = Booking.objects.standing().filter(day__gte=this)
    days = _of(instruments, standing).order_by().values("day").annotate(count=Count("pk"))
    booked: dict[date, int] = defaultdict(int)
    for day, count in days.values_list("day", "count"):
        booked[quarter_start(day)] += count
    return booked
