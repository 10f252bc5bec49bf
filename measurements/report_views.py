"""Service reports: issue, list, show, and as a PDF."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from measurements import reports as service
from measurements.check_in_views import instrument_or_404
from measurements.counsel import counsel
from measurements.models import ServiceReport
from shop import search
from shop.pdf import PdfUnavailableError, pdf_trouble
from shop.people import person
from shop.roles import anyone_on_staff


@require_POST
@anyone_on_staff
def issue(request: HttpRequest, tag: str) -> HttpResponse:
    """Issue the report of the latest visit; the form's nonce makes a repeated submit harmless."""
    instrument = instrument_or_404(tag)
    if "anyway" not in request.POST and counsel(instrument).advice.first_step == "remeasure":
        messages.error(
            request,
            "No report yet: the newest readings do not fit. Measure again or correct them, or tick "
            "that they were checked.",
        )
        return redirect("instrument", tag=instrument.tag)
    try:
        report = service.issue(instrument, person(request), nonce=_nonce(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("instrument", tag=instrument.tag)
    return redirect("report", number=report.number)


def _nonce(request: HttpRequest) -> str:
    """The form's own identifier, or none where what came is not one."""
    try:
        return str(UUID(request.POST.get("nonce", "")))
    except ValueError:
        return ""


@require_GET
@anyone_on_staff
def reports(request: HttpRequest) -> HttpResponse:
    """All reports, newest first; or those of one instrument or customer."""
    wanted = search.wanted(request)
    found = ServiceReport.objects.select_related("instrument__customer", "issued_by").defer(
        "content"
    )
    if wanted:
        found = (
            found.filter(instrument__tag__icontains=wanted)
            | found.filter(instrument__customer__name__icontains=wanted)
            | (found.filter(number=int(wanted[:9])) if wanted.isdecimal() else found.none())
        )
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(request, "measurements/reports.html", {"page": page, "wanted": wanted})


@require_GET
@anyone_on_staff
def report(request: HttpRequest, number: int) -> HttpResponse:
    found = get_object_or_404(ServiceReport.objects.select_related("instrument"), number=number)
    context = {"report": found, "content": found.content, "pdf_trouble": pdf_trouble()}
    return render(request, "measurements/report.html", context)


@require_GET
@anyone_on_staff
def report_pdf(request: HttpRequest, number: int) -> HttpResponse:
    """The PDF, A4 or with ``?paper=Letter``."""
    found = get_object_or_404(ServiceReport, number=number)
    try:
        data = service.pdf(found, request.GET.get("paper", ""))
    except PdfUnavailableError as trouble:
        messages.error(request, str(trouble))
        return redirect("report", number=number)
    response = HttpResponse(data, content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="service-report-{number}.pdf"'
    return response
