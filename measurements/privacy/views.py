"""Customers' personal data: what is kept, who read it, taking it out, erasing it. All of it the owner's."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from measurements.privacy.acts import erase_customer
from measurements.privacy.export import as_archive
from measurements.privacy.forms import EraseForm
from measurements.privacy.record import free_texts, open_links, reports_naming, unseen
from shop.access import KEPT, note_access
from shop.models import AccessKind, AccessRecord, Customer, Erasure
from shop.people import person
from shop.roles import owner_only
from shop.views import form_view


@require_GET
@owner_only
def privacy(request: HttpRequest) -> HttpResponse:
    """Whom the shop has not seen for long, whom it has erased, and who took everything out."""
    context = {
        "page": Paginator(unseen(), 50).get_page(request.GET.get("page")),
        "erasures": Erasure.objects.select_related("customer", "erased_by")[:50],
        "taken_out": AccessRecord.objects.filter(kind=AccessKind.SHOP).select_related("person")[
            :20
        ],
        "kept_days": KEPT.days,
    }
    return render(request, "measurements/privacy/privacy.html", context)


@require_GET
@owner_only
def customer_privacy(request: HttpRequest, code: str) -> HttpResponse:
    """Who read and who changed one customer's data."""
    customer = get_object_or_404(Customer, code=code)
    read = customer.access_records.select_related("person")
    context = {
        "customer": customer,
        "page": Paginator(read, 50).get_page(request.GET.get("page")),
        "changes": customer.history.select_related("history_user").order_by("-history_date")[:50],
        "kept_days": KEPT.days,
    }
    return render(request, "measurements/privacy/customer.html", context)


@require_GET
@owner_only
def customer_record(request: HttpRequest, code: str) -> StreamingHttpResponse:
    """Everything on record about one customer, as a ZIP."""
    customer = get_object_or_404(Customer, code=code)
    note_access(request, AccessKind.EXPORT, [customer])
    response = StreamingHttpResponse(as_archive(customer), content_type="application/zip")
    name = f"customer-{customer.code}-{timezone.localdate()}.zip"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response


@form_view
@owner_only
def customer_erase(request: HttpRequest, code: str) -> HttpResponse:
    """Say exactly what would go and what stays; POST erases."""
    customer = get_object_or_404(Customer, code=code)
    if Erasure.objects.filter(customer=customer).exists():
        messages.error(request, _("This customer was erased before."))
        return redirect("customer", code=code)
    texts = free_texts(customer)
    data = request.POST if request.method == "POST" else None
    form = EraseForm(data, customer=customer, texts=texts)
    if form.is_valid():
        notes, reason = form.cleaned_data["notes"], form.cleaned_data["reason"]
        try:
            erase_customer(customer, by=person(request), reason=reason, notes=notes)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            messages.success(request, _("The customer is erased. The readings stay."))
            return redirect("privacy")
    reports = reports_naming(customer)
    numbers = sorted({report.number for report in reports})
    context = {
        "customer": customer,
        "form": form,
        "texts": texts,
        "tags": ", ".join(customer.instruments.order_by("tag").values_list("tag", flat=True)),
        "reports": numbers,
        "number": len(numbers),
        "links": open_links(reports).count(),
        "contacts": customer.contacts.count(),
        "versions": customer.history.count(),
    }
    status = 422 if form.is_bound else 200
    return render(request, "measurements/privacy/erase.html", context, status=status)
