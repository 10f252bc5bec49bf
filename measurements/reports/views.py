"""Service reports: issue, list, show, correct, and as a PDF."""

from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from measurements.advice.counsel import counsel
from measurements.finding import instrument_or_404
from measurements.models import ServiceReport
from measurements.reports import content as service
from measurements.reports.facts import corrections
from measurements.reports.forms import ReviseForm
from measurements.reports.pages import page_context
from measurements.reports.paper import file_name, pdf
from measurements.reports.revisions import revise
from shop import search
from shop.access import note_access
from shop.models import AccessKind
from shop.pdf import PdfUnavailableError, pdf_trouble
from shop.people import person
from shop.roles import anyone_on_staff
from shop.views import form_view


def report_or_404(number: int, revision: int | None = None) -> ServiceReport:
    """One revision of a report, or its newest."""
    found = ServiceReport.objects.filter(number=number).select_related("instrument__customer")
    chosen = found.newest() if revision is None else found.filter(revision=revision)
    report = chosen.first()
    if report is None:
        raise Http404(_("No such report, or no such revision of it."))
    return report


@require_POST
@anyone_on_staff
def issue(request: HttpRequest, tag: str) -> HttpResponse:
    """Issue the report of the latest visit; the form's nonce makes a repeated submit harmless."""
    instrument = instrument_or_404(tag)
    if "anyway" not in request.POST and counsel(instrument).advice.first_step == "remeasure":
        messages.error(
            request,
            _(
                "No report yet: the newest readings do not fit. Measure again or correct them, or "
                "tick that they were checked."
            ),
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
    """All reports by their newest revision, newest first; or those of one instrument or customer."""
    wanted = search.wanted(request)
    found = (
        ServiceReport.objects.newest()
        .select_related("instrument__customer", "issued_by")
        .defer("content")
    )
    if wanted:
        found = (
            found.filter(instrument__tag__icontains=wanted)
            | found.filter(instrument__customer__name__icontains=wanted)
            | (found.filter(number=int(wanted[:9])) if wanted.isdecimal() else found.none())
        )
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(request, "measurements/reports/list.html", {"page": page, "wanted": wanted})


@require_GET
@anyone_on_staff
def report(request: HttpRequest, number: int, revision: int | None = None) -> HttpResponse:
    """The newest revision, or an earlier one, with what was corrected since."""
    found = report_or_404(number, revision)
    note_access(request, AccessKind.REPORT, [found.instrument.customer])
    context = page_context(found)
    context |= {
        "pdf_trouble": pdf_trouble(),
        "revisions": list(ServiceReport.objects.filter(number=number).defer("content")),
        "corrections": [] if context["replaced"] else corrections(found),
    }
    return render(request, "measurements/reports/report.html", context)


@form_view
@anyone_on_staff
def revise_report(request: HttpRequest, number: int) -> HttpResponse:
    """Issue the next revision, which says what was corrected."""
    found = report_or_404(number)
    doubtful = counsel(found.instrument).advice.first_step == "remeasure"
    data = request.POST if request.method == "POST" else None
    start = {"nonce": uuid4(), "revision": found.revision}
    form = ReviseForm(data, initial=start, doubtful=doubtful)
    if form.is_valid():
        seen = report_or_404(number, form.cleaned_data["revision"])
        try:
            new = revise(
                seen,
                person(request),
                why=form.cleaned_data["why"],
                nonce=str(form.cleaned_data["nonce"]),
            )
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            issued = _("Revision %(revision)s is issued.") % {"revision": new.revision}
            messages.success(request, issued)
            return redirect("report", number=number)
    context = {"form": form, "report": found, "corrections": corrections(found)}
    return render(
        request, "measurements/reports/revise.html", context, status=422 if form.is_bound else 200
    )


@require_GET
@anyone_on_staff
def report_pdf(request: HttpRequest, number: int, revision: int | None = None) -> HttpResponse:
    """The PDF, A4 or with ``?paper=Letter``."""
    found = report_or_404(number, revision)
    note_access(request, AccessKind.REPORT, [found.instrument.customer])
    try:
        data = pdf(found, request.GET.get("paper", ""))
    except PdfUnavailableError as trouble:
        messages.error(request, str(trouble))
        return redirect("report", number=number)
    return pdf_response(found, data)


def pdf_response(report: ServiceReport, data: bytes) -> HttpResponse:
    response = HttpResponse(data, content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="{file_name(report)}"'
    return response
