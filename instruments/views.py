"""Find instruments; the form that adds and edits them."""

from collections.abc import Callable
from typing import cast

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet, Value
from django.db.models.functions import Replace
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from instruments.forms import InstrumentForm, JointForm, joint_groups
from instruments.models import Instrument, NeckJoint
from instruments.tags import likely_code, read_code, scanned, trouble_with
from shop import search
from shop.adding import add_record
from shop.editing import UNCHANGED, Forms, edit_record, saved_words
from shop.fields import MeasuredModelForm
from shop.people import person, unit_of
from shop.roles import OWNER, TECHNICIAN, anyone_on_staff, has_role


@require_GET
@anyone_on_staff
def instruments(request: HttpRequest) -> HttpResponse:
    """All instruments, or those whose tag, customer, maker, model or serial matches; a whole tag opens.

    Part of a tag, or a code mistyped, only lists: it must never open another instrument than the one meant.
    """
    wanted = scanned(search.wanted(request))
    trouble = trouble_with(wanted)
    found = matching(wanted).select_related("customer", "joint", "outlook")
    if wanted and "page" not in request.GET:
        meant = by_tag(wanted)
        if meant is not None:
            at_bench = has_role(person(request), OWNER, TECHNICIAN)
            measure = at_bench and request.GET.get("then") == "check-in"
            return redirect("check-in-add" if measure else "instrument", tag=meant.tag)
        hits = list(found[:2])
        if len(hits) == 1 and not trouble and not _by_part_of_its_tag(hits[0], wanted):
            return redirect("instrument", tag=hits[0].tag)
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(
        request,
        "instruments/instruments.html",
        {
            "page": page,
            "instruments": page.object_list,
            "wanted": wanted,
            "trouble": trouble,
            "likely": _likely(wanted),
            "show_customer": True,
        },
    )


def by_tag(text: str) -> Instrument | None:
    """The instrument with this very tag, or with the shop's code that ``text`` can only mean."""
    found = Instrument.objects.select_related("customer")
    exact = found.filter(tag__iexact=text).first()
    code = read_code(text)
    if exact is not None or code is None:
        return exact
    return found.filter(tag__iexact=code).first()


def _likely(text: str) -> Instrument | None:
    """The instrument to ask about where a character that no code has was read."""
    code = likely_code(text)
    return None if code is None else Instrument.objects.filter(tag__iexact=code).first()


def matching(wanted: str) -> QuerySet[Instrument]:
    """Instruments that hold every word of ``wanted``; all of them where it is empty."""
    found = Instrument.objects.annotate(bare_tag=Replace("tag", Value("-")))
    for word in wanted.split():
        found = found.filter(_matches(word))
    return found


def _by_part_of_its_tag(instrument: Instrument, wanted: str) -> bool:
    bare = instrument.tag.replace("-", "").upper()
    return any(word.replace("-", "").upper() in bare for word in wanted.split())


@require_GET
@anyone_on_staff
def tag_scanned(request: HttpRequest, tag: str) -> HttpResponse:
    """Where a label's code leads: the bench to the check-in, everyone else to the instrument."""
    found = by_tag(tag)
    if found is None:
        context = {"wanted": tag, "trouble": trouble_with(tag), "likely": _likely(tag)}
        return render(request, "instruments/unknown_tag.html", context, status=404)
    at_bench = has_role(person(request), OWNER, TECHNICIAN)
    return redirect("check-in-add" if at_bench else "instrument", tag=found.tag)


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
    title: str,
    *,
    then: Callable[[HttpRequest, Instrument], object],
) -> HttpResponse:
    """Show or save the form of an instrument and its joint; ``then`` runs once both are saved."""

    def build(data: QueryDict | None, record: Instrument) -> list[MeasuredModelForm]:
        return _forms_of(request, data, record)

    def lock() -> Instrument:
        found = Instrument.objects.select_related("customer", "joint")
        return found.select_for_update(of=("self",)).get(pk=instrument.pk)

    data = request.POST if request.method == "POST" else None
    if instrument.pk is None:
        edit = add_record(data, instrument, build, _save_new, _page_of)
    else:
        edit = edit_record(data, instrument, build, lock)
    form, joint_form = edit.forms
    if edit.saved:
        saved = form.instance
        messages.success(request, saved_words(saved.tag) if edit.changed else _(UNCHANGED))
        if edit.changed:
            then(request, saved)
        return redirect(_page_of(saved))
    context = {
        "form": form,
        "joint_form": joint_form,
        "joint_groups": joint_groups(cast(JointForm, joint_form)),
        "edit": edit,
        "asked": edit.asked,
        "title": title,
    }
    return render(request, "instruments/instrument_form.html", context, status=edit.status)


def _forms_of(
    request: HttpRequest, data: QueryDict | None, instrument: Instrument
) -> list[MeasuredModelForm]:
    """The instrument's form and its joint's; a new instrument begins with a new joint."""
    joint = instrument.joint if instrument.pk else NeckJoint()
    initial = {"customer": instrument.customer.code} if instrument.customer else {}
    may_set = joint.pk is None or has_role(person(request), OWNER, TECHNICIAN)
    unit = unit_of(request)
    return [
        InstrumentForm(data, instance=instrument, unit=unit, initial=initial),
        JointForm(data, instance=joint, unit=unit, prefix="joint", may_set=may_set),
    ]


def _page_of(instrument: Instrument) -> str:
    return reverse("instrument", kwargs={"tag": instrument.tag})


def _save_new(forms: Forms) -> None:
    form, joint_form = forms
    joint_form.instance.instrument = form.save()
    joint_form.save()
