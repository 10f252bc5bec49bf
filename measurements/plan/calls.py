"""Whom to tell, and why: the board's conclusions as occasions, each of which is told once."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import overload

from django.db.models import F, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_noop

from instruments.models import Instrument
from measurements.models import Contact, Outlook, State
from measurements.plan.board import a_year_ago, on_the_bench
from shop.models import Customer


@dataclass(frozen=True)
class Reason:
    """Why a customer is to be told; ``key`` with the day last measured makes an occasion.

    ``words`` are kept on record as they stand here, and shown in the reader's language.
    """

    key: str
    words: str


OVERDUE = Reason("overdue", gettext_noop("the neck reset is due"))
BOOK = Reason("book", gettext_noop("a neck reset is near"))
REMEASURE = Reason("remeasure", gettext_noop("the newest readings are to be taken again"))
UNSEEN = Reason("unseen", gettext_noop("to be watched, and not measured for a year"))
REASONS = (OVERDUE, BOOK, REMEASURE, UNSEEN)
SOMETHING_ELSE = gettext_noop("something else")


@dataclass(frozen=True)
class Call:
    """One customer to tell about one instrument."""

    instrument: Instrument
    customer: Customer
    outlook: Outlook
    reason: Reason

    @property
    def occasion(self) -> str:
        return occasion_of(self.reason, self.outlook.last_measured_at)

    @property
    def by_mail(self) -> bool:
        return bool(self.customer.email) and not self.customer.no_reminders


def occasion_of(reason: Reason, seen: datetime | None) -> str:
    """The same reason is told again only after the instrument was measured anew."""
    return f"{reason.key}:{timezone.localtime(seen).date() if seen else 'never'}"


def reason_of(outlook: Outlook) -> Reason | None:
    """The most pressing reason to tell the owner of an instrument, or None."""
    if outlook.out_of_date:
        return None
    if outlook.state in (State.OVERDUE, State.BOOK) or outlook.remeasure:
        return _reason(outlook.state, outlook.remeasure)
    seen = outlook.last_measured_at
    if outlook.state == State.WATCH and (seen is None or seen < a_year_ago()):
        return UNSEEN
    return None


def _reason(state: str, remeasure: bool) -> Reason:
    """The reason where there is one, which ``_pressing`` and ``reason_of`` make sure of."""
    if state in (State.OVERDUE, State.BOOK):
        return OVERDUE if state == State.OVERDUE else BOOK
    return REMEASURE if remeasure else UNSEEN


class Calls(Sequence[Call]):
    """Who is to be told, the most pressing first; what is looked at is read from the database then."""

    def __init__(self, wanted: list[tuple[int, Reason]]) -> None:
        self.wanted = wanted

    def __len__(self) -> int:
        return len(self.wanted)

    @overload
    def __getitem__(self, place: int) -> Call: ...
    @overload
    def __getitem__(self, place: slice) -> list[Call]: ...
    def __getitem__(self, place: int | slice) -> Call | list[Call]:
        some = self.wanted[place] if isinstance(place, slice) else [self.wanted[place]]
        found = Instrument.objects.select_related("customer", "joint", "outlook").in_bulk(
            [key for key, _ in some]
        )
        calls = [
            Call(instrument, instrument.customer, instrument.outlook, reason)
            for key, reason in some
            if (instrument := found.get(key)) is not None and instrument.customer is not None
        ]
        return calls if isinstance(place, slice) else calls[0]

    def __iter__(self) -> Iterator[Call]:
        return iter(self[:])


def calls(tags: Iterable[str] | None = None) -> Calls:
    """Who is to be told now: three queries, and one for those that are looked at, however many.

    Left out are instruments that are here, that have a day booked, or whose occasion was told.
    ``tags`` asks for some instruments only.
    """
    found = _pressing()
    if tags is not None:
        found = found.filter(tag__in=list(tags))
    told = _told()
    here = set(on_the_bench(Instrument.objects.all()).values_list("pk", flat=True))
    wanted = []
    for key, state, remeasure in found.values_list("pk", "outlook__state", "outlook__remeasure"):
        reason = _reason(state, remeasure)
        if key not in here and not any(
            occasion == occasion_of(reason, seen) for occasion, seen in told.get(key, ())
        ):
            wanted.append((key, reason))
    order = {reason.key: place for place, reason in enumerate(REASONS)}
    return Calls(sorted(wanted, key=lambda each: order[each[1].key]))


def _told() -> dict[int, list[tuple[str, datetime | None]]]:
    """By instrument: the occasions that were told, each with when it was last measured."""
    told: dict[int, list[tuple[str, datetime | None]]] = defaultdict(list)
    contacts = Contact.objects.filter(failed="", instrument__outlook__out_of_date=False)
    columns = ("instrument_id", "occasion", "instrument__outlook__last_measured_at")
    for key, occasion, seen in contacts.values_list(*columns):
        told[key].append((occasion, seen))
    return told


def _pressing() -> QuerySet[Instrument]:
    """Instruments of which ``reason_of`` says something, the soonest reset first."""
    unseen = Q(outlook__last_measured_at=None) | Q(outlook__last_measured_at__lt=a_year_ago())
    pressing = (
        Q(outlook__state__in=(State.OVERDUE, State.BOOK))
        | Q(outlook__remeasure=True)
        | Q(outlook__state=State.WATCH) & unseen
    )
    booked = Q(bookings__day__gte=timezone.localdate(), bookings__voided_at=None)
    return (
        Instrument.objects.filter(pressing, customer__isnull=False, outlook__out_of_date=False)
        .exclude(pk__in=Instrument.objects.filter(booked).values("pk"))
        .order_by(F("outlook__reset_likely").asc(nulls_last=True), "tag")
    )
