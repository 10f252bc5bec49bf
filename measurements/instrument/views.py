"""The instrument's page: figures now, advice, options, trend and history."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from geometry.advice import Option
from geometry.units import LengthUnit
from instruments.models import Instrument
from instruments.views import instrument_form
from measurements.advice.cautions import caution_words
from measurements.advice.counsel import Counsel, Dates, counsel
from measurements.advice.estimates import option_estimates
from measurements.advice.verdicts import head_words, notes_on
from measurements.drawings.charts import shows_reset_limit, trend_figure
from measurements.drawings.side_view import after_option, readings_now, side_views
from measurements.drawings.trend_svg import trend_pictures
from measurements.finding import check_ins_of, instrument_or_404
from measurements.forecast.basis_words import basis_words
from measurements.forecast.movement import coverage, movement, next_reading
from measurements.forecast.notices import refresh_and_say
from measurements.forecast.outlooks import MARKS
from measurements.forecast.record_views import record_context
from measurements.forecast.record_words import movement_parts, next_reading_words
from measurements.forecast.trend import trend
from measurements.models import CheckIn, Outlook, Work
from measurements.photos.reads import seen_on_visit
from measurements.words import (
    OPTION_TITLES,
    advice_words,
    assumption_words,
    booking_words,
    option_words,
    suspect_words,
    when_words,
    work_words,
)
from measurements.work.forms import work_kinds
from shop import search
from shop.finders import injected_style_ids
from shop.models import Customer
from shop.people import unit_of
from shop.roles import anyone_on_staff
from shop.views import form_view


@form_view
@anyone_on_staff
def add_instrument(request: HttpRequest) -> HttpResponse:
    owner = Customer.objects.filter(code=search.wanted(request, "customer")).first()
    title = _("Add an instrument")
    new = Instrument(customer=owner)
    return instrument_form(request, new, title, then=refresh_and_say)


@form_view
@anyone_on_staff
def edit_instrument(request: HttpRequest, tag: str) -> HttpResponse:
    found = instrument_or_404(tag)
    title = _("Edit %(tag)s") % {"tag": found.tag}
    return instrument_form(request, found, title, then=refresh_and_say)


@dataclass(frozen=True)
class Event:
    """One line of the history: a check-in or a piece of work."""

    moment: datetime
    voided: bool
    check_in: CheckIn | None = None
    work: Work | None = None
    words: str = ""
    action_bass: float | None = None
    action_treble: float | None = None


@dataclass(frozen=True)
class OptionRow:
    """One option as the page shows it."""

    option: Option
    title: str
    words: str
    recommended: bool
    actions: list[tuple[int, float, float]]
    spent: str
    reset: str
    cautions: list[str]
    estimate: str


@require_GET
@anyone_on_staff
def instrument(request: HttpRequest, tag: str) -> HttpResponse:
    found = instrument_or_404(tag)
    if found.tag != tag:
        return redirect("instrument", tag=found.tag)
    unit = unit_of(request)
    history = history_of(found, unit)
    outlook = getattr(found, "outlook", None)
    standing = [event.check_in for event in history if event.check_in and not event.voided]
    has_readings = bool(standing)
    context: dict[str, Any] = {
        "instrument": found,
        "outlook": outlook or Outlook(instrument=found),
        "has_readings": has_readings,
        "history": history,
        "newest_check_in": standing[0] if standing else None,
        "seen_on_visit": seen_on_visit(standing[::-1]),
        "kinds": work_kinds(found),
        "adjustable": found.joint.is_adjustable,
        "reports": found.reports.newest().defer("content")[:10],
        "report_nonce": uuid4(),
    }
    if has_readings:
        now = counsel(found)
        context |= advice_context(now, unit)
        context["booking"] = booking_words(context["outlook"])
        context["notes"] = notes_on(now, context["outlook"], unit)
        context |= _trend_context(now, context["outlook"], unit)
    return render(request, "measurements/instrument/instrument.html", context)


def advice_context(now: Counsel, unit: LengthUnit) -> dict[str, Any]:
    """What ``_advice.html``, ``_options.html`` and ``_side_view.html`` show."""
    lowering = now.instrument.joint.lowering_turn
    chosen = now.recommended
    work_to_do = chosen is not None and chosen.key != "leave" and not now.facts.unmeasured[0]
    after = after_option(chosen, _("after the advice")) if chosen and work_to_do else None
    return {
        "counsel": now,
        "advice": now.advice,
        "head": head_words(now),
        "reason": advice_words(now.advice, unit, lowering),
        "do_this": option_words(chosen, unit, lowering) if chosen and work_to_do else "",
        "cautions": caution_words(chosen.cautions) if chosen else [],
        "suspects": [suspect_words(item, unit) for item in now.advice.suspect_details],
        "assumptions": assumption_words(now.advice, unit),
        "option_rows": option_rows(now, unit),
        "drawings": side_views(
            now.neck,
            readings_now(now.readings),
            after=after,
            fret_count=now.instrument.fret_count,
            pivot_depth_mm=now.joint.pivot_depth_mm,
            unit=unit,
            name=str(now.instrument),
        ),
    }


def option_rows(now: Counsel, unit: LengthUnit) -> list[OptionRow]:
    lowering = now.instrument.joint.lowering_turn
    height = now.advice.first_step in ("height", "none")
    estimates = option_estimates(now.profile)
    return [
        OptionRow(
            option=option,
            title=_(OPTION_TITLES[option.key]),
            words=option_words(option, unit, lowering),
            recommended=height and option.key == now.advice.recommended,
            actions=[
                (fret, float(bass), float(treble))
                for fret, (bass, treble) in zip(
                    option.set_frets, option.action_after_mm, strict=True
                )
            ],
            cautions=caution_words(option.cautions),
            estimate=estimates.get(option.key, "") if option.feasible else "",
            **_when(now, now.option_dates.get(option.key)),
        )
        for option in now.advice.options
    ]


def _when(now: Counsel, dates: Dates | None) -> dict[str, str]:
    if dates is None:
        return {"spent": "–", "reset": "–"}
    today = now.today
    return {
        name: when_words([dates[f"{key}_{mark}"] for mark in MARKS], today)
        for name, key in (("spent", "saddle_spent"), ("reset", "reset"))
    }


def _trend_context(now: Counsel, outlook: Outlook, unit: LengthUnit) -> dict[str, Any]:
    """The trend, what moved the bridge, how sure that is, and how the forecasts fared."""
    course = trend(now, unit)
    if not course.readings:
        return {}
    stills = trend_pictures(course, unit=unit)
    moved = movement(now.facts, now.fit)
    ahead = next_reading(now.facts, now.profile, now.prior)
    return {
        "chart": trend_figure(course, unit),
        "stills": stills,
        "still": stills[0],
        "limit_beyond": course.reset_limit_mm if not shows_reset_limit(course) else None,
        "style_ids": injected_style_ids(),
        "movement_parts": movement_parts(moved, unit) if moved else [],
        "basis_words": basis_words(outlook, coverage(now.facts, now.fit)),
        "next_words": next_reading_words(ahead, outlook),
        **record_context(now, unit),
    }


def history_of(found: Instrument, unit: LengthUnit) -> list[Event]:
    """Check-ins and work, newest first, voided ones among them."""
    events = []
    for check_in in check_ins_of(found):
        actions = {(row.fret, row.side): row.action_mm for row in check_in.action_readings.all()}
        events.append(
            Event(
                moment=check_in.measured_at,
                voided=check_in.voided_at is not None,
                check_in=check_in,
                action_bass=actions.get((12, "bass")),
                action_treble=actions.get((12, "treble")),
            )
        )
    for work in found.works.all():
        voided = work.voided_at is not None
        events.append(Event(work.done_at, voided, work=work, words=work_words(work, unit)))
    return sorted(events, key=lambda event: event.moment, reverse=True)
