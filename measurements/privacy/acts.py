"""Erasing a customer: the person goes from the record, what was measured stays.

This is the one act that changes what is on record without voiding it: history, issued reports and, where
the owner ticks it, free text. Figures, dates and who of the staff did what are never touched, so every
forecast and every report says of the instrument what it said before.
"""

import re
from collections.abc import Collection
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.acts import void
from measurements.models import Booking, Contact, ServiceReport
from measurements.privacy.record import (
    SOURCES,
    Note,
    ever_owned,
    free_texts,
    open_links,
    reports_naming,
)
from shop.figures import day_words
from shop.languages import language_for, written_in
from shop.models import Customer, Erasure, ShopProfile, User
from shop.texts import plain_line

PERSONAL = {"phone": "", "email": "", "address": "", "notes": ""}
#: The parts of an issued report that repeat free text, and how short a text is looked for in them.
REPEATING = ("work", "damage", "photos", "revision")
SHORTEST = 3
#: The parts that hold none; and how short a text is looked for within the sentences of all others.
FIGURES = ("facts", "shop", "customer", "rows", "columns", "nonce")
SHORTEST_ELSEWHERE = 8


@transaction.atomic
def erase_customer(
    customer: Customer, *, by: User | None, reason: str, notes: Collection[str] = ()
) -> Erasure:
    """Erase a customer for good; ``notes`` are the keys of free text to go with them.

    Raises ``ValidationError`` where no reason is given or the customer was erased before.
    """
    reason = plain_line(reason)
    if not reason:
        raise ValidationError({"reason": _("Say why: the record keeps the reason.")})
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    if Erasure.objects.filter(customer=customer).exists():
        raise ValidationError(_("This customer was erased before."))
    with written_in(language_for(None, ShopProfile.current())):  # whoever reads it later
        said = _("erased on %(day)s") % {"day": day_words(timezone.localdate())}
        name = _("Customer %(erased)s") % {"erased": said}
    texts = [note for note in free_texts(customer) if note.key in set(notes)]
    reports = reports_naming(customer)
    counts = {
        "links": open_links(reports).update(revoked_at=timezone.now()),
        "reports": _reports(reports, said),
        "texts": _texts(customer, texts, said),
        "contacts": _contacts(customer, said),
        "bookings": _bookings(customer, by, name),
        "instruments": _let_go(customer),
        "history": _name(customer, name),
    }
    return Erasure.objects.create(
        customer=customer, erased_by=by, reason=reason[:400], counts=counts
    )


def _name(customer: Customer, name: str) -> int:
    """The record itself, and every earlier version of it."""
    nameless = PERSONAL | {"name": name}
    for field, value in (nameless | {"no_reminders": True}).items():
        setattr(customer, field, value)
    customer.version += 1
    customer.full_clean()
    customer.save()
    return int(Customer.history.filter(id=customer.pk).update(**nameless))


def _let_go(customer: Customer) -> int:
    """Instruments stand under no name: kept together they would still tell one person's from others'."""
    instruments = list(Instrument.objects.select_for_update().filter(customer=customer))
    for instrument in instruments:
        instrument.customer = None
        instrument.version += 1
        instrument.save(update_fields=["customer", "version"])
    return len(instruments)


def _contacts(customer: Customer, said: str) -> int:
    """That somebody was told, when and why stays; to what address and in which words goes."""
    contacts = Contact.objects.filter(customer=customer)
    contacts.exclude(failed="").update(failed=said)
    return contacts.update(to="", subject="", words="")


def _bookings(customer: Customer, by: User | None, reason: str) -> int:
    ahead = Booking.objects.standing().filter(
        instrument__customer=customer, day__gte=timezone.localdate()
    )
    if by is None and ahead.exists():
        raise ValidationError(_("A day is booked for this customer: only a person can cancel it."))
    cancelled = list(ahead)
    for booking in cancelled:
        void(booking, by=by, reason=reason)
    return len(cancelled)


def _reports(reports: list[ServiceReport], said: str) -> int:
    """Name and address in what was issued; the rest of it stays as it was."""
    for report in reports:
        report.content["customer"] = {"name": said, "address": [], "erased": True}
        report.save(update_fields=["content"])
    return len(reports)


def _texts(customer: Customer, texts: list[Note], said: str) -> int:
    """Free text where it stands, in earlier versions of an instrument's notes and in issued reports."""
    gone: set[str] = set()
    for note in texts:
        kind, key = note.key.split(":", 1)
        if kind == "instrument":
            gone |= _instrument_notes(key, said)
        elif kind == "report":
            number, revision = key.split("-")
            report = ServiceReport.objects.get(number=number, revision=revision)
            gone.add(report.why_revised)
            report.why_revised = said
            report.save(update_fields=["why_revised"])
        else:
            gone |= _record_texts(kind, key, said)
    words = sorted(gone - {"", said}, key=len, reverse=True)
    if words:
        _in_reports(customer, words, said)
    return len(texts)


def _instrument_notes(tag: str, said: str) -> set[str]:
    instrument = Instrument.objects.select_for_update().get(tag=tag)
    gone = {instrument.notes}
    instrument.notes = said
    instrument.version += 1
    instrument.save(update_fields=["notes", "version"])
    earlier = Instrument.history.filter(id=instrument.pk).exclude(notes__in=("", said))
    gone |= set(earlier.values_list("notes", flat=True))
    earlier.update(notes=said)
    return gone


def _record_texts(kind: str, uuid: str, said: str) -> set[str]:
    source = SOURCES[kind]
    record = source.model.objects.get(uuid=uuid)
    filled = [name for name in source.fields if getattr(record, name)]
    gone = {getattr(record, name) for name in filled}
    for name in filled:
        setattr(record, name, said)
    record.save(update_fields=filled)
    return gone


def _in_reports(customer: Customer, words: list[str], said: str) -> None:
    """The same texts where a report that was issued repeats them."""
    pattern = _any_of(words, within=SHORTEST)
    elsewhere = _any_of(words, within=SHORTEST_ELSEWHERE)
    for report in ServiceReport.objects.filter(instrument__in=ever_owned(customer)):
        content = {
            name: part
            if name in FIGURES
            else _without(part, pattern if name in REPEATING else elsewhere, said)
            for name, part in report.content.items()
        }
        if content != report.content:
            report.content = content
            report.save(update_fields=["content"])


def _any_of(words: list[str], *, within: int) -> re.Pattern[str]:
    """Matches each text by itself, and those that are not shorter than ``within`` in a sentence too."""
    parts = [
        rf"(?<!\w){re.escape(text)}(?!\w)" if len(text) >= within else rf"\A{re.escape(text)}\Z"
        for text in words
    ]
    return re.compile("|".join(parts))


def _without(part: Any, pattern: re.Pattern[str], said: str) -> Any:
    """JSON in whose texts each match is replaced."""
    if isinstance(part, str):
        return pattern.sub(said, part)
    if isinstance(part, list):
        return [_without(item, pattern, said) for item in part]
    if isinstance(part, dict):
        return {key: _without(item, pattern, said) for key, item in part.items()}
    return part
