"""Sending a report to its customer: looked at first, then sent, once."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from measurements.models import ServiceReport
from measurements.reports.forms import SendReportForm
from measurements.reports.mail import send_report, sent, subject_of, words_of
from measurements.reports.paper import file_name
from measurements.reports.revisions import told_before
from measurements.reports.views import report_or_404
from shop.access import note_access
from shop.models import AccessKind
from shop.pdf import PdfUnavailableError, pdf_trouble
from shop.people import person
from shop.roles import anyone_on_staff
from shop.views import form_view


@form_view
@anyone_on_staff
def mail_report(request: HttpRequest, number: int) -> HttpResponse:
    """The letter as it would go; a post sends it. Nothing is sent by looking."""
    report = report_or_404(number)
    before = sent(report)
    data = request.POST if request.method == "POST" else None
    start = {"words": words_of(report), "paper": "A4"}
    form = SendReportForm(data, initial=start, sent_before=len(before))
    form.fields["words"].widget.attrs["lang"] = report.content["language"]
    if form.is_valid() and _as_seen(form, report) and _send(request, form, report):
        messages.success(request, _("The report is on its way; it stands among the contacts."))
        return redirect("report", number=number)
    customer = report.instrument.customer
    note_access(request, AccessKind.LETTER, [customer])  # whether a look or a post shows it
    context = {
        "form": form,
        "report": report,
        "customer": customer,
        "was_for": told_before(report, report.instrument) if customer else None,
        "subject": subject_of(report),
        "file_name": file_name(report),
        "sent": before,
        "sent_before": len(before),
        "pdf_trouble": pdf_trouble(),
    }
    return render(
        request, "measurements/reports/mail.html", context, status=422 if form.is_bound else 200
    )


def _as_seen(form: SendReportForm, report: ServiceReport) -> bool:
    """Whether revision and address are still those that the sender saw; else the form says so."""
    customer = report.instrument.customer
    if customer is None or not customer.email:
        form.add_error(None, _("There is no e-mail address on record to send it to."))
    elif form.cleaned_data["to"] != customer.email:
        form.add_error(None, _("The address was changed in the meantime. Check it, then send."))
    if form.cleaned_data["revision"] != report.revision:
        form.add_error(
            None,
            _(
                "Revision %(revision)s was issued in the meantime; it is the one that goes now. "
                "Check the letter, then send."
            )
            % {"revision": report.revision},
        )
    return form.is_valid()


def _send(request: HttpRequest, form: SendReportForm, report: ServiceReport) -> bool:
    try:
        send_report(
            report,
            by=person(request),
            words=form.cleaned_data["words"],
            paper=form.cleaned_data["paper"],
            sent_before=form.cleaned_data["sent_before"],
        )
    except ValidationError as error:
        form.add_error(None, ValidationError(error.messages))
    except PdfUnavailableError as trouble:
        form.add_error(None, str(trouble))
    return form.is_valid()
