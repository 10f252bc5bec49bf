"""Who read a customer's personal data: written down as it is shown, kept for a year.

This is the one thing that a GET writes. It changes nothing that any page but the owner's list of it
shows, and where it cannot be written (a database that is full or read-only) the page is shown all the
same: a shop that cannot look up a telephone number helps nobody. Lists of names are not written down,
only pages of one customer, letters, reports and exports.
"""

import logging
from collections.abc import Iterable
from datetime import timedelta

from django.db import DatabaseError, transaction
from django.http import HttpRequest
from django.utils import timezone

from shop.models import AccessKind, AccessRecord, Customer
from shop.people import person

KEPT = timedelta(days=365)

logger = logging.getLogger(__name__)


def note_access(
    request: HttpRequest, kind: AccessKind, customers: Iterable[Customer | None]
) -> None:
    """Write down that the signed-in person reads of ``customers``, by one insert."""
    read = [
        AccessRecord(customer=customer, person=person(request), kind=kind)
        for customer in customers
        if customer is not None
    ]
    _write(read)


def note_access_to_all(request: HttpRequest) -> None:
    """Write down that the signed-in person takes the whole shop's data out."""
    _write([AccessRecord(person=person(request), kind=AccessKind.SHOP)])


def _write(read: list[AccessRecord]) -> None:
    if not read:
        return
    try:
        with transaction.atomic():
            AccessRecord.objects.bulk_create(read)
    except DatabaseError as error:
        logger.error("Who read personal data could not be written down: %s", type(error).__name__)


def forget_old_access() -> int:
    """Delete what is older than it is kept for; returns how many went."""
    gone, _ = AccessRecord.objects.filter(at__lt=timezone.now() - KEPT).delete()
    return gone
