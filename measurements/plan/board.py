"""The owner's board: which instruments, in which order, and how many resets the quarters will bring."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Case, Count, F, OrderBy, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.models import Instrument, JointKind
from measurements.models import CheckIn, Contact, Outlook, Stage, State
from measurements.work.visit import BETWEEN_STEPS
from shop.search import trimmed

#: An instrument received and not measured as returned is taken to be here for so long at most.
BENCH_DAYS = 90
YEAR = timedelta(days=365)


def last_check_in() -> QuerySet[CheckIn]:
    """Newest first, of the outer query's instrument, of the days in which it may still be here."""
    return (
        CheckIn.objects.standing()
        .filter(instrument=OuterRef("pk"), measured_at__gte=_bench_start())
        .order_by("-measured_at", "-pk")
    )


def _bench_start() -> datetime:
    return timezone.now() - timedelta(days=BENCH_DAYS)


def on_the_bench(instruments: QuerySet[Instrument]) -> QuerySet[Instrument]:
    """Those received and not yet measured as returned; a reading between two steps is not that."""
    newest = last_check_in()
    seen = CheckIn.objects.filter(measured_at__gte=_bench_start()).values("instrument")
    here = Case(When(BETWEEN_STEPS, then=Value(Stage.RECEIVED)), default=F("stage"))
    received = newest.filter(stage=Stage.RECEIVED)
    return (
        instruments.filter(pk__in=seen)
        .annotate(
            newest_stage=Subquery(newest.annotate(here=here).values("here")[:1]),
            received_at=Coalesce(
                Subquery(received.values("measured_at")[:1]),
                Subquery(newest.values("measured_at")[:1]),
            ),
        )
        .filter(newest_stage=Stage.RECEIVED)
    )


#: What the board can be sorted by, and the words of its column.
SORTS = {
    "tag": gettext_noop("Instrument"),
    "due": gettext_noop("Reset likely"),
    "customer": gettext_noop("Customer"),
    "saddle": gettext_noop("Saddle room"),
    "joint": gettext_noop("Joint room"),
    "seen": gettext_noop("Last seen"),
    "contact": gettext_noop("Last told"),
}
COLUMNS = {
    "due": ("outlook__reset_likely", "outlook__reset_early"),
    "tag": ("tag",),
    "customer": ("customer__name",),
    "saddle": ("outlook__saddle_room_mm",),
    "joint": ("outlook__joint_room_mm",),
    "seen": ("outlook__last_measured_at",),
    "contact": ("told_at",),
}


#: What a line of the board shows, of the tables' eighty columns.
LINE = (
    "tag", "maker", "model", "customer__code", "customer__name", "customer__phone", "joint__kind",
    *(
        f"outlook__{name}"
        for name in (
            "state", "reset_early", "reset_likely", "reset_late", "as_of", "remeasure",
            "out_of_date", "saddle_room_mm", "joint_room_mm", "saddle_spent_likely",
            "last_measured_at",
        )
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Wish:
    """What the reader asked to see; anything unknown is as if it had not been asked."""

    words: str = ""
    state: str = ""
    joint: str = ""
    bench: bool = False
    unseen: bool = False
    sort: str = "due"
    backwards: bool = False

    @classmethod
    def of(cls, asked: Mapping[str, str]) -> "Wish":
        sort = asked.get("sort", "")
        return cls(
            words=trimmed(asked.get("q", "")),
            state=_known(asked.get("state", ""), State.values),
            joint=_known(asked.get("joint", ""), JointKind.values),
            bench=asked.get("bench") == "1",
            unseen=asked.get("unseen") == "1",
            sort=_known(sort.removeprefix("-"), list(SORTS)) or "due",
            backwards=sort.startswith("-"),
        )

    @property
    def narrows(self) -> bool:
        return any((self.words, self.state, self.joint, self.bench, self.unseen))

    def headings(self) -> Iterator[tuple[str, str, str]]:
        """Each column: what a click on it sorts by, its words, and how it is sorted now."""
        for key, words in SORTS.items():
            chosen = key == self.sort
            turned = chosen and not self.backwards
            now = ("descending" if self.backwards else "ascending") if chosen else ""
            yield f"-{key}" if turned else key, _(words), now


def _known(word: str, words: list[str]) -> str:
    return word if word in words else ""


def matching(wish: Wish, *, any_state: bool = False) -> QuerySet[Instrument]:
    """The instruments asked for, unsorted; ``any_state`` leaves the state out of it."""
    found = Instrument.objects.all()
    for word in wish.words.split():
        found = found.filter(
            Q(tag__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(maker__icontains=word)
            | Q(model__icontains=word)
            | Q(serial__icontains=word)
        )
    if wish.joint:
        found = found.filter(joint__kind=wish.joint)
    if wish.unseen:
        found = found.filter(
            Q(outlook__last_measured_at=None) | Q(outlook__last_measured_at__lt=a_year_ago())
        )
    if wish.bench:
        found = on_the_bench(found)
    if wish.state and not any_state:
        is_in_it = Q(outlook__state=wish.state)
        if wish.state == State.UNKNOWN:
            is_in_it |= Q(outlook=None)  # never measured
        found = found.filter(is_in_it)
    return found


def a_year_ago() -> datetime:
    return timezone.now() - YEAR


class BoardPages(Paginator):  # type: ignore[type-arg]  # generic to the type checker only
    """The instruments asked for, in the order asked for, with what a line of the board shows.

    A page's keys are found first and its lines read then: reading lines to sort them takes several
    times as long.
    """

    def __init__(self, wish: Wish, count: int, lines: int) -> None:
        found = matching(wish)
        keys = _sorted(_told(found) if wish.sort == "contact" else found, wish)
        super().__init__(keys.values_list("pk", flat=True), lines)
        self.count = count  # counted already, state by state

    def page(self, number: int | str) -> Page[Any]:
        page = super().page(number)
        keys = list(page.object_list)
        shown = _told(Instrument.objects.filter(pk__in=keys))
        lines = shown.select_related("customer", "joint", "outlook").only(*LINE).in_bulk()
        page.object_list = [lines[key] for key in keys if key in lines]
        return page


def _told(instruments: QuerySet[Instrument]) -> QuerySet[Instrument]:
    told = Contact.objects.filter(instrument=OuterRef("pk"), failed="").order_by("-made_at")
    return instruments.annotate(told_at=Subquery(told.values("made_at")[:1]))


def _sorted(instruments: QuerySet[Instrument], wish: Wish) -> QuerySet[Instrument]:
    return instruments.order_by(*_order(wish), "tag" if wish.sort != "tag" else "pk")


def _order(wish: Wish) -> list[OrderBy]:
    """Unknown figures stand last whichever way the board is sorted."""
    keys = [F(column) for column in COLUMNS[wish.sort]]
    if wish.backwards:
        return [key.desc(nulls_last=True) for key in keys]
    return [key.asc(nulls_last=True) for key in keys]


def counts_by_state(wish: Wish) -> dict[str, int]:
    """How many of the instruments asked for are in each state; those never measured are unknown."""
    found = matching(wish, any_state=True)
    outlooks = Outlook.objects.order_by().values("state")
    if replace(wish, state="").narrows:
        outlooks = outlooks.filter(instrument__in=found.order_by().values("pk"))
    counts: dict[str, int] = dict.fromkeys(State.values, 0)
    counts |= outlooks.annotate(count=Count("pk")).values_list("state", "count")
    counts[State.UNKNOWN] += found.count() - sum(counts.values())
    return counts
