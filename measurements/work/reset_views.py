"""The reset sheet: a page to print and take to the bench."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET

from measurements.advice.cautions import every_caution
from measurements.advice.counsel import counsel
from measurements.advice.verdicts import reset_head
from measurements.finding import instrument_or_404
from measurements.models import CheckIn
from measurements.words import advice_words, assumption_words
from measurements.work.reset_sheet import reset_sheet
from shop.fields import LengthField, MeasuredForm
from shop.people import unit_of
from shop.roles import anyone_on_staff


class JointWidthForm(MeasuredForm):
    """The width of the joint, for the sideways trim."""

    joint_width = LengthField(
        label=_lazy("Width across the heel at the body"),
        possible=(20, 120),
        widget=forms.TextInput(attrs={"size": 10}),
        help_text=_lazy("For the sideways trim."),
    )


@require_GET
@anyone_on_staff
def sheet(request: HttpRequest, tag: str) -> HttpResponse:
    """Everything a reset needs to hand, from the readings as they stand."""
    instrument = instrument_or_404(tag)
    unit = unit_of(request)
    now = counsel(instrument)
    form = JointWidthForm(request.GET if "joint_width" in request.GET else None, unit=unit)
    width = form.cleaned_data["joint_width"] if form.is_valid() else None
    last = CheckIn.objects.standing().filter(instrument=instrument).last()
    reason = advice_words(now.advice, unit, instrument.joint.lowering_turn)
    context = {
        "instrument": instrument,
        "head": reset_head(now.advice, getattr(instrument, "outlook", None), reason),
        "counsel": now,
        "sheet": reset_sheet(now, width),
        "form": form,
        "width": width,
        "last": last,
        "first_step": now.advice.first_step,
        "reason": reason,
        "assumptions": assumption_words(now.advice, unit),
        "profile": now.profile,
        "day": timezone.localdate(),
        "caution": every_caution(),
        "wedge_step_mm": 0.05,
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "measurements/work/reset_sheet.html", context, status=status)
