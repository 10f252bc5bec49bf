"""Customers, the shop's settings and a person's own preferences."""

from collections.abc import Callable

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import get_language_from_request
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from shop import backups, search
from shop.access import note_access
from shop.adding import add_record
from shop.editing import UNCHANGED, Edit, Forms, edit_record, saved_words
from shop.fields import MeasuredModelForm
from shop.forms import CustomerForm, PreferencesForm, ShopProfileForm
from shop.languages import remember, written_in
from shop.models import AccessKind, Customer, ShopProfile
from shop.people import person, unit_of
from shop.places import SHOP, open_to
from shop.roles import OWNER, anyone_on_staff, roles_of

form_view = require_http_methods(["GET", "HEAD", "POST"])


@require_GET
@anyone_on_staff
def customers(request: HttpRequest) -> HttpResponse:
    wanted = search.wanted(request)
    found = Customer.objects.filter(erasure=None).order_by("name", "pk")
    found = found.annotate(instrument_count=Count("instruments"))
    if wanted:
        found = found.filter(name__icontains=wanted) | found.filter(phone__icontains=wanted)
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(request, "shop/customers.html", {"page": page, "wanted": wanted})


@require_GET
@anyone_on_staff
def customer(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(Customer.objects.select_related("erasure"), code=code)
    note_access(request, AccessKind.CUSTOMER, [found])
    instruments = found.instruments.select_related("joint", "outlook").order_by("tag")
    return render(request, "shop/customer.html", {"customer": found, "instruments": instruments})


@form_view
@anyone_on_staff
def add_customer(request: HttpRequest) -> HttpResponse:
    return _customer_form(request, Customer(unit=ShopProfile.current().unit), _("Add a customer"))


@form_view
@anyone_on_staff
def edit_customer(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(Customer, code=code, erasure=None)
    answer = _customer_form(request, found, _("Edit customer"))
    if answer.status_code != 302:  # a form that is refused shows the record as well
        note_access(request, AccessKind.CUSTOMER, [found])
    return answer


def _customer_form(request: HttpRequest, customer: Customer, title: str) -> HttpResponse:
    def build(data: QueryDict | None, record: Customer) -> list[CustomerForm]:
        return [CustomerForm(data, instance=record)]

    def lock() -> Customer:
        found = Customer.objects.select_for_update(of=("self",))
        return get_object_or_404(found, pk=customer.pk, erasure=None)

    data = request.POST if request.method == "POST" else None
    if customer.pk is None:
        edit = add_record(data, customer, build, _save_new, _page_of)
    else:
        edit = edit_record(data, customer, build, lock)
    if edit.saved:
        saved = edit.forms[0].instance
        messages.success(request, saved_words(saved.name) if edit.changed else _(UNCHANGED))
        return redirect(_page_of(saved))
    return render_edit(request, edit, title)


def _save_new(forms: Forms) -> None:
    forms[0].save()


def _page_of(customer: Customer) -> str:
    return reverse("customer", kwargs={"code": customer.code})


def render_edit(request: HttpRequest, edit: Edit, title: str) -> HttpResponse:
    """The form of an edit that is not saved yet."""
    context = {"form": edit.forms[0], "edit": edit, "asked": edit.asked, "title": title}
    return render(request, "shop/form.html", context, status=edit.status)


def settings_form(request: HttpRequest, *, then: Callable[[HttpRequest], object]) -> HttpResponse:
    """Show or save the shop's own figures; ``then`` runs once they are saved."""

    def build(data: QueryDict | None, record: ShopProfile) -> list[MeasuredModelForm]:
        return [ShopProfileForm(data, instance=record, unit=unit_of(request))]

    def lock() -> ShopProfile:
        return ShopProfile.objects.select_for_update().get_or_create(pk=1)[0]

    data = request.POST if request.method == "POST" else None
    edit = edit_record(data, ShopProfile.current(), build, lock)
    if edit.saved:
        said = _("The shop's settings are saved.") if edit.changed else _(UNCHANGED)
        messages.success(request, said)
        if edit.changed:
            then(request)
        return redirect("settings")
    return render_edit(request, edit, _("The shop's settings"))


@form_view
@anyone_on_staff
def preferences(request: HttpRequest) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = PreferencesForm(data, instance=person(request))
    if form.is_valid():
        remember(request, form.save())
        with written_in(form.instance.language or get_language_from_request(request)):
            messages.success(request, _("Your preferences are saved."))
        return redirect("home")
    status = 422 if form.is_bound else 200
    context = {"form": form, "title": _("Your preferences")}
    return render(request, "shop/preferences.html", context, status=status)


@require_GET
@anyone_on_staff
def the_shop(request: HttpRequest) -> HttpResponse:
    """What the shop keeps beside its instruments, as far as this person may see it."""
    roles = roles_of(person(request))
    context = {
        "places": open_to(SHOP, roles),
        "backup": backups.standing() if OWNER in roles else None,
    }
    return render(request, "shop/the_shop.html", context)
