"""The forecast's own record, for the shop and for one instrument."""

from typing import Any

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from geometry.units import LengthUnit
from measurements.advice.counsel import Counsel
from measurements.drawings.record_charts import agreement_figure, record_figure
from measurements.facts.arrays import gather
from measurements.forecast.prior import prior_for
from measurements.forecast.record import record
from measurements.forecast.record_words import record_lines, record_words, shares
from measurements.models import Outlook
from shop.finders import injected_style_ids
from shop.models import ShopProfile
from shop.people import unit_of
from shop.roles import anyone_on_staff

#: The shop's record covers this many instruments, the newest measured first.
MOST_INSTRUMENTS = 500
#: Readings furthest from their forecast that are listed.
FURTHEST = 10


@require_GET
@anyone_on_staff
def shop_record(request: HttpRequest) -> HttpResponse:
    """How the forecasts of the shop's readings fared, each made from the readings before it."""
    unit = unit_of(request)
    keys = list(
        Outlook.objects.filter(readings__gte=2, last_measured_at__isnull=False)
        .order_by("-last_measured_at", "-instrument_id")
        .values_list("instrument_id", flat=True)[: MOST_INSTRUMENTS + 1]
    )
    facts = gather(keys[:MOST_INSTRUMENTS], timezone.localdate(), ShopProfile.current())
    prior = prior_for(facts)
    found = record(facts, prior)
    context: dict[str, Any] = {
        "forecasts": len(found),
        "most": MOST_INSTRUMENTS if len(keys) > MOST_INSTRUMENTS else None,
        "learnt": prior is not None,
    }
    if len(found):
        tags = [row["tag"] for row in facts.rows.instruments]
        rows = shares(found)
        furthest = np.argsort(-np.abs(found.z), kind="stable")[:FURTHEST]
        outside = [int(k) for k in furthest if not found.inside[k]]
        context |= {
            "instruments": len(np.unique(found.row)),
            "shares": rows,
            "overall": rows[-1],
            "furthest": record_lines(found, outside, tags, unit),
            "chart": agreement_figure(found, tags, unit),
            "style_ids": injected_style_ids(),
        }
    return render(request, "measurements/forecast/record.html", context)


def record_context(now: Counsel, unit: LengthUnit) -> dict[str, Any]:
    """What ``_record.html`` shows of one instrument; nothing where no reading could be foretold."""
    found = record(now.facts, now.prior)
    if not len(found):
        return {}
    newest_first = range(len(found) - 1, -1, -1)
    return {
        "record_words": record_words(found),
        "record_lines": record_lines(found, newest_first, [now.instrument.tag], unit),
        "record_chart": record_figure(found, unit),
    }
