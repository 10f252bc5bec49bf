"""How the check-in form answers ``outbox.js``, which sends what a person saved, perhaps later.

A form sent by hand gets a redirect or its page again; one sent by the script gets the same in JSON.
"""

from datetime import datetime, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from instruments.models import Instrument
from measurements.check_ins.forms import CheckInForm, saved_otherwise
from measurements.models import CheckIn

SENT_LATER = timedelta(minutes=1)


def is_from_outbox(request: HttpRequest) -> bool:
    return "X-Outbox" in request.headers


def age(request: HttpRequest) -> timedelta:
    """How long ago the form was saved on its device, by the device's own clock.

    A difference, so that a clock that is wrong does no harm.
    """
    try:
        return timedelta(seconds=max(0, int(request.headers.get("X-Saved-Seconds-Ago", 0))))
    except (ValueError, OverflowError):
        return timedelta(0)


def saved(request: HttpRequest, instrument: Instrument, words: str) -> HttpResponse:
    """Say that it is saved; of one sent later only to the script, or it would appear on some other page."""
    if not is_from_outbox(request):
        messages.success(request, words)
        return redirect("instrument", tag=instrument.tag)
    if age(request) < SENT_LATER:
        messages.success(request, words)
    return JsonResponse({"saved": reverse("instrument", kwargs={"tag": instrument.tag})})


def refused(words: list[str]) -> HttpResponse:
    return JsonResponse({"errors": words}, status=422)


def words_of(form: CheckInForm) -> list[str]:
    """Each thing that is wrong, with the name of its field where the words do not begin with it."""
    words = []
    for name, errors in form.errors.items():
        label = str(form.fields[name].label or name.capitalize()) if name in form.fields else ""
        for error in map(str, errors):
            words.append(error if error.startswith(label) else f"{label}: {error}")
    return words


def moment_saved(request: HttpRequest, form: CheckInForm) -> datetime:
    """The moment of measuring: when it was saved on the device, if that was on the form's day."""
    waited = age(request)
    if is_from_outbox(request) and SENT_LATER <= waited < timedelta(days=365):
        moment = timezone.now() - waited
        if timezone.localtime(moment).date() == form.cleaned_data["day"]:
            return moment
    return form.moment()


def check_not_saved_otherwise(form: CheckInForm, instrument: Instrument) -> None:
    """Refuse a form that was saved before with other readings, lest the newer ones vanish unsaid.

    A repeated submit is one check-in; but someone whose first answer was lost may have changed a figure
    before trying again. Raises ``ValidationError`` naming the fields that differ.
    """
    first = CheckIn.objects.filter(uuid=form.cleaned_data["uuid"], instrument=instrument).first()
    if first is None:
        return
    before, now = dict(first.as_typed), dict(form.facts()["as_typed"])
    for name in ("stage", "at_pitch", "relief_press", "gauge", "notes"):
        before[name], now[name] = getattr(first, name), form.cleaned_data[name]
    before["day"] = timezone.localtime(first.measured_at).date()
    now["day"] = form.cleaned_data["day"]
    changed = [
        str(field.label or name.capitalize())
        for name, field in form.fields.items()
        if before.get(name) != now.get(name)
    ]
    if changed:
        raise saved_otherwise(changed)
