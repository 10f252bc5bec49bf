"""What is on record about one customer, and which customers have not been seen for long.

Readings belong to an instrument, not to a person. What belongs to a person: the customer's own record and
its history, the contacts, the block of name and address in reports issued to them, and whatever free text
happens to say of them.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

from django.conf import settings
from django.db.models import (
    Case,
    DateTimeField,
    Exists,
    F,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Greatest
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.models import Instrument
from measurements.models import (
    Booking,
    CheckIn,
    Contact,
    Damage,
    Photo,
    ReportLink,
    ServiceReport,
    Work,
)
from shop.languages import written_in
from shop.models import Customer, ShopProfile

LONG_AGO = datetime(1, 1, 2, tzinfo=UTC)


def ever_owned(customer: Customer) -> QuerySet[Instrument]:
    """Instruments that are this customer's or once were."""
    once = Instrument.history.filter(customer_id=customer.pk).values("id")
    return Instrument.objects.filter(Q(customer=customer) | Q(pk__in=once)).order_by("tag")


def names_of(customer: Customer) -> set[str]:
    """Every name that the customer has had on record."""
    rows = Customer.history.filter(id=customer.pk)
    return {customer.name, *rows.values_list("name", flat=True)}


def reports_naming(customer: Customer) -> list[ServiceReport]:
    """Reports, each revision, that were issued to this customer and still name them.

    A report says whose it is by their code; in one from before it did, the instrument's history says whose
    it was at the time, and where that does not reach back, the name.
    """
    reports = ServiceReport.objects.filter(instrument__in=ever_owned(customer)).select_related(
        "instrument"
    )
    named = [report for report in reports if report.content.get("customer")]
    if not named:
        return []
    owners: dict[int, list[tuple[datetime, int | None]]] = defaultdict(list)
    rows = Instrument.history.filter(id__in={report.instrument_id for report in named})
    for key, moment, owner in rows.order_by("history_date", "history_id").values_list(
        "id", "history_date", "customer_id"
    ):
        owners[key].append((moment, owner))
    names = names_of(customer)

    def is_theirs(report: ServiceReport) -> bool:
        told = report.content["customer"]
        if told.get("code"):
            return bool(told["code"] == customer.code)
        before = [owner for at, owner in owners[report.instrument_id] if at <= report.issued_at]
        theirs = before[-1] == customer.pk if before else told.get("name") in names
        return theirs and not told.get("erased")

    return [report for report in named if is_theirs(report)]


def open_links(reports: list[ServiceReport]) -> QuerySet[ReportLink]:
    numbers = {report.number for report in reports}
    return ReportLink.objects.filter(
        report__number__in=numbers, revoked_at=None, expires_at__gt=timezone.now()
    )


# Free text


class Source(NamedTuple):
    """Where free text stands: its name (marked for translation), model, way to the instrument, fields."""

    words: str
    model: Any
    instrument: str
    fields: tuple[str, ...]


SOURCES = {
    "check-in": Source(gettext_noop("check-in"), CheckIn, "instrument", ("notes", "void_reason")),
    "work": Source(gettext_noop("work"), Work, "instrument", ("notes", "void_reason")),
    "photo": Source(gettext_noop("photo"), Photo, "check_in__instrument", ("words", "void_reason")),
    "damage": Source(
        gettext_noop("damage"), Damage, "check_in__instrument", ("words", "void_reason")
    ),
    "booking": Source(gettext_noop("booking"), Booking, "instrument", ("words", "void_reason")),
}


@dataclass(frozen=True)
class Note:
    """A piece of free text that may speak of a person; ``key`` names its record in a form."""

    key: str
    where: str
    text: str


def free_texts(customer: Customer) -> list[Note]:
    """Free text about the customer's instruments, to be looked through: seven queries."""
    instruments = list(ever_owned(customer))
    found = [
        Note(
            f"instrument:{instrument.tag}",
            _("%(tag)s, notes") % {"tag": instrument.tag},
            instrument.notes,
        )
        for instrument in instruments
        if instrument.notes
    ]
    usual = set(_usual_words())
    for kind, source in SOURCES.items():
        rows = source.model.objects.filter(**{f"{source.instrument}__in": instruments})
        for row in rows.select_related(source.instrument).order_by("pk"):
            text = " / ".join(
                value
                for name in source.fields
                if (value := getattr(row, name)) and value not in usual
            )
            if text:
                tag = (row.check_in if hasattr(row, "check_in") else row).instrument.tag
                found.append(Note(f"{kind}:{row.uuid}", f"{tag}, {_(source.words)}", text))
    reports = ServiceReport.objects.filter(instrument__in=instruments).exclude(why_revised="")
    for report in reports:
        key = f"report:{report.number}-{report.revision}"
        where = _("%(report)s, what was corrected") % {"report": capfirst(str(report))}
        found.append(Note(key, where, report.why_revised))
    return found


def _usual_words() -> Iterator[str]:
    """What the form of a booking fills in by itself, in each language."""
    for language, _name in settings.LANGUAGES:
        with written_in(language):
            yield _("neck reset")


# Who has not been seen for long


def kept_until(today: datetime, years: int) -> datetime:
    """The moment ``years`` before; on the 29th of February the day before it."""
    try:
        return today.replace(year=today.year - years)
    except ValueError:
        return today.replace(year=today.year - years, day=28)


def unseen(years: int | None = None) -> QuerySet[Customer]:
    """Customers not seen for so many years, the longest unseen first, with ``seen_at``.

    Seen is a check-in, work, a report or a contact; one of whom there is none was seen when added. Whoever
    has a day booked is not among them. Nobody is where the shop keeps contacts for ever (0 years).
    """
    years = ShopProfile.current().keep_contacts_years if years is None else years
    found = Customer.objects.filter(erasure=None)
    if years <= 0:
        return found.none()
    latest = [
        _latest(CheckIn.objects.filter(instrument__customer=OuterRef("pk")), "measured_at"),
        _latest(Work.objects.filter(instrument__customer=OuterRef("pk")), "done_at"),
        _latest(ServiceReport.objects.filter(instrument__customer=OuterRef("pk")), "issued_at"),
        _latest(Contact.objects.filter(customer=OuterRef("pk")), "made_at"),
    ]
    ahead = Booking.objects.standing().filter(
        instrument__customer=OuterRef("pk"), day__gte=timezone.localdate()
    )
    seen = found.annotate(event_at=Greatest(*latest)).annotate(
        seen_at=Greatest("event_at", _created_if_nothing())
    )
    before = kept_until(timezone.now(), years)
    return seen.filter(~Exists(ahead), seen_at__lt=before).order_by("seen_at", "pk")


def _latest(rows: Any, name: str) -> Coalesce:
    """The newest of one kind of event by ``customer``; long ago where there is none."""
    newest = rows.order_by().values(_constant=Value(1)).annotate(newest=Max(name)).values("newest")
    return Coalesce(Subquery(newest), Value(LONG_AGO), output_field=DateTimeField())


def _created_if_nothing() -> Any:
    return Case(
        When(event_at=LONG_AGO, then=F("created_at")),
        default=Value(LONG_AGO),
        output_field=DateTimeField(),
    )
