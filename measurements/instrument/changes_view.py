"""The page of who changed what of an instrument."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from measurements.finding import instrument_or_404
from measurements.instrument.changes import changes_of
from shop.people import unit_of
from shop.roles import anyone_on_staff


@require_GET
@anyone_on_staff
def changes(request: HttpRequest, tag: str) -> HttpResponse:
    found = instrument_or_404(tag)
    page = Paginator(changes_of(found, unit_of(request)), 50).get_page(request.GET.get("page"))
    return render(
        request, "measurements/instrument/changes.html", {"instrument": found, "page": page}
    )
