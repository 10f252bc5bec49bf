"""Refreshing an outlook after a fact was saved, and telling the person if that failed."""

from django.contrib import messages
from django.http import HttpRequest
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.forecast.refreshing import refresh_after


def refresh_and_say(request: HttpRequest, instrument: Instrument) -> None:
    if not refresh_after(instrument):
        messages.warning(
            request,
            _(
                "What you entered is safe, but the outlook could not be refreshed: it is out of date."
            ),
        )
