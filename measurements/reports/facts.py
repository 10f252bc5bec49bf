"""Which facts a report rests on, and what has become of them since it was issued."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.facts.rows import end_of
from measurements.models import CheckIn, Damage, Photo, ServiceReport, Voidable, Work
from measurements.photos.reads import damages_of
from shop.figures import day_words


def facts_of(
    instrument: Instrument, check_ins: Sequence[CheckIn], works: Sequence[Work], as_of: date
) -> dict[str, list[str]]:
    """UUIDs of what the report shows, and of the earlier facts that its outlook rests on."""
    until = end_of(as_of)
    shown = {check_in.pk for check_in in check_ins} | {0}
    done = {work.pk for work in works} | {0}
    standing = instrument.check_ins.standing().filter(measured_at__lt=until)
    worked = instrument.works.standing().filter(done_at__lt=until)
    return {
        "check_ins": _uuids(check_ins),
        "works": _uuids(works),
        "damages": _uuids(
            damage
            for check_in in check_ins
            for damage in damages_of(check_in).filter(voided_at=None)
        ),
        "earlier_check_ins": _uuids(standing.exclude(pk__in=shown).only("uuid")),
        "earlier_works": _uuids(worked.exclude(pk__in=done).only("uuid")),
    }


def _uuids(facts: Any) -> list[str]:
    return [str(fact.uuid) for fact in facts]


def corrections(report: ServiceReport) -> list[str]:
    """What was corrected since of that which the report rests on, in words: at most four queries.

    A report from before its facts were kept says nothing.
    """
    facts: dict[str, list[str]] = report.content.get("facts", {})
    photos = [photo["uuid"] for photo in report.content.get("photos", [])]
    words = []
    for check_in in _voided(CheckIn, facts, "check_ins"):
        what = _check_in_words(check_in, facts)
        day, stage = day_words(check_in.measured_at), check_in.get_stage_display()
        words.append(_since(what, check_in, day=day, stage=stage))
    for work in _voided(Work, facts, "works"):
        day = day_words(work.done_at)
        what = _("Work of %(day)s (%(kind)s) was voided on %(on)s: %(why)s.")
        words.append(_since(what, work, day=day, kind=work.get_kind_display()))
    for kind, uuids, what in (
        (
            Damage,
            facts.get("damages", []),
            _("Damage noted in it (%(name)s) was voided on %(on)s: %(why)s."),
        ),
        (Photo, photos, _("A photo in it (%(name)s) was voided on %(on)s: %(why)s.")),
    ):
        for fact in kind.objects.filter(uuid__in=uuids, voided_at__isnull=False) if uuids else ():
            words.append(_since(what, fact, name=fact))
    return words


def _voided(kind: Any, facts: dict[str, list[str]], name: str) -> Any:
    uuids = [*facts.get(name, []), *facts.get(f"earlier_{name}", [])]
    if not uuids:
        return ()
    found = kind.objects.filter(uuid__in=uuids, voided_at__isnull=False)
    return found.select_related("replaced_by") if kind is CheckIn else found


def _check_in_words(check_in: CheckIn, facts: dict[str, list[str]]) -> str:
    corrected = hasattr(check_in, "replaced_by")
    if str(check_in.uuid) in facts["check_ins"]:
        if corrected:
            return _("The check-in of %(day)s, %(stage)s, was corrected on %(on)s: %(why)s.")
        return _("The check-in of %(day)s, %(stage)s, was voided on %(on)s: %(why)s.")
    if corrected:
        return _(
            "The earlier check-in of %(day)s, on which the outlook rests, was corrected on %(on)s: "
            "%(why)s."
        )
    return _(
        "The earlier check-in of %(day)s, on which the outlook rests, was voided on %(on)s: %(why)s."
    )


def _since(what: str, fact: Voidable, **words: object) -> str:
    """``… was corrected on 6 May 2026: typed twice.``"""
    on = day_words(fact.voided_at) if fact.voided_at else _("an unknown day")
    return what % {"on": on, "why": fact.void_reason.rstrip("."), **words}
