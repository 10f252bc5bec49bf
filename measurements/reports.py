"""Service reports: content frozen when issued, so that a reprint says the same for ever.

``freeze`` gathers everything that the report will say, as plain JSON: words, figures in the customer's
unit and the pictures' coordinates. Templates only print it; nothing is computed when it is shown.
"""

import base64
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

import numpy as np
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.template.loader import render_to_string
from django.utils import timezone

from geometry.readings import Targets
from geometry.units import LengthUnit, format_length
from instruments.models import Instrument, JointKind
from measurements.counsel import Counsel, counsel
from measurements.drawing import SIDES, Measured, after_work, measured, side_views
from measurements.drawing_parts import figure
from measurements.models import CheckIn, ServiceReport, Stage, Work
from measurements.outlooks import conclude
from measurements.photo_report import paper_sources, seen_for_report
from measurements.report_words import (
    CARE,
    CAUTIONS,
    GLOSSARY,
    found_words,
    lines_of,
    next_words,
    outlook_words,
    state_words,
    work_sentence,
)
from measurements.trend import trend
from measurements.trend_svg import trend_pictures
from shop.models import ShopProfile, User
from shop.pdf import write_pdf

FORM = 1  # of the content; a later form keeps the templates of this one
FIRST_NUMBER = 1001
ATTEMPTS = 20
PAPERS = ("A4", "Letter")


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


def freeze(instrument: Instrument, *, by: User, issued_at: datetime) -> dict[str, Any]:
    """Everything the report says, as JSON.

    The latest visit is the last check-in as received with the last one as returned after it.
    Raises ``ValidationError`` where nothing has been measured.
    """
    received, returned = visit(instrument)
    today = timezone.localtime(issued_at).date()
    customer = instrument.customer
    unit: LengthUnit = "in" if customer is not None and customer.unit == "in" else "mm"
    now = counsel(instrument, as_of=today)
    (outlook,) = conclude(now.facts, today, now.profile)
    check_ins = [check_in for check_in in (received, returned) if check_in is not None]
    readings = [measured(check_in) for check_in in check_ins]
    found = found_words(readings[0], now.targets, unit, later=False)
    if len(readings) > 1:
        found += found_words(readings[1], now.targets, unit, later=True)
    return {
        "form": FORM,
        "language": "en-GB",
        "unit": unit,
        "issued_on": day_words(today),
        "issued_by": by.get_full_name() or by.get_username(),
        "shop": _shop(),
        "customer": None
        if customer is None
        else {"name": customer.name, "address": lines_of(customer.address)},
        "instrument": _instrument(instrument),
        "columns": [
            [check_in.get_stage_display().capitalize(), _day_of(check_in.measured_at)]
            for check_in in check_ins
        ],
        "rows": reading_rows(check_ins, readings, now.targets, unit),
        "found": found,
        **seen_for_report(check_ins),
        "work": [work_sentence(work, unit) for work in _works(instrument, check_ins, issued_at)],
        "state": outlook.state,
        "state_words": state_words(outlook.state),
        "outlook": outlook_words(outlook, unit),
        "next": next_words(
            now.advice, now.recommended, outlook, unit, unmeasured=bool(now.facts.unmeasured[0])
        ),
        "care": list(CARE),
        "cautions": list(CAUTIONS),
        "glossary": [list(entry) for entry in GLOSSARY],
        "drawings": _drawings(instrument, now, readings, unit),
        "stills": _stills(now, unit),
    }


def visit(instrument: Instrument) -> tuple[CheckIn | None, CheckIn | None]:
    """The latest visit: the last check-in as received, and the last one as returned since.

    Raises ``ValidationError`` where nothing has been measured.
    """
    standing = [
        check_in
        for check_in in instrument.check_ins.standing()
        .filter(at_pitch=True)
        .prefetch_related("action_readings")
        .order_by("measured_at", "pk")
        if _has_figures(measured(check_in))
    ]
    if not standing:
        raise ValidationError(
            f"{instrument.tag} has no readings yet: check it in first, then issue its report."
        )
    received = next((c for c in reversed(standing) if c.stage == Stage.RECEIVED), None)
    since = standing if received is None else standing[standing.index(received) + 1 :]
    returned = next((c for c in reversed(since) if c.stage == Stage.RETURNED), None)
    return received, returned


def _has_figures(reading: Measured) -> bool:
    single = (reading.bridge_rise_mm, reading.relief_mm, *reading.saddle_mm)
    return bool(reading.actions_mm) or any(mm is not None for mm in single)


def _works(instrument: Instrument, check_ins: list[CheckIn], issued_at: datetime) -> list[Work]:
    """Work of the visit: since it was received, until it was measured to be handed back."""
    first, last = check_ins[0], check_ins[-1]
    if first.stage != Stage.RECEIVED:
        return []
    until = last.measured_at if last.stage == Stage.RETURNED else issued_at
    works = instrument.works.standing()
    return list(works.filter(done_at__gte=first.measured_at, done_at__lte=until))


def _shop() -> dict[str, Any]:
    profile = ShopProfile.current()
    contact = [profile.phone, profile.email]
    return {
        "name": profile.name,
        "address": lines_of(profile.address),
        "contact": [words for words in contact if words],
    }


def _instrument(instrument: Instrument) -> dict[str, Any]:
    built = ""
    if instrument.built_year is not None:
        built = f"{'about ' if instrument.built_about else ''}{instrument.built_year}"
    return {
        "tag": instrument.tag,
        "name": " ".join(part for part in (instrument.maker, instrument.model) if part),
        "serial": instrument.serial,
        "built": built,
        "strings": instrument.get_strings_display(),
        "joint": instrument.joint.get_kind_display(),
    }


def reading_rows(
    check_ins: list[CheckIn], readings: list[Measured], targets: Targets, unit: LengthUnit
) -> list[dict[str, Any]]:
    """Rows of the table of readings: a name, what is wanted, stage and figure for each check-in.

    Where both sides are measured the bass stands before the treble.
    """
    rows: list[dict[str, Any]] = []
    stages = [check_in.get_stage_display().capitalize() for check_in in check_ins]

    def add(name: str, wanted: str, *values: Sequence[float | None]) -> None:
        if any(mm is not None for pair in values for mm in pair):
            figures = [side_by_side(pair, unit) for pair in values]
            cells = [list(cell) for cell in zip(stages, figures, strict=True)]
            rows.append({"name": name, "wanted": wanted, "values": cells})

    aims = {1: targets.action_1_mm, 12: targets.action_12_mm}
    for fret in sorted({fret for reading in readings for fret, _ in reading.actions_mm}):
        wanted = side_by_side(np.asarray(aims[fret], float).tolist(), unit) if fret in aims else ""
        pairs = ([r.actions_mm.get((fret, side)) for side in SIDES] for r in readings)
        add(f"Action at fret {fret}", wanted, *pairs)
    floor = format_length(float(np.asarray(targets.saddle_floor_mm)), unit)
    add("Saddle height", f"at least {floor}", *(reading.saddle_mm for reading in readings))
    low, high = (figure(float(mm), unit) for mm in targets.relief_window_mm)
    add("Relief", f"{low} to {high} {unit}", *([reading.relief_mm] for reading in readings))
    add("Bridge rise", "", *([reading.bridge_rise_mm] for reading in readings))
    air = [_air(check_in) for check_in in check_ins]
    if any(air):
        cells = [[stage, words or "–"] for stage, words in zip(stages, air, strict=True)]
        rows.append({"name": "Air in the workshop", "wanted": "", "values": cells})
    return rows


def side_by_side(pair: Sequence[float | None], unit: LengthUnit) -> str:
    """``2.40 / 1.60 mm``, bass before treble, or one length; a dash for what was not measured."""
    figures = ["–" if mm is None else figure(float(mm), unit) for mm in pair]
    return "–" if set(figures) == {"–"} else f"{' / '.join(figures)} {unit}"


def _air(check_in: CheckIn) -> str:
    parts = []
    if check_in.humidity_pct is not None:
        parts.append(f"{check_in.humidity_pct:.0f} % RH")
    if check_in.temperature_c is not None:
        parts.append(f"{check_in.temperature_c:.0f} °C".replace("-", "−"))
    return ", ".join(parts)


def _drawings(
    instrument: Instrument, now: Counsel, readings: list[Measured], unit: LengthUnit
) -> list[dict[str, Any]]:
    key = ("received", "returned")
    after = after_work(now.neck, readings[1], "after the work", key) if len(readings) > 1 else None
    turns = instrument.joint.kind in (JointKind.TILTING, JointKind.SHIMMED)
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
        today_words="this report",
    )
    return [asdict(picture) for picture in pictures]


def day_words(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _day_of(moment: datetime) -> str:
    return day_words(timezone.localtime(moment).date())


# On paper


def pdf(report: ServiceReport, paper: str = "A4") -> bytes:
    """The report as a tagged PDF.

    Raises ``PdfUnavailableError`` where system libraries are missing.
    """
    sheet = (settings.BASE_DIR / "shop/static/shop/report.css").read_text(encoding="utf-8")
    size = paper if paper in PAPERS else PAPERS[0]
    return write_pdf(pdf_html(report), [sheet, f"@page {{ size: {size}; }}"])


def pdf_html(report: ServiceReport) -> str:
    """The page that becomes the PDF: the same body, its pictures as images of their own."""
    content = report.content
    images = {
        "drawing_src": _image("measurements/_side_view.svg", "drawing", content.get("drawings")),
        "trend_src": _image("measurements/_trend.svg", "trend", content.get("stills")),
        "photo_srcs": paper_sources(content),
    }
    context = {"report": report, "content": content, "on_paper": True, **images}
    return render_to_string("measurements/report_pdf.html", context)


def _image(template: str, name: str, pictures: list[dict[str, Any]] | None) -> str:
    """The wide picture as a data address; empty where there is none."""
    if not pictures:
        return ""
    svg = render_to_string(template, {name: pictures[-1], "alone": True})
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode("ascii")
