"""Find instruments; the form that adds and edits them."""

from collections.abc import Callable

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Q, Value
from django.db.models.functions import Replace
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET

from instruments.forms import InstrumentForm, JointForm, joint_groups
from instruments.models import Instrument, NeckJoint
from instruments.tags import mistyped_tag
from shop import search
from shop.people import person, unit_of
from shop.roles import OWNER, TECHNICIAN, anyone_on_staff, has_role


@require_GET
@anyone_on_staff
def instruments(request: HttpRequest) -> HttpResponse:
    """All instruments, or those whose tag, customer, maker, model or serial matches; an exact tag opens."""
    wanted = search.wanted(request)
    found = Instrument.objects.select_related("customer", "joint", "outlook").annotate(
        bare_tag=Replace("tag", Value("-"))
    )
    if wanted:
        exact = found.filter(tag__iexact=wanted).first()
        if exact is not None and "page" not in request.GET:
            return redirect("instrument", tag=exact.tag)
        for word in wanted.split():
            found = found.filter(_matches(word))
        if "page" not in request.GET and len(hits := list(found[:2])) == 1:
            return redirect("instrument", tag=hits[0].tag)
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(
        request,
        "instruments/instruments.html",
        {
            "page": page,
            "instruments": page.object_list,
            "wanted": wanted,
            "mistyped": mistyped_tag(wanted),
            "show_customer": True,
        },
    )


def _matches(word: str) -> Q:
    """Instruments with a word in their tag (hyphens do not matter), serial, name or customer."""
    fields = ("tag", "serial", "maker", "model", "customer__name")
    found = Q(bare_tag__icontains=word.replace("-", ""))
    for field in fields:
        found |= Q(**{f"{field}__icontains": word})
    return found


def instrument_form(
    request: HttpRequest,
    instrument: Instrument,
    joint: NeckJoint,
    title: str,
    *,
    then: Callable[[HttpRequest, Instrument], object],
) -> HttpResponse:
    """Show or save the form of an instrument and its joint; ``then`` runs once both are saved."""
    data = request.POST if request.method == "POST" else None
    unit = unit_of(request)
    initial = {"customer": instrument.customer.code} if instrument.customer else {}
    form = InstrumentForm(data, instance=instrument, unit=unit, initial=initial)
    may_set = joint.pk is None or has_role(person(request), OWNER, TECHNICIAN)
    joint_form = JointForm(data, instance=joint, unit=unit, prefix="joint", may_set=may_set)
    if all([form.is_valid(), joint_form.is_valid()]):
        with transaction.atomic():
            saved = form.save()
            joint_form.instance.instrument = saved
            joint_form.save()
        messages.success(request, f"{saved.tag} is saved.")
        then(request, saved)
        return redirect("instrument", tag=saved.tag)
    status = 422 if form.is_bound else 200
    context = {
        "form": form,
        "joint_form": joint_form,
        "joint_groups": joint_groups(joint_form),
        "title": title,
    }
    return render(request, "instruments/instrument_form.html", context, status=status)
