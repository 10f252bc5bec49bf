"""Work step by step: what it should do, logging it, measuring again; and voiding it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_GET, require_POST

from geometry.units import LengthUnit
from instruments.models import TURNED, Instrument
from measurements.acts import record_work
from measurements.advice.cautions import work_cautions
from measurements.advice.counsel import Counsel, counsel
from measurements.check_ins.forms import CheckInForm, VoidForm
from measurements.check_ins.labels import LABELS, action_label
from measurements.check_ins.views import void_fact
from measurements.finding import instrument_or_404
from measurements.forecast.notices import refresh_and_say
from measurements.models import SIDES, Work, WorkKind
from measurements.work.amounts import nut_amounts, rod_step, saddle_marks
from measurements.work.forms import (
    SENSES,
    ShimForm,
    TurnForm,
    WorkForm,
    both_sides,
    work_form_class,
    work_kinds,
)
from measurements.work.shimming import shim_buttons, with_shim
from measurements.work.step_forms import AGAIN, StepReadingForm
from measurements.work.steps import Step, step_of
from measurements.work.suggestions import foretold_rows, option_for, suggested, trial
from measurements.work.turning import (
    take_up_words,
    travel,
    turn_buttons,
    turns_in,
    turns_text,
    verdict,
    with_added,
)
from measurements.work.visit import turned_in_visit, works_of_visit
from shop.people import person, unit_of
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view

LOGGED = gettext_noop("The work is logged. Measure again before the next step.")


@form_view
@at_the_bench
def add_work(request: HttpRequest, tag: str, kind: str) -> HttpResponse:
    """Log one piece of work; with ``preview`` or ``add`` in the request only foretell what it would do."""
    instrument = instrument_or_404(tag)
    if _joint_changed(request, kind, instrument):
        return _say_joint_changed(request, instrument)
    form_class = _form_class(kind, instrument)
    unit = unit_of(request)
    looking = "preview" in request.POST or "add" in request.POST
    if not looking and _logged_before(request, instrument):
        return _onward(instrument, kind)
    now = counsel(instrument)
    data: Any = request.POST if request.method == "POST" else None
    if "add" in request.POST:
        added = with_shim if form_class is ShimForm else with_added
        data = added(request.POST, request.POST["add"])
    hints = suggested(now, unit, kind)
    form = form_class(data, instrument=instrument, unit=unit, initial=hints)
    if form.is_valid() and not looking and _log(request, form):
        return _onward(instrument, kind)
    shown = form if form.is_bound else trial(form_class, instrument, unit, hints)
    context = _context(now, form, shown, unit)
    if looking and request.htmx:  # type: ignore[attr-defined]
        swapped = context | {"swapped": True, "added": "add" in request.POST}
        return render(request, "measurements/work/_foretold.html", swapped)
    context |= _loop_context(now, kind, unit)
    status = 422 if form.errors and not looking else 200
    return render(request, "measurements/work/form.html", context, status=status)


@require_POST
@at_the_bench
def measure_step(request: HttpRequest, tag: str, kind: str) -> HttpResponse:
    """Save the few readings taken after a step, and go back to the step to see what it did."""
    instrument = instrument_or_404(tag)
    if _joint_changed(request, kind, instrument):
        return _say_joint_changed(request, instrument)
    form_class = _form_class(kind, instrument)
    if kind not in AGAIN:
        raise Http404(f"There is no quick reading for work of the kind {kind}.")
    unit = unit_of(request)
    again = StepReadingForm(request.POST, instrument=instrument, kind=kind, unit=unit)
    if again.is_valid():
        try:
            again.save(person(request))
        except ValidationError as error:
            again.add_error(None, ValidationError(error.messages))
        else:
            messages.success(request, _("The readings are saved."))
            refresh_and_say(request, instrument)
            return redirect("work-add", tag=instrument.tag, kind=kind)
    now = counsel(instrument)
    hints = suggested(now, unit, kind)
    form = form_class(None, instrument=instrument, unit=unit, initial=hints)
    context = _context(now, form, trial(form_class, instrument, unit, hints), unit)
    context |= _loop_context(now, kind, unit) | {"again": again}
    return render(request, "measurements/work/form.html", context, status=422)


def _joint_changed(request: HttpRequest, kind: str, instrument: Instrument) -> bool:
    """Whether a form was sent that the joint had when it was opened, and has no longer."""
    if request.method != "POST" or kind != WorkKind.JOINT:
        return False
    form_class = work_form_class(kind, instrument)
    own = {TurnForm: "turns", ShimForm: "shim_to_mm"}
    others = [box for form, box in own.items() if form is not form_class]
    return form_class is None or any(box in request.POST for box in others)


def _say_joint_changed(request: HttpRequest, instrument: Instrument) -> HttpResponse:
    """What happened, and what was typed, so that it can be logged as what it is."""
    context = {"instrument": instrument, "typed": _typed(request), "kinds": work_kinds(instrument)}
    return render(request, "measurements/work/joint_changed.html", context, status=409)


def _typed(request: HttpRequest) -> list[tuple[str, str]]:
    """What was filled in for a joint, with the heads of its boxes."""
    heads = {
        **{name: field.label for name, field in TurnForm.base_fields.items()},
        **{name: field.label for name, field in ShimForm.base_fields.items()},
        **{CheckInForm.action_name(12, side): action_label(12, side) for side in SIDES},
        **LABELS,
    }
    senses = {value: str(words) for value, words in SENSES}
    sent = ((name.removeprefix("again-"), request.POST[name]) for name in request.POST)
    return [
        (str(heads[name]), senses.get(text, text) if name == "sense" else text)
        for name, text in sent
        if text and heads.get(name)
    ]


def _form_class(kind: str, instrument: Instrument) -> type[WorkForm]:
    form_class = work_form_class(kind, instrument)
    if form_class is None:
        raise Http404(f"A {instrument.joint} joint has no work of the kind {kind}.")
    return form_class


def _logged_before(request: HttpRequest, instrument: Instrument) -> bool:
    """Whether this very form was sent before: by now its turns might seem to be beyond the travel.

    With another figure in it, it is not the same form: what was changed must not vanish unsaid.
    """
    try:
        uuid = UUID(request.POST.get("uuid", ""))
    except ValueError:
        return False
    first = Work.objects.filter(uuid=uuid, instrument=instrument).first()
    if first is None or request.POST.get("notes", "").strip() != first.notes:
        return False
    return all(
        request.POST[name].strip() == text
        for name, text in first.as_typed.items()
        if name in request.POST
    )


def _onward(instrument: Instrument, kind: str) -> HttpResponse:
    """Where a piece of work leads: to its own page again, to measure what it did, where that is quick."""
    if kind in AGAIN:
        return redirect("work-add", tag=instrument.tag, kind=kind)
    return redirect("instrument", tag=instrument.tag)


def _log(request: HttpRequest, form: WorkForm) -> bool:
    try:
        record_work(
            instrument=form.instrument,
            kind=form.kind,
            done_at=form.moment(),
            by=person(request),
            uuid=form.cleaned_data["uuid"],
            **form.facts(),
        )
    except ValidationError as error:
        form.add_error(None, ValidationError(error.messages))
        return False
    messages.success(request, _(LOGGED))
    refresh_and_say(request, form.instrument)
    return True


def _context(now: Counsel, form: WorkForm, shown: WorkForm, unit: LengthUnit) -> dict[str, Any]:
    """What the form's figures lead to; ``shown`` is the form, or what it suggests as if it had been sent."""
    kind = form.kind
    changes = kind != WorkKind.OTHER and shown.is_valid()
    foretold = now.foretell(shown.change()) if changes else None
    rows = foretold_rows(foretold, now) if foretold else []
    context = {
        "form": form,
        "kind": WorkKind(kind),
        "instrument": now.instrument,
        "counsel": now,
        "foretold": foretold,
        "trial": shown,
        "foretold_rows": rows,
        "some_miss": any(row.misses for row in rows),
        "cautions": work_cautions(kind, now.instrument.joint.kind),
    }
    given = shown.cleaned_data if changes else {}
    if kind == WorkKind.JOINT and now.instrument.joint.kind in TURNED:
        context |= _turning(now, turns_in(shown.data) or 0.0, unit)
    elif kind == WorkKind.JOINT:
        option = option_for(now, kind)
        advised = None if option is None else option.shim_mm
        context |= {"shimming": True, "shim_buttons": shim_buttons(now, unit, advised)}
    elif kind == WorkKind.SADDLE and changes:
        standing = now.facts.saddle_mm[0]
        before = [
            standing[place] if mm is None else mm
            for place, mm in enumerate(both_sides(given, "saddle_{}_from_mm"))
        ]
        after = both_sides(given, "saddle_{}_to_mm")
        length = given.get("saddle_length_mm")
        context["marks"] = saddle_marks(now, (before[0], before[1]), after, length)
    elif kind == WorkKind.NUT:
        context["slots"] = nut_amounts(now, both_sides(given, "nut_{}_to_mm"))
    elif kind == WorkKind.RELIEF:
        context["rod"] = rod_step(now, given.get("relief_to_mm"))
    return context


def _turning(now: Counsel, turns: float, unit: LengthUnit) -> dict[str, Any]:
    joint = now.instrument.joint
    return {
        "turning": True,
        "turns_text": turns_text(turns) if turns else "0",
        "turns_back": turns < 0,
        "travel": travel(joint, turned_in_visit(now.instrument), turns),
        "turn_buttons": turn_buttons(now, turns, unit),
        "take_up": take_up_words(turns, joint.lowering_turn),
    }


def _loop_context(now: Counsel, kind: str, unit: LengthUnit) -> dict[str, Any]:
    """What surrounds the form: what the last step did, what comes next, the boxes to measure again."""
    instrument = now.instrument
    context: dict[str, Any] = {"kinds": work_kinds(instrument)}
    if kind in AGAIN:
        context["again"] = StepReadingForm(instrument=instrument, kind=kind, unit=unit)
        context["unmeasured"] = bool(now.facts.unmeasured[0])
        context["last_step"] = _last_step(now)
    if kind == WorkKind.JOINT and instrument.joint.kind in TURNED:
        turned = turned_in_visit(instrument)
        context["verdict"] = verdict(now, option_for(now, kind), turned, unit)
    elif (
        kind != WorkKind.OTHER
        and now.advice.first_step == "remeasure"
        and not now.facts.unmeasured[0]
    ):
        # What is filed off does not come back: a misread figure stops the other kinds of work too.
        context["verdict"] = verdict(now, None, (), unit)
    said = context.get("verdict")
    context["stopped"] = said is not None and said.key == "contradiction"
    return context


def _last_step(now: Counsel) -> Step | None:
    """What the newest work of this visit came to; None while it has not been measured."""
    works = [work for work in works_of_visit(now.instrument) if work.kind != WorkKind.OTHER]
    if not works or now.facts.unmeasured[0]:
        return None
    return step_of(works[-1], now.profile)


@require_GET
@anyone_on_staff
def work(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(
        Work.objects.select_related("instrument__joint", "done_by", "voided_by"), uuid=uuid
    )
    step = None
    if found.voided_at is None and found.kind != WorkKind.OTHER:
        step = step_of(found)
    context = {"work": found, "instrument": found.instrument, "step": step, "void_form": VoidForm()}
    return render(request, "measurements/work/work.html", context)


@require_POST
@at_the_bench
def void_work(request: HttpRequest, uuid: str) -> HttpResponse:
    found = get_object_or_404(Work.objects.select_related("instrument"), uuid=uuid)
    return void_fact(request, found, "measurements/work/work.html", "work")
