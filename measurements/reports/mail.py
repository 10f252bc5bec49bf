"""A report to its customer by e-mail: asked for, so it goes to those who want no reminders too."""

from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from measurements.models import Channel, Contact, ServiceReport
from measurements.plan.acts import deliver, log_contact
from measurements.plan.letters import either, farewell, one_line, salutation
from measurements.reports.paper import file_name, pdf
from measurements.reports.revisions import language_of, told_before
from shop.languages import language_for, written_in
from shop.models import ShopProfile, User


def subject_of(report: ServiceReport) -> str:
    with written_in(language_of(report)):
        name = report.content["instrument"]["name"] or _("instrument %(tag)s") % {
            "tag": report.instrument.tag
        }
        return one_line(f"{capfirst(str(report))}: {name}")[:200]


def words_of(report: ServiceReport) -> str:
    """The letter: what was found and what comes next, in the report's own sentences and language."""
    with written_in(language_of(report)):
        return "\n\n".join(filter(None, _paragraphs(report)))[:4000]


def _paragraphs(report: ServiceReport) -> list[str]:
    content = report.content
    contact = [one_line(way) for way in content["shop"]["contact"]]
    customer = content["customer"]["name"] if content["customer"] else ""
    return [
        salutation(customer),
        _lead(report),
        " ".join(content["found"]),
        _("What comes next: %(next)s") % {"next": " ".join(content["next"])},
        _("If anything is unclear, you reach us at %(ways)s.") % {"ways": either(contact)}
        if contact
        else "",
        farewell(content["shop"]["name"]),
    ]


def _lead(report: ServiceReport) -> str:
    content = report.content
    words = {
        "name": one_line(content["instrument"]["name"] or _("your guitar")),
        "tag": report.instrument.tag,
    }
    if report.revision == 1:
        return (
            _(
                "here is the report on your instrument, %(name)s (tag %(tag)s). You find it attached "
                "as a PDF."
            )
            % words
        )
    words |= {
        "revision": str(report.revision),
        "day": content["revision"]["replaces_issued_on"],
        "why": one_line(report.why_revised).rstrip("."),
    }
    return (
        _(
            "here is the report on your instrument, %(name)s (tag %(tag)s), in its revision "
            "%(revision)s. It takes the place of the one of %(day)s. What was corrected: %(why)s. You "
            "find it attached as a PDF."
        )
        % words
    )


def sent(report: ServiceReport) -> list[Contact]:
    """The times this revision went out, newest first; without those that failed."""
    first = _occasion(report, 0)
    found = report.instrument.contacts.filter(channel=Channel.EMAIL, failed="")
    return list(
        (found.filter(occasion=first) | found.filter(occasion__startswith=f"{first}:"))
        .select_related("made_by")
        .order_by("-made_at", "-pk")
    )


def _occasion(report: ServiceReport, sent_before: int) -> str:
    """Each sending is an occasion of its own, so that two people never send the same one."""
    again = f":{sent_before + 1}" if sent_before else ""
    return f"report:{report.number}-r{report.revision}{again}"


def send_report(
    report: ServiceReport, *, by: User, words: str, paper: str, sent_before: int
) -> Contact:
    """E-mail a report to the instrument's customer, with its PDF. It is written down first.

    ``sent_before`` is how often the sender saw that it went out: where it has gone out since, it is
    not sent. Raises ``ValidationError`` then, where there is no address, where the instrument is
    somebody else's by now (the report names the former owner), and where the mail server refuses,
    which is put on record; ``PdfUnavailableError`` where no PDF can be made.
    """
    customer = report.instrument.customer
    if customer is None or not customer.email:
        raise ValidationError(_("There is no e-mail address on record to send it to."))
    former = told_before(report, report.instrument)
    if former is not None:
        raise ValidationError(
            _("It was issued for %(former)s and names them; it does not go to %(customer)s.")
            % {"former": former["name"], "customer": customer}
        )
    shop = ShopProfile.current()
    attached = pdf(report, paper)
    if len(sent(report)) > sent_before:
        raise ValidationError(_("It was sent in the meantime; look at the contacts first."))
    with written_in(language_for(None, shop)):  # the shop's own record
        reason = str(report)
    contact = log_contact(
        instrument=report.instrument,
        customer=customer,
        channel=Channel.EMAIL,
        reason=reason,
        occasion=_occasion(report, sent_before),
        by=by,
        words=words,
        to=customer.email,
        subject=subject_of(report),
    )
    message = EmailMessage(
        contact.subject,
        words,
        to=[customer.email],
        reply_to=[shop.email] if shop.email else None,
    )
    message.attach(file_name(report), attached, "application/pdf")
    deliver(contact, message)
    return contact
