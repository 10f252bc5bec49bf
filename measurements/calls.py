"""Whom to tell, and why: the board's conclusions as occasions, each of which is told once."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from instruments.models import Instrument
from measurements.board import a_year_ago, on_the_bench
from measurements.models import Contact, Outlook, State
from shop.models import Customer


@dataclass(frozen=True)
class Reason:
    """Why a customer is to be told; ``key`` with the day last measured makes an occasion."""

    key: str
    words: str


OVERDUE = Reason("overdue", "the neck reset is due")
BOOK = Reason("book", "a neck reset is near")
REMEASURE = Reason("remeasure", "the newest readings are to be taken again")
UNSEEN = Reason("unseen", "to be watched, and not measured for a year")
REASONS = (OVERDUE, BOOK, REMEASURE, UNSEEN)


@dataclass(frozen=True)
class Call:
    """One customer to tell about one instrument."""

    instrument: Instrument
    customer: Customer
    outlook: Outlook
    reason: Reason

    @property
    def occasion(self) -> str:
        return occasion_of(self.reason, self.outlook)

    @property
    def by_mail(self) -> bool:
        return bool(self.customer.email) and not self.customer.no_reminders


def occasion_of(reason: Reason, outlook: Outlook) -> str:
    """The same reason is told again only after the instrument was measured anew."""
    seen = outlook.last_measured_at
    return f"{reason.key}:{timezone.localtime(seen).date() if seen else 'never'}"


def reason_of(outlook: Outlook) -> Reason | None:
    """The most pressing reason to tell the owner of an instrument, or None."""
    if outlook.out_of_date:
        return None
    if outlook.state in (State.OVERDUE, State.BOOK):
        return OVERDUE if outlook.state == State.OVERDUE else BOOK
    if outlook.remeasure:
        return REMEASURE
    seen = outlook.last_measured_at
    if outlook.state == State.WATCH and (seen is None or seen < a_year_ago()):
        return UNSEEN
    return None


def calls(tags: Iterable[str] | None = None) -> list[Call]:
    """Who is to be told now, the most pressing first: three queries, however many.

    Left out are instruments that are here, that have a day booked, or whose occasion was told.
    ``tags`` asks for some instruments only.
    """
    found = _pressing().select_related("customer", "joint", "outlook")
    if tags is not None:
        found = found.filter(tag__in=list(tags))
    told = set(
        Contact.objects.filter(failed="", instrument__in=found.order_by().values("pk")).values_list(
            "instrument_id", "occasion"
        )
    )
    here = set(on_the_bench(Instrument.objects.all()).values_list("pk", flat=True))
    wanted = []
    for instrument in found:
        reason = reason_of(instrument.outlook)
        if reason is None or instrument.customer is None or instrument.pk in here:
            continue
        call = Call(instrument, instrument.customer, instrument.outlook, reason)
        if (instrument.pk, call.occasion) not in told:
            wanted.append(call)
    order = {reason.key: place for place, reason in enumerate(REASONS)}
    return sorted(wanted, key=lambda call: order[call.reason.key])


def _pressing() -> QuerySet[Instrument]:
    """Instruments of which ``reason_of`` may say something, the soonest reset first."""
    pressing = (
        Q(outlook__state__in=(State.OVERDUE, State.BOOK))
        | Q(outlook__remeasure=True)
        | Q(outlook__state=State.WATCH)
    )
    booked = Q(bookings__day__gte=timezone.localdate(), bookings__voided_at=None)
    return (
        Instrument.objects.filter(pressing, customer__isnull=False, outlook__out_of_date=False)
        .exclude(pk__in=Instrument.objects.filter(booked).values("pk"))
        .order_by(F("outlook__reset_likely").asc(nulls_last=True), "tag")
    )
