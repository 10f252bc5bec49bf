"""Links to a report: staff make and close them, customers open them and reach nothing else."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from measurements.models import ReportLink, ServiceReport
from measurements.photos.kept import shrink
from measurements.photos.report import jpeg_as_frozen
from measurements.reports.links import make_link, mark_opened, open_link, revoke_link
from measurements.reports.pages import page_context
from measurements.reports.paper import pdf
from measurements.reports.views import pdf_response, report_or_404
from shop.languages import written_in
from shop.logo import png_of
from shop.pdf import PdfUnavailableError, pdf_trouble
from shop.people import person
from shop.roles import anyone_on_staff
from shop.site import absolute
from shop.views import form_view

LinkView = Callable[..., HttpResponse | None]


@form_view
@anyone_on_staff
def report_links(request: HttpRequest, number: int) -> HttpResponse:
    """The links to a report; making one shows its address this once."""
    report = report_or_404(number)
    address = ""
    if request.method == "POST":
        token = make_link(report, person(request))
        address = absolute(request, reverse("customer-report", kwargs={"token": token}))
    links = ReportLink.objects.filter(report__number=number).select_related("report", "created_by")
    context = {"report": report, "links": links, "address": address, "now": timezone.now()}
    response = render(request, "measurements/reports/links.html", context)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@anyone_on_staff
def close_report_link(request: HttpRequest, number: int, link: int) -> HttpResponse:
    if revoke_link(number, link):
        messages.success(request, _("The link is closed: its address opens nothing any more."))
    return redirect("report-links", number=number)


# For whoever holds the address


def by_link(view: LinkView) -> Callable[..., HttpResponse]:
    """Open ``view`` with the link and the newest revision of its report, or answer 404 in plain words.

    A wrong, an expired and a revoked address, and a picture that is not in the report, look alike. None
    is kept by caches, found by searches or told to other sites.
    """

    @wraps(view)
    def opened(request: HttpRequest, token: str, **kwargs: Any) -> HttpResponse:
        found = open_link(token)
        response = None if found is None else view(request, *found, token=token, **kwargs)
        if response is None:
            response = render(request, "measurements/reports/closed.html", status=404)
        response["Cache-Control"] = "private, no-store"
        response["X-Robots-Tag"] = "noindex"
        response["Referrer-Policy"] = "no-referrer"
        return response

    return require_GET(login_not_required(opened))


@by_link
def customer_report(
    request: HttpRequest, link: ReportLink, report: ServiceReport, *, token: str
) -> HttpResponse:
    mark_opened(link)

    def photo(entry: dict[str, Any]) -> str:
        where = {"token": token, "number": entry["number"]}
        return reverse("customer-report-photo", kwargs=where)

    logo = reverse("customer-report-logo", kwargs={"token": token})
    context = page_context(report, photo=photo, logo=logo)
    context |= {"link": link, "token": token, "pdf_trouble": pdf_trouble()}
    with written_in(context["written_in"]):  # the page around the report too
        response = render(request, "measurements/reports/customer.html", context)
    response["Content-Language"] = report.content["language"]
    return response


@by_link
def customer_pdf(
    request: HttpRequest, link: ReportLink, report: ServiceReport, *, token: str
) -> HttpResponse | None:
    mark_opened(link)
    try:
        return pdf_response(report, pdf(report, request.GET.get("paper", "")))
    except PdfUnavailableError:
        return None


@by_link
def customer_photo(
    request: HttpRequest, link: ReportLink, report: ServiceReport, *, token: str, number: int
) -> HttpResponse | None:
    """One of the photos that the report shows, by its number in it."""
    for entry in report.content.get("photos", []):
        if entry["number"] == number:
            data = jpeg_as_frozen(entry)
            if data is not None and request.GET.get("size") == "small":
                data = shrink(data)
            return None if data is None else _picture(data, "image/jpeg")
    return None


@by_link
def customer_logo(
    request: HttpRequest, link: ReportLink, report: ServiceReport, *, token: str
) -> HttpResponse | None:
    kept = report.content.get("shop", {}).get("logo")
    png = png_of(kept["digest"]) if kept else None
    return None if png is None else _picture(png, "image/png")


def _picture(data: bytes, kind: str) -> HttpResponse:
    return HttpResponse(data, content_type=kind, headers={"X-Content-Type-Options": "nosniff"})
