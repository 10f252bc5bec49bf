"""Taking an instrument's readings, looking at them again, and declaring them wrong."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_GET, require_POST

from geometry.units import LengthUnit
from instruments.models import Instrument
from measurements.acts import record_check_in, void
from measurements.check_ins.forms import CheckInForm, VoidForm
from measurements.check_ins.labels import LABELS, action_label
from measurements.check_ins.outbox_answers import (
    check_not_saved_otherwise,
    is_from_outbox,
    moment_saved,
    refused,
    saved,
    words_of,
)
from measurements.check_ins.understood import reading_words, understood
from measurements.finding import check_ins_of, instrument_or_404
from measurements.forecast.notices import refresh_and_say
from measurements.models import CheckIn, Press, Stage, Work
from measurements.photos.reads import seen_at
from measurements.work.visit import next_stage
from shop.fields import is_readable, readings_in_box
from shop.figures import localized, shortest
from shop.people import person, unit_of
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view

SAVED: dict[str, str] = {
    Stage.RECEIVED: gettext_noop("Check-in as received is saved."),
    Stage.RETURNED: gettext_noop("Check-in as returned is saved."),
}


@form_view
@at_the_bench
def add_check_in(request: HttpRequest, tag: str) -> HttpResponse:
    return _check_in_form(request, instrument_or_404(tag))


@form_view
@at_the_bench
def correct_check_in(request: HttpRequest, uuid: str) -> HttpResponse:
    """A corrected copy that replaces a check-in; the wrong one stays on record, struck out."""
    wrong = get_object_or_404(CheckIn.objects.select_related("instrument"), uuid=uuid)
    if wrong.voided_at is not None:
        successor = CheckIn.objects.filter(replaces=wrong).first()
        if successor is not None and str(successor.uuid) == request.POST.get("uuid"):
            return saved(request, wrong.instrument, _("The correction is saved."))  # sent twice
        words = _("This check-in was voided before; correct the one that replaced it.")
        if is_from_outbox(request):
            return refused([words])
        messages.error(request, words)
        if request.method == "GET":
            return redirect("check-in", uuid=wrong.uuid)
        # The form comes back, refused: what was typed into it is nowhere else.
    return _check_in_form(request, wrong.instrument, replaces=wrong)


def _check_in_form(
    request: HttpRequest, instrument: Instrument, replaces: CheckIn | None = None
) -> HttpResponse:
    unit = unit_of(request)
    form = CheckInForm(
        request.POST if request.method == "POST" else None,
        instrument=instrument,
        unit=unit,
        replaces=replaces,
        initial=_initial(instrument, replaces, unit),
    )
    if form.is_valid():
        try:
            check_not_saved_otherwise(form, instrument)
            stored = record_check_in(
                instrument=instrument,
                measured_at=_moment(request, form, replaces),
                by=person(request),
                actions_mm=form.actions(),
                uuid=form.cleaned_data["uuid"],
                replaces=replaces,
                reason=form.cleaned_data.get("reason", ""),
                **form.facts(),
            )
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            refresh_and_say(request, instrument)
            return saved(request, instrument, _(SAVED[stored.stage]))
    if form.is_bound and is_from_outbox(request):
        return refused(words_of(form))
    context = {
        "form": form,
        "instrument": instrument,
        "replaces": replaces,
        "beside": {
            item.name: item for item in understood(form, last_lengths(instrument, replaces), {})
        },
    }
    status = 422 if form.is_bound else 200
    return render(request, "measurements/check_ins/form.html", context, status=status)


def _moment(request: HttpRequest, form: CheckInForm, replaces: CheckIn | None) -> datetime:
    """A correction keeps the moment of what it replaces, unless its day is changed."""
    day = form.cleaned_data["day"]
    if replaces is not None and timezone.localtime(replaces.measured_at).date() == day:
        return replaces.measured_at
    return moment_saved(request, form)


def _initial(
    instrument: Instrument, replaces: CheckIn | None, unit: LengthUnit
) -> dict[str, object]:
    """The stage that comes next; for a correction, all that was entered before."""
    if replaces is None:
        return {"stage": next_stage(instrument)}
    initial: dict[str, object] = {
        name: getattr(replaces, name) for name in CheckInForm.FACTS if not name.endswith("_mm")
    }
    initial["day"] = timezone.localtime(replaces.measured_at).date()
    # A bare number typed by someone with another unit would now be read wrongly.
    typed = replaces.as_typed if replaces.as_typed.get("unit") == unit else {}
    for name, value in CheckInForm.lengths_of(replaces).items():
        each = replaces.repeats_mm.get(name, [value])
        own = typed.get(name, "")
        initial[name] = own if is_readable(own) else readings_in_box(each)
    return initial


def last_lengths(instrument: Instrument, besides: CheckIn | None = None) -> dict[str, float]:
    """What each place read last time, by the name of its field. [mm]"""
    last: dict[str, float] = {}
    earlier = check_ins_of(instrument).filter(voided_at=None)
    if besides is not None:
        earlier = earlier.exclude(pk=besides.pk)
    for check_in in earlier.order_by("-measured_at", "-pk")[:5]:
        last = CheckInForm.lengths_of(check_in) | last
    return last


@require_GET
@anyone_on_staff
def check_in(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(
        CheckIn.objects.select_related(
            "instrument", "measured_by", "voided_by", "replaces", "replaced_by"
        ).prefetch_related("action_readings"),
        uuid=uuid,
    )
    context = {
        "check_in": found,
        "instrument": found.instrument,
        "readings": reading_rows(found),
        "seen": seen_at(found),
        "void_form": VoidForm(),
    }
    return render(request, "measurements/check_ins/check_in.html", context)


RELIEF_PRESSED: dict[str, str] = {
    Press.JOINT: gettext_noop("Relief, pressed at 1 and joint fret"),
    Press.LAST: gettext_noop("Relief, pressed at 1 and last fret"),
}


def reading_rows(found: CheckIn) -> list[tuple[str, str, str]]:
    """Each reading of a check-in: its name, what was understood in both units, what was typed."""
    labels = (
        {name: str(label) for name, label in LABELS.items()}
        | {"relief_mm": _(RELIEF_PRESSED[found.relief_press])}
        | {
            "margin_bass_mm": _("String to edge, bass"),
            "margin_treble_mm": _("String to edge, treble"),
        }
        | {
            CheckInForm.action_name(reading.fret, reading.side): action_label(
                reading.fret, reading.side
            )
            for reading in found.action_readings.all()
        }
    )
    lengths = CheckInForm.lengths_of(found)
    rows = []
    for name, label in labels.items():
        if name in lengths:
            each = found.repeats_mm.get(name, [lengths[name]])
            rows.append((label, reading_words(each), found.as_typed.get(name, "")))
    if found.humidity_pct is not None:
        words = _("%(figure)s %% RH") % {"figure": shortest(found.humidity_pct)}
        rows.append((_("Humidity"), words, found.as_typed.get("humidity_pct", "")))
    if found.temperature_c is not None:
        words = localized(f"{found.temperature_c:.3g} °C")
        rows.append((_("Temperature"), words, found.as_typed.get("temperature_c", "")))
    return rows


@require_POST
@at_the_bench
def void_check_in(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(CheckIn.objects.select_related("instrument"), uuid=uuid)
    return void_fact(request, found, "measurements/check_ins/check_in.html", "check_in")


def void_fact(request: HttpRequest, fact: CheckIn | Work, template: str, name: str) -> HttpResponse:
    """Void a check-in or a piece of work, or show its page again with what is missing."""
    form = VoidForm(request.POST)
    if form.is_valid():
        try:
            void(fact, by=person(request), reason=form.cleaned_data["reason"])
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            voided = _("%(fact)s is voided; it stays on record, struck out.") % {"fact": fact}
            messages.success(request, voided)
            refresh_and_say(request, fact.instrument)
        return redirect("instrument", tag=fact.instrument.tag)
    context: dict[str, Any] = {name: fact, "instrument": fact.instrument, "void_form": form}
    if isinstance(fact, CheckIn):
        context |= {"readings": reading_rows(fact), "seen": seen_at(fact)}
    return render(request, template, context, status=422)
