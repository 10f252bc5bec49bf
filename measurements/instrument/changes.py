"""Who changed what of an instrument: its own figures, its joint, and the facts that rest on it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import Any

from django.db import models
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from geometry.units import LengthUnit
from instruments.forms import InstrumentForm, JointForm
from instruments.models import Instrument, NeckJoint
from measurements.models import CheckIn, Damage, Photo, Voidable
from measurements.words import angle_words, work_words
from shop.figures import day_words, length_words
from shop.models import Customer, User

EMPTY = gettext_lazy("empty")


@dataclass(frozen=True)
class Alteration:
    """One field, before and after."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class Entry:
    """One line of the list: when, who, what, why, and where it can be looked at."""

    moment: datetime
    who: str
    what: str
    why: str = ""
    address: str = ""
    alterations: list[Alteration] = field(default_factory=list)


def changes_of(instrument: Instrument, unit: LengthUnit) -> list[Entry]:
    """Everything on record, newest first; the same eight queries for any number of changes."""
    entries = [
        *_edits(instrument, unit),
        *_check_ins(instrument),
        *_works(instrument, unit),
        *_seen(instrument),
        *_reports(instrument),
    ]
    return sorted(entries, key=lambda entry: entry.moment, reverse=True)


def _who(user: User | None) -> str:
    return "" if user is None else user.get_short_name() or user.username


# The instrument's own figures


def _edits(instrument: Instrument, unit: LengthUnit) -> Iterator[Entry]:
    rows = _history(Instrument, id=instrument.pk)
    joint_rows = _history(NeckJoint, instrument_id=instrument.pk)
    owners = {row.customer_id for row in rows} - {None}
    names = dict(Customer.objects.filter(pk__in=owners).values_list("pk", "name"))
    labels = {**_labels(Instrument, InstrumentForm), **_labels(NeckJoint, JointForm)}
    if rows and rows[0].history_type == "+":
        first = rows[0]
        yield Entry(first.history_date, _who(first.history_user), _("Instrument added"))
    for what, model, history in (
        (_("Instrument changed"), Instrument, rows),
        (_("Joint changed"), NeckJoint, joint_rows),
    ):
        for before, after in pairwise(history):
            alterations = [
                Alteration(
                    labels[name],
                    _words(column, getattr(before, column.attname), unit, names),
                    _words(column, getattr(after, column.attname), unit, names),
                )
                for name, column in _columns(model).items()
                if getattr(before, column.attname) != getattr(after, column.attname)
            ]
            if alterations:
                by = _who(after.history_user)
                yield Entry(after.history_date, by, what, alterations=alterations)


def _history(model: type[models.Model], **of: int) -> list[Any]:
    """A record's rows of history, oldest first."""
    rows = model.history.filter(**of)  # type: ignore[attr-defined]
    return list(rows.select_related("history_user").order_by("history_date", "history_id"))


def _columns(model: type[models.Model]) -> Mapping[str, Any]:
    """The fields that a person changes."""
    silent = {"id", "instrument", "version", "created_at", "form_uuid"}
    return {column.name: column for column in model._meta.fields if column.name not in silent}


def _labels(model: type[models.Model], form: type[Any]) -> dict[str, str]:
    """Fields by the names that the form gives them."""
    return {
        name: str(shown.label)
        if (shown := form.base_fields.get(name)) is not None and shown.label
        else str(capfirst(column.verbose_name))
        for name, column in _columns(model).items()
    }


def _words(column: Any, value: Any, unit: LengthUnit, names: Mapping[int, str]) -> str:
    """A stored value as people read it, lengths in the reader's unit."""
    if value is None or value == "" or value == []:
        return str(EMPTY)
    if column.name == "customer":
        return names.get(value, str(EMPTY))
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list):
        measured = column.name.endswith("_mm")
        return ", ".join(length_words(item, unit) if measured else str(item) for item in value)
    if column.name.endswith("_mm"):
        return length_words(value, unit)
    if column.name.endswith("_deg"):
        return angle_words(value)
    return str(dict(column.flatchoices).get(value, value))


# The facts that rest on it


def _check_ins(instrument: Instrument) -> Iterator[Entry]:
    found = instrument.check_ins.select_related(
        "measured_by", "voided_by", "replaces", "imported_in__imported_by"
    )
    for check_in in found:
        what = _check_in_words(check_in)
        address = reverse("check-in", kwargs={"uuid": check_in.uuid})
        run = check_in.imported_in
        by = _who(run.imported_by if run else check_in.measured_by)
        done = _recorded(check_in, what)
        yield Entry(check_in.recorded_at, by, done, address=address)
        yield from _voided(check_in, what, address)


def _check_in_words(check_in: CheckIn) -> str:
    return _("Check-in %(stage)s of %(day)s") % {
        "stage": check_in.get_stage_display(),
        "day": day_words(check_in.measured_at),
    }


def _recorded(check_in: CheckIn, what: str) -> str:
    run, replaces = check_in.imported_in, check_in.replaces is not None
    if run is None:
        if replaces:
            return _("%(fact)s recorded in place of one voided") % {"fact": what}
        return _("%(fact)s recorded") % {"fact": what}
    words = {"fact": what, "file": run.file_name}
    if replaces:
        return _("%(fact)s imported from %(file)s in place of one voided") % words
    return _("%(fact)s imported from %(file)s") % words


def _voided(fact: Voidable, what: str, address: str) -> Iterator[Entry]:
    if fact.voided_at is not None:
        done = _("%(fact)s voided") % {"fact": what}
        yield Entry(fact.voided_at, _who(fact.voided_by), done, fact.void_reason, address)


def _works(instrument: Instrument, unit: LengthUnit) -> Iterator[Entry]:
    for work in instrument.works.select_related("done_by", "voided_by", "imported_in__imported_by"):
        address = reverse("work", kwargs={"uuid": work.uuid})
        what = _("Work “%(words)s”") % {"words": work_words(work, unit)}
        run = work.imported_in
        by = _who(run.imported_by if run else work.done_by)
        done = _("%(fact)s logged") % {"fact": what}
        if run:
            done = _("%(fact)s imported from %(file)s") % {"fact": what, "file": run.file_name}
        yield Entry(work.recorded_at, by, done, address=address)
        yield from _voided(work, what, address)


def _seen(instrument: Instrument) -> Iterator[Entry]:
    """Photos and damage."""
    of_its = {"check_in__instrument": instrument}
    people = ("check_in", "voided_by")
    for photo in Photo.objects.filter(**of_its).select_related("added_by", *people):
        address = reverse("check-in", kwargs={"uuid": photo.check_in.uuid})
        what = _("Photo “%(words)s”") % {"words": photo.words} if photo.words else _("Photo")
        done = _("%(fact)s added") % {"fact": what}
        yield Entry(photo.added_at, _who(photo.added_by), done, address=address)
        yield from _voided(photo, what, address)
    for damage in Damage.objects.filter(**of_its).select_related("noted_by", *people):
        address = reverse("check-in", kwargs={"uuid": damage.check_in.uuid})
        what = _("Damage “%(words)s”") % {"words": damage}
        done = _("%(fact)s noted") % {"fact": what}
        yield Entry(damage.noted_at, _who(damage.noted_by), done, address=address)
        yield from _voided(damage, what, address)


def _reports(instrument: Instrument) -> Iterator[Entry]:
    for report in instrument.reports.select_related("issued_by").defer("content"):
        address = reverse("report", kwargs={"number": report.number})
        what = _("Service report %(number)s issued") % {"number": report.number}
        yield Entry(report.issued_at, _who(report.issued_by), what, address=address)
