"""Booking a day for an instrument, and giving it back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from measurements.acts import void
from measurements.check_ins.forms import VoidForm
from measurements.finding import instrument_or_404
from measurements.models import Booking
from measurements.plan.acts import book
from measurements.plan.forms import BookingForm
from shop.figures import day_words
from shop.people import person
from shop.roles import anyone_on_staff
from shop.views import form_view


@require_GET
@anyone_on_staff
def bookings(request: HttpRequest) -> HttpResponse:
    """What is booked from today on."""
    ahead = (
        Booking.objects.standing()
        .filter(day__gte=timezone.localdate())
        .select_related("instrument__customer", "booked_by")
    )
    return render(request, "measurements/plan/bookings.html", {"bookings": ahead[:500]})


@form_view
@anyone_on_staff
def add_booking(request: HttpRequest, tag: str) -> HttpResponse:
    instrument = instrument_or_404(tag)
    form = BookingForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            made = book(instrument=instrument, by=person(request), **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            words = _("%(tag)s is booked for %(day)s.")
            told = {"tag": instrument.tag, "day": day_words(made.day)}
            messages.success(request, words % told)
            return redirect("bookings")
    context = {
        "form": form,
        "instrument": instrument,
        "ahead": instrument.bookings.standing().filter(day__gte=timezone.localdate()),
    }
    return render(
        request,
        "measurements/plan/booking_form.html",
        context,
        status=422 if form.is_bound else 200,
    )


@require_POST
@anyone_on_staff
def cancel_booking(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(Booking.objects.select_related("instrument"), uuid=uuid)
    form = VoidForm(request.POST)
    if form.is_valid():
        try:
            void(found, by=person(request), reason=form.cleaned_data["reason"])
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            words = _("The booking of %(day)s is cancelled.")
            messages.success(request, words % {"day": day_words(found.day)})
    else:
        messages.error(request, _("Say why the booking is cancelled."))
    return redirect("booking-add", tag=found.instrument.tag)
