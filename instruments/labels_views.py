"""Labels for tags: choose instruments and a sheet, get the PDF."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.labels_forms import FOUND, LabelsForm
from instruments.labels_pdf import CodeTooFineError, label_pages, labels_pdf
from instruments.models import Instrument
from instruments.views import by_tag, matching
from shop import search
from shop.pdf import PdfUnavailableError
from shop.roles import at_the_bench
from shop.site import absolute
from shop.views import form_view

SHOWN = 100
ADDED = {
    "": gettext_noop("at any time"),
    "1": gettext_noop("today"),
    "7": gettext_noop("in the last 7 days"),
    "30": gettext_noop("in the last 30 days"),
}


@form_view
@at_the_bench
def labels(request: HttpRequest) -> HttpResponse:
    """The form, or the PDF that it asks for; what is looked for stands in the address in both cases."""
    wanted, added = search.wanted(request), search.wanted(request, "added")
    the_one = by_tag(wanted) if wanted else None
    found = _found(wanted, added, the_one)
    shown = list(found[:SHOWN])
    count = found.count()
    data = request.POST if request.method == "POST" else None
    ticked = set(request.POST.getlist("tag")) if data is not None else set()
    if data is None and the_one is not None:
        ticked = {the_one.tag}
    chosen = [instrument for instrument in shown if instrument.tag in ticked]
    form = LabelsForm(data, ticked=len(chosen), found=count)
    if form.is_valid():
        everything = form.cleaned_data["which"] == FOUND
        try:
            return _pdf(request, list(found) if everything else chosen, form)
        except (CodeTooFineError, PdfUnavailableError) as trouble:
            form.add_error(None, ValidationError(str(trouble)))
    context = {
        "form": form,
        "wanted": wanted,
        "added": added,
        "added_choices": [(days, _(words)) for days, words in ADDED.items()],
        "instruments": shown,
        "count": count,
        "count_shown": len(shown),
        "ticked": ticked,
    }
    status = 422 if form.is_bound else 200
    return render(request, "instruments/labels.html", context, status=status)


def _found(wanted: str, added: str, the_one: Instrument | None) -> QuerySet[Instrument]:
    """What the search means, the newest added first."""
    if the_one is not None:
        return Instrument.objects.filter(pk=the_one.pk)
    found = matching(wanted)
    if added in ADDED and added:
        midnight = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
        found = found.filter(created_at__gte=midnight - timedelta(days=int(added) - 1))
    return found.order_by("-created_at", "tag")


def _pdf(request: HttpRequest, instruments: list[Instrument], form: LabelsForm) -> HttpResponse:
    def address_of(instrument: Instrument) -> str:
        return absolute(request, reverse("tag-scanned", kwargs={"tag": instrument.tag}))

    sheet, wanted = form.chosen_sheet(), form.cleaned_data
    pages = label_pages(
        instruments, sheet, address_of, start=wanted["start"], copies=wanted["copies"]
    )
    response = HttpResponse(
        labels_pdf(pages, sheet, outlines=wanted["outlines"]), content_type="application/pdf"
    )
    response["Content-Disposition"] = 'attachment; filename="tag-labels.pdf"'
    return response
