"""Telling a customer and booking a day: written down first, so that nobody is told twice."""

import logging
from datetime import date

from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.models import Booking, Channel, Contact
from measurements.plan.calls import Call
from measurements.plan.letters import letter_for
from measurements.plan.mail_trouble import for_the_log, trouble_words, why_it_did_not_go
from shop.figures import day_words
from shop.models import Customer, ShopProfile, User

log = logging.getLogger(__name__)


def log_contact(
    *,
    instrument: Instrument,
    customer: Customer,
    channel: str,
    reason: str,
    occasion: str,
    by: User,
    words: str = "",
    to: str = "",
    subject: str = "",
) -> Contact:
    """Write down that a customer was told; raises ``ValidationError`` for a letter that has gone already.

    Calls may be many: nobody answered, then somebody did.
    """
    contact = Contact(
        instrument=instrument,
        customer=customer,
        channel=channel,
        reason=reason,
        occasion=occasion,
        to=to,
        subject=subject,
        words=words,
        made_by=by,
    )
    contact.clean_fields()
    try:
        with transaction.atomic():
            contact.save()
    except IntegrityError as error:
        raise ValidationError(
            _("%(customer)s was told this about %(tag)s already; see the contacts.")
            % {"customer": customer, "tag": instrument.tag}
        ) from error
    return contact


def send(call: Call, *, by: User) -> Contact:
    """E-mail one customer. The contact is committed first: a crash may lose a letter, never double it.

    Raises ``ValidationError`` where the customer was told, has no address or wants no reminders, and
    where the mail server refuses; a refused letter is on record as such and may be sent again.
    """
    if not call.customer.email:
        raise ValidationError(
            _("%(customer)s has no e-mail address on record.") % {"customer": call.customer}
        )
    if call.customer.no_reminders:
        raise ValidationError(
            _("%(customer)s does not want to be reminded.") % {"customer": call.customer}
        )
    shop = ShopProfile.current()
    letter = letter_for(call, shop)
    contact = log_contact(
        instrument=call.instrument,
        customer=call.customer,
        channel=Channel.EMAIL,
        reason=call.reason.words,
        occasion=call.occasion,
        by=by,
        words=letter.body,
        to=letter.to,
        subject=letter.subject,
    )
    message = EmailMessage(
        letter.subject,
        letter.body,
        to=[letter.to],
        reply_to=[shop.email] if shop.email else None,
    )
    deliver(contact, message)
    return contact


def deliver(contact: Contact, message: EmailMessage) -> None:
    """Send what is on record as sent; a refusal is put on record, and raised as ``ValidationError``."""
    try:
        message.send()
    except Exception as error:  # whatever the mail server or the network said
        contact.failed = why_it_did_not_go(error)
        contact.save(update_fields=["failed"])
        log.warning(
            "letter %s did not go: %s",
            contact.pk,
            for_the_log(error, contact.customer, [contact.to, *message.to]),
        )
        raise ValidationError(
            _("The letter to %(customer)s did not go: %(why)s. Nothing else was changed.")
            % {"customer": contact.customer, "why": trouble_words(contact.failed)}
        ) from error


@transaction.atomic
def book(*, instrument: Instrument, day: date, words: str, by: User) -> Booking:
    """Book a day; a second booking of the same instrument for the same day is refused."""
    Instrument.objects.select_for_update().get(pk=instrument.pk)
    if day < timezone.localdate():
        raise ValidationError(
            {"day": _("%(day)s is past; book today or a later day.") % {"day": day_words(day)}}
        )
    if Booking.objects.standing().filter(instrument=instrument, day=day).exists():
        raise ValidationError(
            {
                "day": _("%(tag)s is booked for %(day)s already.")
                % {"tag": instrument.tag, "day": day_words(day)}
            }
        )
    booking = Booking(instrument=instrument, day=day, words=words, booked_by=by)
    booking.full_clean()
    booking.save()
    return booking
