"""Customers, the shop's settings and a person's own preferences."""

from collections.abc import Callable

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from shop import search
from shop.forms import CustomerForm, PreferencesForm, ShopProfileForm
from shop.models import Customer, ShopProfile
from shop.people import person, unit_of
from shop.roles import anyone_on_staff

form_view = require_http_methods(["GET", "HEAD", "POST"])


@require_GET
@anyone_on_staff
def customers(request: HttpRequest) -> HttpResponse:
    wanted = search.wanted(request)
    found = Customer.objects.annotate(instrument_count=Count("instruments")).order_by("name", "pk")
    if wanted:
        found = found.filter(name__icontains=wanted) | found.filter(phone__icontains=wanted)
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(request, "shop/customers.html", {"page": page, "wanted": wanted})


@require_GET
@anyone_on_staff
def customer(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(Customer, code=code)
    instruments = found.instruments.select_related("joint", "outlook").order_by("tag")
    return render(request, "shop/customer.html", {"customer": found, "instruments": instruments})


@form_view
@anyone_on_staff
def add_customer(request: HttpRequest) -> HttpResponse:
    return _customer_form(request, Customer(), "Add a customer")


@form_view
@anyone_on_staff
def edit_customer(request: HttpRequest, code: str) -> HttpResponse:
    return _customer_form(request, get_object_or_404(Customer, code=code), "Edit customer")


def _customer_form(request: HttpRequest, customer: Customer, title: str) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = CustomerForm(data, instance=customer)
    if form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved.name} is saved.")
        return redirect("customer", code=saved.code)
    status = 422 if form.is_bound else 200
    return render(request, "shop/form.html", {"form": form, "title": title}, status=status)


def settings_form(request: HttpRequest, *, then: Callable[[HttpRequest], object]) -> HttpResponse:
    """Show or save the shop's own figures; ``then`` runs once they are saved."""
    data = request.POST if request.method == "POST" else None
    form = ShopProfileForm(data, instance=ShopProfile.current(), unit=unit_of(request))
    if form.is_valid():
        form.save()
        messages.success(request, "The shop's settings are saved.")
        then(request)
        return redirect("settings")
    status = 422 if form.is_bound else 200
    context = {"form": form, "title": "The shop's settings"}
    return render(request, "shop/form.html", context, status=status)


@form_view
@anyone_on_staff
def preferences(request: HttpRequest) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = PreferencesForm(data, instance=person(request))
    if form.is_valid():
        form.save()
        messages.success(request, "Your preferences are saved.")
        return redirect("home")
    status = 422 if form.is_bound else 200
    context = {"form": form, "title": "Your preferences"}
    return render(request, "shop/form.html", context, status=status)
