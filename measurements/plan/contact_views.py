"""Calls to make, letters to send, and the record of both."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from measurements.finding import instrument_or_404
from measurements.models import Contact
from measurements.plan.acts import log_contact, send
from measurements.plan.calls import REASONS, SOMETHING_ELSE, Call, calls, occasion_of, reason_of
from measurements.plan.forms import ContactForm
from measurements.plan.letters import letter_for
from shop.access import note_access
from shop.models import AccessKind, ShopProfile
from shop.people import person
from shop.roles import anyone_on_staff, owner_only
from shop.views import form_view

#: Letters previewed or sent at once: each is read before it goes.
MOST = 50


@require_GET
@anyone_on_staff
def calls_to_make(request: HttpRequest) -> HttpResponse:
    page = Paginator(calls(), MOST).get_page(request.GET.get("page"))
    return render(request, "measurements/plan/calls.html", {"page": page, "reasons": REASONS})


@require_GET
@owner_only
def letters(request: HttpRequest) -> HttpResponse:
    """The chosen letters as they would go; nothing is sent by looking."""
    shop = ShopProfile.current()
    chosen = _chosen(request.GET.getlist("tag"))
    ready = [(call, letter_for(call, shop)) for call in chosen if call.by_mail]
    note_access(request, AccessKind.LETTER, [call.customer for call, _ in ready])
    context = {
        "letters": ready,
        "left_out": [str(call.customer) for call in chosen if not call.by_mail],
    }
    return render(request, "measurements/plan/letters.html", context)


@require_POST
@owner_only
def send_letters(request: HttpRequest) -> HttpResponse:
    """Send the chosen letters, each on its own: one that fails does not stop the others."""
    tags = request.POST.getlist("tag")[:MOST]
    chosen = _chosen(tags)
    sent = 0
    for call in chosen:
        try:
            send(call, by=person(request))
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            sent += 1
    if sent:
        messages.success(
            request,
            ngettext("%(count)s letter sent.", "%(count)s letters sent.", sent) % {"count": sent},
        )
    if len(chosen) < len(set(tags)):
        messages.warning(request, _("Some had been told in the meantime and were left out."))
    return redirect("calls")


def _chosen(tags: list[str]) -> list[Call]:
    return list(calls(tags[:MOST])) if tags else []


@form_view
@anyone_on_staff
def add_contact(request: HttpRequest, tag: str) -> HttpResponse:
    """Write down that a customer was told by telephone, letter or at the counter."""
    instrument = instrument_or_404(tag)
    if instrument.customer is None:
        words = _("%(tag)s has no customer on record yet.")
        messages.error(request, words % {"tag": instrument.tag})
        return redirect("instrument", tag=instrument.tag)
    outlook = getattr(instrument, "outlook", None)
    reason = reason_of(outlook) if outlook is not None else None
    form = ContactForm(
        request.POST if request.method == "POST" else None,
        initial={"reason": reason.key if reason else "other"},
    )
    if form.is_valid():
        known = {reason.key: reason for reason in REASONS}.get(form.cleaned_data["reason"])
        about_outlook = known is not None and outlook is not None
        try:
            log_contact(
                instrument=instrument,
                customer=instrument.customer,
                channel=form.cleaned_data["channel"],
                reason=known.words if known else SOMETHING_ELSE,
                occasion=occasion_of(known, outlook.last_measured_at)  # type: ignore[arg-type,union-attr]
                if about_outlook
                else f"other:{timezone.now():%Y-%m-%dT%H:%M}",
                by=person(request),
                words=form.cleaned_data["words"],
            )
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            told = _("It is on record that %(customer)s was told.")
            messages.success(request, told % {"customer": instrument.customer})
            return redirect("calls")
    context = {
        "form": form,
        "instrument": instrument,
        "told": instrument.contacts.select_related("made_by")[:20],
    }
    return render(
        request,
        "measurements/plan/contact_form.html",
        context,
        status=422 if form.is_bound else 200,
    )


@require_GET
@anyone_on_staff
def contact(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What one customer was told, in which words; lists show no words, so that looking is written down."""
    told = Contact.objects.select_related("instrument", "customer", "made_by")
    found = get_object_or_404(told, uuid=uuid)
    note_access(request, AccessKind.LETTER, [found.customer])
    return render(request, "measurements/plan/contact.html", {"contact": found})


@require_GET
@anyone_on_staff
def contacts(request: HttpRequest) -> HttpResponse:
    """Everybody who was told, newest first."""
    found = Contact.objects.select_related("instrument", "customer", "made_by")
    page = Paginator(found, MOST).get_page(request.GET.get("page"))
    return render(request, "measurements/plan/contacts.html", {"page": page})
