"""A correction of an issued report: the next revision of its number, which says what was corrected."""

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.models import CheckIn, ServiceReport, Stage
from measurements.reports.content import freeze
from shop.figures import day_words
from shop.languages import written_in
from shop.models import User


@transaction.atomic
def revise(report: ServiceReport, by: User, *, why: str, nonce: str = "") -> ServiceReport:
    """Issue the next revision of a report from the facts that stand now; the earlier ones stay.

    It is about the same visit, in the same language. Where the instrument has come again since, what to
    expect is said as of the day of the first issue. A repeated ``nonce`` gives the first one back.
    Raises ``ValidationError`` where no reason is given, another revision came first or nothing measured
    stands any more.
    """
    why = " ".join(why.split())
    if not why:
        raise ValidationError({"why": _("Say what was corrected: the revision prints it.")})
    instrument = Instrument.objects.select_for_update().get(pk=report.instrument_id)
    newest = ServiceReport.objects.filter(number=report.number).newest().get()
    if nonce and newest.content.get("nonce") == nonce:
        return newest
    if newest.revision != report.revision:
        raise ValidationError(
            _("Revision %(revision)s was issued on %(day)s, in the meantime. Look at it first.")
            % {"revision": newest.revision, "day": day_words(newest.issued_at)}
        )
    now = timezone.now()
    before, as_of = _limits(instrument, report.number)
    told = told_before(newest, instrument)
    unit = newest.content["unit"] if told else None
    language = language_of(newest)
    content = freeze(
        instrument,
        by=by,
        issued_at=now,
        as_of=as_of,
        before=before,
        unit=unit,
        language=language,
    )
    if told:
        content["customer"] = told
    content["nonce"] = nonce
    with written_in(language):
        content["revision"] = {
            "why": why if why[-1] in ".!?" else f"{why}.",
            "replaces_issued_on": day_words(newest.issued_at),
            "as_of": day_words(as_of) if as_of else "",
        }
    revision = ServiceReport(
        number=report.number,
        revision=newest.revision + 1,
        instrument=instrument,
        issued_at=now,
        issued_by=by,
        why_revised=why,
        content=content,
    )
    revision.full_clean()
    revision.save()
    return revision


def told_before(newest: ServiceReport, instrument: Instrument) -> dict[str, Any] | None:
    """Whom the report was for, where the instrument is somebody else's by now; else None.

    The former owner may hold a link to it, and is not to learn of the new one.
    """
    told: dict[str, Any] | None = newest.content.get("customer")
    if not told or instrument.customer is None:
        return told
    code = told.get("code")  # reports from before it was kept have the name alone
    same = code == instrument.customer.code if code else told["name"] == instrument.customer.name
    return None if same else told


def _limits(instrument: Instrument, number: int) -> tuple[datetime | None, date | None]:
    """Where the report's visit ended and what day it speaks of; both None while it is the latest."""
    first = ServiceReport.objects.get(number=number, revision=1)
    later: CheckIn | None = (
        instrument.check_ins.standing()
        .filter(stage=Stage.RECEIVED, at_pitch=True, measured_at__gt=first.issued_at)
        .order_by("measured_at", "pk")
        .first()
    )
    if later is None:
        return None, None
    return later.measured_at, timezone.localtime(first.issued_at).date()


def replaced_words(report: ServiceReport) -> str:
    """``Replaced on 6 May 2026 by revision 2. What was corrected: …``; empty for the newest."""
    later = report.replaced_by()
    if later is None:
        return ""
    with written_in(language_of(report)):
        return _("Replaced on %(day)s by revision %(revision)s. What was corrected: %(why)s.") % {
            "day": day_words(later.issued_at),
            "revision": later.revision,
            "why": later.why_revised.rstrip("."),
        }


def language_of(report: ServiceReport) -> str:
    """The language that a report was written in, for good; every revision keeps it."""
    kept: str = report.content["language"]
    return kept.lower()
