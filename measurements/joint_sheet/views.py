"""The joint sheet: what a change of saddle, angle, relief or nut would do; looks only, keeps nothing."""

from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from instruments.models import Strings
from measurements.advice.counsel import counsel
from measurements.finding import instrument_or_404
from measurements.joint_sheet.figures import Figures, work_out
from measurements.joint_sheet.forms import SheetForm
from measurements.joint_sheet.start import Start, start_of, start_of_new
from measurements.joint_sheet.words import words_of
from shop.people import unit_of
from shop.refusals import in_words
from shop.roles import anyone_on_staff


@require_GET
@anyone_on_staff
def joint_sheet(request: HttpRequest, tag: str) -> HttpResponse:
    """The sheet of one instrument, starting from its facts."""
    found = instrument_or_404(tag)
    return _sheet(request, start_of(counsel(found)), {})


@require_GET
@anyone_on_staff
def new_joint_sheet(request: HttpRequest) -> HttpResponse:
    """The sheet of a joint not yet built, starting from what is usual for its strings."""
    wanted = request.GET.get("strings", "")
    strings = wanted if wanted in Strings.values else str(Strings.STEEL)
    kept = {} if strings == Strings.STEEL else {"strings": strings}
    return _sheet(request, start_of_new(strings), kept)


def _sheet(request: HttpRequest, start: Start, kept: dict[str, str]) -> HttpResponse:
    form = SheetForm(request.GET, start=start, unit=unit_of(request))
    found = _figures(form)
    own = kept | form.address(unit_of(request))
    live = request.htmx and not request.htmx.history_restore_request  # type: ignore[attr-defined]
    own_address = _address(request, own)
    # A form sends every box it has; the address to keep holds only what was changed.
    if found is not None and not live and len(request.GET) > len(own):
        return redirect(own_address)
    context: dict[str, Any] = {
        "form": form,
        "start": start,
        "instrument": start.instrument,
        "kept": kept,
        "own_address": own_address,
        "first_address": _address(request, kept),
        "found": found,
        "sheet": words_of(found, form) if found is not None else None,
        "unit": form.unit,
        "today": timezone.localdate(),
    }
    template = (
        "measurements/joint_sheet/_sheet.html" if live else "measurements/joint_sheet/sheet.html"
    )
    return render(request, template, context, status=200 if found is not None else 422)


def _address(request: HttpRequest, parameters: dict[str, str]) -> str:
    return f"{request.path}?{urlencode(parameters)}" if parameters else request.path


def _figures(form: SheetForm) -> Figures | None:
    """The sheet's figures; None, and the form says why, where what was typed cannot be."""
    if not form.is_valid():
        return None
    try:
        return work_out(form)
    except ValueError as error:
        words = _("These figures do not make a neck: %(why)s. Check the lengths and angles.")
        form.add_error(None, ValidationError(words % {"why": in_words(error)}))
        return None
