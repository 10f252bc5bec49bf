"""What the figures typed so far mean, while a check-in is being typed; saves nothing."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_POST

from instruments.models import Instrument
from measurements.advice.counsel import Counsel, counsel
from measurements.check_ins.expected import RiseForecast, rise_forecast
from measurements.check_ins.forms import CheckInForm
from measurements.check_ins.understood import (
    balance_words,
    expected_words,
    is_too_early,
    summary_words,
    suspect_marks,
    understood,
)
from measurements.check_ins.views import last_lengths
from measurements.finding import instrument_or_404
from measurements.instrument.views import advice_context
from measurements.models import CheckIn
from shop.people import unit_of
from shop.roles import at_the_bench


@require_POST
@at_the_bench
def preview(request: HttpRequest, tag: str) -> HttpResponse:
    """Understood in both units, agreeing or not and with what, and the advice; a part of a page."""
    found = instrument_or_404(tag)
    replaces = _replaced(request, found)
    form = CheckInForm(request.POST, instrument=found, unit=unit_of(request), replaces=replaces)
    form.is_valid()
    now, forecast = _meaning(form, found)
    too_early = now is not None and is_too_early(form, now)
    context: dict[str, Any] = {
        "instrument": found,
        "form": form,
        "understood": understood(
            form,
            last_lengths(found, besides=replaces),
            {} if now is None else expected_words(form, now, forecast) | suspect_marks(form, now),
        ),
        "summary": summary_words(form, now),
        "balances": [] if now is None else balance_words(form, now),
    }
    if now is not None and not too_early:
        context |= advice_context(now, form.unit)
    return render(request, "measurements/check_ins/_preview.html", context)


def _replaced(request: HttpRequest, instrument: Instrument) -> CheckIn | None:
    """The check-in that is being corrected, where the form says so."""
    try:
        uuid = UUID(request.GET.get("replaces", ""))
    except ValueError:
        return None
    return instrument.check_ins.filter(uuid=uuid).first()


def _meaning(
    form: CheckInForm, instrument: Instrument
) -> tuple[Counsel | None, RiseForecast | None]:
    """Advice as it will be once what was typed is saved, and the bridge rise that was to be expected."""
    read = form.as_read()
    if read is None or not form.cleaned_data.get("at_pitch"):
        return None, None
    now = counsel(instrument, typed=read)
    # A correction, or an earlier day, would be held against a forecast that knows better.
    if form.replaces is not None or form.cleaned_data.get("day") != timezone.localdate():
        return now, None
    forecast = rise_forecast(
        now,
        humidity_pct=form.figure("humidity_pct"),
        temperature_c=form.figure("temperature_c"),
        readings_mm=form.read_mm("bridge_rise_mm"),
    )
    return now, forecast
