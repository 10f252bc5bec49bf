"""Service reports: content frozen when issued, so that a reprint says the same for ever.

``freeze`` gathers everything that the report will say, as plain JSON: words, figures in the customer's
unit and the pictures' coordinates. Templates only print it; nothing is computed when it is shown.
"""

from dataclasses import asdict
from datetime import date, datetime
from typing import Any, cast

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from geometry.units import LengthUnit
from instruments.models import Instrument
from measurements.advice.counsel import Counsel, counsel
from measurements.advice.estimates import next_estimate
from measurements.drawings.side_view import Measured, after_work, measured, side_views
from measurements.drawings.trend_svg import trend_pictures
from measurements.forecast.outlooks import conclude
from measurements.forecast.trend import trend
from measurements.models import CheckIn, ServiceReport, Stage, Work
from measurements.photos.report import seen_for_report
from measurements.reports.facts import facts_of
from measurements.reports.rows import reading_rows
from measurements.reports.words import (
    care_words,
    caution_words,
    found_words,
    glance_words,
    glossary_words,
    lines_of,
    next_words,
    outlook_words,
    state_words,
    work_sentence,
)
from shop import logo
from shop.figures import day_words
from shop.languages import language_for, tag_of, written_in
from shop.models import Customer, ShopProfile, User

FORM = 1  # of the content; a later form keeps the templates of this one
FIRST_NUMBER = 1001
ATTEMPTS = 20


def issue(instrument: Instrument, by: User, *, nonce: str = "") -> ServiceReport:
    """Issue the next report of an instrument; a repeated ``nonce`` gives the first one back.

    Raises ``ValidationError`` where there is nothing to report.
    """
    for attempt in range(ATTEMPTS):
        try:
            with transaction.atomic():
                return _issue(instrument, by, nonce)
        except IntegrityError:  # another report took the number in the meantime: the next is free
            if attempt == ATTEMPTS - 1:
                raise
    raise AssertionError("unreachable")


def _issue(instrument: Instrument, by: User, nonce: str) -> ServiceReport:
    Instrument.objects.select_for_update().get(pk=instrument.pk)
    if nonce:
        already = instrument.reports.filter(content__nonce=nonce).first()
        if already is not None:
            return already
    now = timezone.now()
    content = freeze(instrument, by=by, issued_at=now) | {"nonce": nonce}
    return ServiceReport.objects.create(
        number=_next_number(),
        instrument=instrument,
        issued_at=now,
        issued_by=by,
        content=content,
    )


def _next_number() -> int:
    last = ServiceReport.objects.aggregate(last=Max("number"))["last"] or 0
    return max(last + 1, FIRST_NUMBER)


def freeze(
    instrument: Instrument,
    *,
    by: User,
    issued_at: datetime,
    as_of: date | None = None,
    before: datetime | None = None,
    unit: LengthUnit | None = None,
    language: str = "",
) -> dict[str, Any]:
    """Everything the report says, as JSON, in the customer's unit and language where none are given.

    It is about the latest visit, or the latest ``before`` a moment: the last check-in as received with
    the last one as returned after it. What to expect is said ``as_of`` a day, that of issue by default.
    Raises ``ValidationError`` where nothing has been measured.
    """
    received, returned = visit(instrument, before)
    check_ins = [check_in for check_in in (received, returned) if check_in is not None]
    customer = instrument.customer
    unit = unit or ("mm" if customer is None else cast(LengthUnit, customer.unit))
    language = language or language_for(customer, ShopProfile.current())
    works = _works(instrument, check_ins, before or issued_at)
    issued_on = timezone.localtime(issued_at).date()
    today = as_of or issued_on
    with written_in(language):
        return {
            "form": FORM,
            "language": tag_of(language),
            "unit": unit,
            "issued_on": day_words(issued_on),
            "issued_by": by.get_full_name() or by.get_username(),
            "customer": _customer(customer),
            "instrument": _instrument(instrument),
            **_said(instrument, check_ins, works, today, unit),
            **seen_for_report(check_ins),
            "care": care_words(),
            "cautions": caution_words(),
            "glossary": glossary_words(),
            "facts": facts_of(instrument, check_ins, works, today),
        }


def _said(
    instrument: Instrument,
    check_ins: list[CheckIn],
    works: list[Work],
    today: date,
    unit: LengthUnit,
) -> dict[str, Any]:
    """What was found and done and what is to be expected, in words and pictures."""
    now = counsel(instrument, as_of=today)
    (outlook,) = conclude(now.facts, today, now.profile)
    readings = [measured(check_in) for check_in in check_ins]
    found = found_words(readings[0], now.targets, unit, later=False)
    after = found_words(readings[1], now.targets, unit, later=True) if len(readings) > 1 else []
    done = [work_sentence(work, unit) for work in works]
    ahead = next_words(
        now.advice, now.recommended, outlook, unit, unmeasured=bool(now.facts.unmeasured[0])
    )
    step = ahead[-1] if now.advice.first_step == "none" else ahead[0]
    return {
        "shop": _shop(now.profile),
        "columns": [
            [capfirst(check_in.get_stage_display()), day_words(check_in.measured_at)]
            for check_in in check_ins
        ],
        "rows": reading_rows(check_ins, readings, now.targets, unit),
        "found": found + after,
        "glance": glance_words(found, done, after, step, outlook),
        "work": done,
        "state": outlook.state,
        "state_words": state_words(outlook.state),
        "outlook": outlook_words(outlook, unit),
        "next": ahead,
        "estimate": next_estimate(now, outlook),
        "drawings": _drawings(instrument, now, readings, unit),
        "stills": _stills(now, unit),
    }


def visit(
    instrument: Instrument, before: datetime | None = None
) -> tuple[CheckIn | None, CheckIn | None]:
    """The latest visit: the last check-in as received, and the last one as returned since.

    Nothing from ``before`` on counts. Raises ``ValidationError`` where nothing has been measured.
    """
    standing = [
        check_in
        for check_in in instrument.check_ins.standing()
        .filter(at_pitch=True)
        .prefetch_related("action_readings")
        .order_by("measured_at", "pk")
        if (before is None or check_in.measured_at < before) and _has_figures(measured(check_in))
    ]
    if not standing:
        raise ValidationError(
            _("%(tag)s has no readings yet: check it in first, then issue its report.")
            % {"tag": instrument.tag}
        )
    received = next((c for c in reversed(standing) if c.stage == Stage.RECEIVED), None)
    since = standing if received is None else standing[standing.index(received) + 1 :]
    returned = next((c for c in reversed(since) if c.stage == Stage.RETURNED), None)
    return received, returned


def _has_figures(reading: Measured) -> bool:
    single = (reading.bridge_rise_mm, reading.relief_mm, *reading.saddle_mm)
    return bool(reading.actions_mm) or any(mm is not None for mm in single)


def _works(instrument: Instrument, check_ins: list[CheckIn], end: datetime) -> list[Work]:
    """Work of the visit: since it was received, until it was measured to be handed back, or its end."""
    first, last = check_ins[0], check_ins[-1]
    if first.stage != Stage.RECEIVED:
        return []
    until = last.measured_at if last.stage == Stage.RETURNED else end
    works = instrument.works.standing()
    return list(works.filter(done_at__gte=first.measured_at, done_at__lte=until))


def _shop(profile: ShopProfile) -> dict[str, Any]:
    contact = [profile.phone, profile.email]
    return {
        "name": profile.name,
        "address": lines_of(profile.address),
        "contact": [words for words in contact if words],
        "logo": logo.frozen(profile),
    }


def _instrument(instrument: Instrument) -> dict[str, Any]:
    built = ""
    if instrument.built_year is not None:
        built = str(instrument.built_year)
        if instrument.built_about:
            built = pgettext("a year", "about %(year)s") % {"year": built}
    return {
        "tag": instrument.tag,
        "name": " ".join(part for part in (instrument.maker, instrument.model) if part),
        "serial": instrument.serial,
        "built": built,
        "strings": str(instrument.get_strings_display()),
        "joint": str(instrument.joint.get_kind_display()),
    }


def _customer(customer: Customer | None) -> dict[str, Any] | None:
    if customer is None:
        return None
    return {
        "name": customer.name,
        "address": lines_of(customer.address),
        "code": customer.code,
    }


def _drawings(
    instrument: Instrument, now: Counsel, readings: list[Measured], unit: LengthUnit
) -> list[dict[str, Any]]:
    key = (pgettext("of a picture", "received"), pgettext("of a picture", "returned"))
    after = (
        after_work(now.neck, readings[1], _("after the work"), key) if len(readings) > 1 else None
    )
    turns = instrument.joint.is_adjustable
    choices = {
        "fret_count": instrument.fret_count,
        "pivot_depth_mm": now.joint.pivot_depth_mm if turns else None,
        "unit": unit,
        "name": instrument.tag,
    }
    views = side_views(now.neck, readings[0], after=after, **choices)
    return [asdict(view) for view in views or side_views(now.neck, readings[-1], **choices)]


def _stills(now: Counsel, unit: LengthUnit) -> list[dict[str, Any]]:
    pictures = trend_pictures(
        trend(now, unit),
        unit=unit,
        name=now.instrument.tag,
        today_words=_("this report"),
    )
    return [asdict(picture) for picture in pictures]
