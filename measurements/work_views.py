"""Logging work, with what it is expected to do beside the form; and voiding it."""

from math import isnan
from typing import Any, NamedTuple
from uuid import uuid4

import numpy as np
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from geometry.advice import Option
from geometry.foretell import Foretold
from geometry.units import LengthUnit, format_length, format_turns
from instruments.models import Instrument
from measurements.acts import record_work
from measurements.cautions import WORK_CAUTIONS, caution_words
from measurements.check_in_views import instrument_or_404, void_fact
from measurements.counsel import Counsel, counsel
from measurements.forms import VoidForm
from measurements.models import SIDES, Work, WorkKind
from measurements.notices import refresh_and_say
from measurements.work_forms import WorkForm, work_form_class, work_kinds
from shop.people import person, unit_of
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view


class ForetoldRow(NamedTuple):
    place: str
    before_mm: float
    after_mm: float
    wanted_mm: float | None
    misses: bool


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
    suggested = _suggested(now, unit, kind)
    form = form_class(
        data,
        instrument=instrument,
        unit=unit,
        initial=suggested,
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
    trial = form if form.is_bound else _trial(form_class, instrument, unit, suggested)
    changes = kind != WorkKind.OTHER and trial.is_valid()
    foretold = now.foretell(trial.change()) if changes else None
    context = {
        "form": form,
        "kind": WorkKind(form.kind),
        "instrument": instrument,
        "counsel": now,
        "foretold": foretold,
        "trial": trial,
        "foretold_rows": foretold_rows(foretold, now) if foretold else [],
        "cautions": caution_words(WORK_CAUTIONS[form.kind]),
        "kinds": work_kinds(instrument),
    }
    if preview and request.htmx:  # type: ignore[attr-defined]
        return render(request, "measurements/_foretold.html", context)
    status = 422 if form.errors and not preview else 200
    return render(request, "measurements/work_form.html", context, status=status)


def _trial(
    form_class: type[WorkForm], instrument: Instrument, unit: LengthUnit, suggested: dict[str, Any]
) -> WorkForm:
    """The form as if what is suggested had been sent, so that its result shows from the start."""
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "notes": "–"}
    return form_class(data | suggested, instrument=instrument, unit=unit)


def _suggested(now: Counsel, unit: LengthUnit, kind: str) -> dict[str, Any]:
    """What stands now, and the amounts the advice gives for this kind of work, to be changed freely."""
    initial = {
        f"saddle_{side}_from_mm": float(now.facts.saddle_mm[0, place])
        for place, side in enumerate(SIDES)
    }
    initial["relief_from_mm"] = float(now.facts.relief_mm[0])
    if kind == WorkKind.RELIEF:
        initial["relief_to_mm"] = float(np.mean(now.targets.relief_window_mm))
    if kind == WorkKind.NUT:
        wanted = np.asarray(now.targets.action_1_mm, dtype=float)
        initial |= {f"nut_{side}_to_mm": float(wanted[place]) for place, side in enumerate(SIDES)}
    option = _option_for(now, kind)
    if option is None:
        return _in_unit(initial, unit)
    if kind in (WorkKind.SADDLE, WorkKind.RESET) and option.saddle_cut_mm.any():
        initial |= {
            f"saddle_{side}_to_mm": float(option.saddle_after_mm[place])
            for place, side in enumerate(SIDES)
        }
    if kind == WorkKind.RESET:
        initial["wedge_mm"] = option.wedge_mm
    if option.shim_mm is not None:
        initial["shim_to_mm"] = option.shim_mm
    shown = _in_unit(initial, unit)
    if option.turns:
        shown["turns"] = format_turns(abs(option.turns)).split(" turn")[0]
        shown["sense"] = "lower" if option.turns > 0 else "raise"
    return shown


def _in_unit(figures: dict[str, float], unit: LengthUnit) -> dict[str, Any]:
    return {name: format_length(mm, unit) for name, mm in figures.items() if not isnan(mm)}


def _option_for(now: Counsel, kind: str) -> Option | None:
    """The recommended option if it has this kind of work in it, else the feasible one that has."""
    keys = {
        WorkKind.JOINT: ("tilt", "tilt_and_saddle"),
        WorkKind.SADDLE: ("tilt_and_saddle", "saddle"),
        WorkKind.RESET: ("reset",),
    }.get(WorkKind(kind), ())
    fitting = [option for option in now.advice.options if option.key in keys and option.feasible]
    chosen = [option for option in fitting if option.key == now.advice.recommended]
    return next(iter(chosen + fitting), None)


def foretold_rows(foretold: Foretold, now: Counsel) -> list[ForetoldRow]:
    """Action now and after for each set fret and side, with what is wanted where there is a target."""
    targets = {1: now.targets.action_1_mm, 12: now.targets.action_12_mm}
    tolerances = {1: now.targets.nut_tolerance_mm, 12: now.targets.action_tolerance_mm}
    rows = []
    for fret, before, after in zip(
        foretold.set_frets, foretold.action_before_mm, foretold.action_after_mm, strict=True
    ):
        for place, side in enumerate(SIDES):
            wanted = None
            if fret in targets:
                wanted = float(np.asarray(targets[fret], dtype=float)[place])
            misses = wanted is not None and abs(after[place] - wanted) > tolerances[fret] + 1e-9
            rows.append(
                ForetoldRow(
                    f"fret {fret}, {side}",
                    float(before[place]),
                    float(after[place]),
                    wanted,
                    misses,
                )
            )
    return rows


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
