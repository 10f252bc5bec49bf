"""Logging work, with what it is expected to do beside the form; and voiding it."""

from math import isnan
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from geometry.foretell import Foretold
from geometry.units import LengthUnit, format_length, format_turns
from measurements.acts import record_work
from measurements.cautions import WORK_CAUTIONS, caution_words
from measurements.check_in_views import instrument_or_404, void_fact
from measurements.counsel import Counsel, counsel
from measurements.forms import VoidForm
from measurements.models import Work, WorkKind
from measurements.notices import refresh_and_say
from measurements.work_forms import work_form_class, work_kinds
from shop.people import person, unit_of
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view


@form_view
@at_the_bench
def add_work(request: HttpRequest, tag: str, kind: str) -> HttpResponse:
    """Log one piece of work; with ``preview`` in the request only foretell what it would do."""
    instrument = instrument_or_404(tag)
    form_class = work_form_class(kind, instrument)
    if form_class is None:
        raise Http404(f"A {instrument.joint} joint has no work of the kind {kind}.")
    unit = unit_of(request)
    now = counsel(instrument)
    data = request.POST if request.method == "POST" else None
    form = form_class(
        data,
        instrument=instrument,
        unit=unit,
        initial=_suggested(now, unit),
    )
    preview = "preview" in request.POST
    if form.is_valid() and not preview:
        try:
            record_work(
                instrument=instrument,
                kind=form.kind,
                done_at=form.moment(),
                by=person(request),
                uuid=form.cleaned_data["uuid"],
                **form.facts(),
            )
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            messages.success(request, "The work is logged. Measure again before the next step.")
            refresh_and_say(request, instrument)
            return redirect("instrument", tag=instrument.tag)
    foretold = now.foretell(form.change()) if form.is_bound and form.is_valid() else None
    context = {
        "form": form,
        "kind": WorkKind(form.kind),
        "instrument": instrument,
        "counsel": now,
        "foretold": foretold,
        "foretold_rows": foretold_rows(foretold) if foretold else [],
        "cautions": caution_words(WORK_CAUTIONS[form.kind]),
        "kinds": work_kinds(instrument),
    }
    if preview and request.htmx:  # type: ignore[attr-defined]
        return render(request, "measurements/_foretold.html", context)
    status = 422 if form.errors and not preview else 200
    return render(request, "measurements/work_form.html", context, status=status)


def _suggested(now: Counsel, unit: LengthUnit) -> dict[str, Any]:
    """The recommended amounts, to be changed freely."""
    initial: dict[str, Any] = {}
    option = now.recommended
    for place, side in enumerate(("bass", "treble")):
        saddle = float(now.facts.saddle_mm[0, place])
        if not isnan(saddle):
            initial[f"saddle_{side}_from_mm"] = format_length(saddle, unit)
    relief = float(now.facts.relief_mm[0])
    if not isnan(relief):
        initial["relief_from_mm"] = format_length(relief, unit)
    if option is None:
        return initial
    if option.turns:
        initial["turns"] = format_turns(abs(option.turns)).split(" turn")[0]
        initial["sense"] = "lower" if option.turns > 0 else "raise"
    if option.shim_mm is not None:
        initial["shim_to_mm"] = format_length(option.shim_mm, unit)
    if option.saddle_cut_mm.any():
        for place, side in enumerate(("bass", "treble")):
            after = float(option.saddle_after_mm[place])
            initial[f"saddle_{side}_to_mm"] = format_length(after, unit)
    if option.key == "reset":
        initial["wedge_mm"] = format_length(option.wedge_mm, unit)
    return initial


def foretold_rows(foretold: Foretold) -> list[tuple[str, float, float]]:
    """Place, action now and action after, for each set fret and side."""
    return [
        (f"fret {fret}, {side}", float(before[place]), float(after[place]))
        for fret, before, after in zip(
            foretold.set_frets, foretold.action_before_mm, foretold.action_after_mm, strict=True
        )
        for place, side in enumerate(("bass", "treble"))
    ]


@require_GET
@anyone_on_staff
def work(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(
        Work.objects.select_related("instrument", "done_by", "voided_by"), uuid=uuid
    )
    context = {"work": found, "instrument": found.instrument, "void_form": VoidForm()}
    return render(request, "measurements/work.html", context)


@require_POST
@at_the_bench
def void_work(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(Work.objects.select_related("instrument"), uuid=uuid)
    return void_fact(request, found, "measurements/work.html", "work")
