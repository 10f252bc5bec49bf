"""Undoing a whole import: what it made goes, what it filled in is put back, or it is said why not."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, pgettext
from simple_history.utils import bulk_update_with_history

from instruments.models import Instrument, NeckJoint
from measurements.models import (
    ActionReading,
    Booking,
    CheckIn,
    Contact,
    Damage,
    ImportRun,
    Photo,
    ServiceReport,
    Work,
    WorkKind,
)
from measurements.old_records.acts_bulk import BATCH, reason_of
from measurements.old_records.stored import chunks, same
from shop.figures import day_words, localized
from shop.models import Customer, Erasure, User

#: What belongs to a record and goes with it, by the name of the relation.
GOES_ALONG = {
    CheckIn: {"action_readings", "replaced_by"},
    Work: set(),
    Instrument: {"joint", "outlook", "check_ins", "works"},
    Customer: {"instruments"},
}
#: What is said of records that stand in the way, by their model.
RESTS: dict[type[Any], str] = {
    Photo: gettext_noop("A photo belongs to an imported check-in, %(record)s."),
    Damage: gettext_noop("Noted damage belongs to an imported check-in, %(record)s."),
}
OTHER_RESTS = gettext_noop("Another record (%(kind)s) belongs to an imported check-in, %(record)s.")
#: Why a record stays: what else points at it.
HELD: dict[type[Any], str] = {
    CheckIn: gettext_noop("has other check-ins"),
    Work: gettext_noop("has other work"),
    Booking: gettext_noop("has other bookings"),
    Contact: gettext_noop("has other contacts"),
    ServiceReport: gettext_noop("has other service reports"),
    Instrument: gettext_noop("has other instruments"),
    Erasure: gettext_noop("has other erasures"),
}
MODELS: dict[str, type[Any]] = {"instrument": Instrument, "neckjoint": NeckJoint}


@dataclass
class UndoPlan:
    """What undoing an import would do. With ``blocks`` it does nothing: they say why it cannot."""

    run: ImportRun
    blocks: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    instruments: list[Instrument] = field(default_factory=list)
    customers: list[Customer] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    restored: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    touched: list[int] = field(default_factory=list)
    back: dict[type[Any], dict[int, dict[str, Any]]] = field(default_factory=dict)


def plan_undo(run: ImportRun) -> UndoPlan:
    """Say what would go, be put back, stay, or stand in the way; changes nothing."""
    plan = UndoPlan(run)
    plan.touched = _touched(run)
    plan.counts = {
        "check_ins": run.check_ins.count(),
        "readings": ActionReading.objects.filter(check_in__imported_in=run).count(),
        "works": run.works.count(),
    }
    plan.blocks = [*_blocks(run, plan.touched)]
    plan.instruments = _what_goes(plan, Instrument, set())
    _what_is_put_back(plan)
    going = {instrument.pk for instrument in plan.instruments}
    for pk, names in plan.back.get(Instrument, {}).items():
        if "customer_id" in names:
            going.add(pk)
    plan.customers = _what_goes(plan, Customer, going)
    return plan


@transaction.atomic
def undo_import(run: ImportRun, *, by: User) -> list[int]:
    """Undo an import; returns the keys of the instruments touched that remain.

    Raises ``ValidationError`` when it was undone before or later facts rest on it.
    """
    run = ImportRun.objects.select_for_update().get(pk=run.pk)
    if run.undone_at is not None:
        raise ValidationError(undone_before(run))
    touched = _touched(run)
    for chunk in chunks(touched):  # one writer at a time
        list(Instrument.objects.select_for_update().filter(pk__in=chunk).values_list("pk"))
    plan = plan_undo(run)
    if plan.blocks:
        raise ValidationError(plan.blocks)
    _put_back(plan)
    run.check_ins.update(replaces=None)
    run.works.all().delete()
    run.check_ins.all().delete()
    gone = {instrument.pk for instrument in plan.instruments}
    for model, records in ((Instrument, plan.instruments), (Customer, plan.customers)):
        for chunk in chunks([record.pk for record in records]):
            model._default_manager.filter(pk__in=chunk).delete()
    run.undone_at, run.undone_by = timezone.now(), by
    run.save(update_fields=["undone_at", "undone_by"])
    return [key for key in touched if key not in gone]


def undone_before(run: ImportRun) -> str:
    """That an import cannot be undone twice."""
    assert run.undone_at is not None  # noqa: S101  asked only of one that was undone
    return _("This import was undone before, on %(day)s.") % {"day": day_words(run.undone_at)}


def _touched(run: ImportRun) -> list[int]:
    keys = set(run.check_ins.values_list("instrument_id", flat=True))
    keys |= set(run.works.values_list("instrument_id", flat=True))
    keys |= set(run.changes.get("instruments", []))
    joints = [row["pk"] for row in run.changes.get("filled", []) if row["model"] == "neckjoint"]
    keys |= {row["pk"] for row in run.changes.get("filled", []) if row["model"] == "instrument"}
    for chunk in chunks(joints):
        keys |= set(NeckJoint.objects.filter(pk__in=chunk).values_list("instrument_id", flat=True))
    return sorted(keys)


def _blocks(run: ImportRun, touched: list[int]) -> Iterator[str]:
    """What later facts rest on this import, in words."""
    for chunk in chunks(touched):
        reports = ServiceReport.objects.filter(
            instrument__in=chunk, issued_at__gte=run.imported_at
        ).select_related("instrument")
        for report in reports:
            yield _("Service report %(number)s of %(tag)s was issued since.") % {
                "number": report.number,
                "tag": report.instrument.tag,
            }
    for model in (CheckIn, Work):
        yield from _resting_on(run, model)
    for work in _worked_since(run):
        what = f"{work.instrument.tag}, {work.get_kind_display()}, {day_words(work.done_at)}"
        yield _("Work logged after it: %(work)s. Void that work first.") % {"work": what}
    corrected = (
        CheckIn.objects.filter(replaces__imported_in=run)
        .exclude(imported_in=run)
        .select_related("instrument")
    )
    for check_in in corrected:
        yield _("A correction replaces an imported check-in: %(record)s.") % {"record": check_in}


def _worked_since(run: ImportRun) -> QuerySet[Work]:
    """Work logged after the import that a tilt or check-ins of the import came before."""
    since = Q(recorded_at__gt=run.imported_at) | Q(imported_in__imported_at__gt=run.imported_at)
    read_before = CheckIn.objects.standing().filter(
        imported_in=run, instrument=OuterRef("instrument"), measured_at__lte=OuterRef("done_at")
    )
    turned = Q(kind=WorkKind.JOINT, instrument__in=_turned(run))
    return (
        Work.objects.standing()
        .filter(since)
        .filter(turned | Exists(read_before))
        .exclude(imported_in=run)
        .select_related("instrument")
        .order_by("instrument__tag", "done_at", "pk")
    )


def _resting_on(run: ImportRun, model: type[Any]) -> Iterator[str]:
    """Photos, damage and whatever else points at the check-ins or the work of the import."""
    for relation in model._meta.related_objects:
        if relation.get_accessor_name() in GOES_ALONG[model]:
            continue
        name = relation.field.name
        found = relation.related_model._default_manager.filter(**{f"{name}__imported_in": run})
        for one in found.select_related(name)[:20]:
            words = RESTS.get(relation.related_model, OTHER_RESTS)
            kind = relation.related_model._meta.verbose_name
            yield _(words) % {"record": getattr(one, name), "kind": kind}


def _turned(run: ImportRun) -> set[int]:
    """Instruments whose tilt rests on this import."""
    turned = set(run.works.filter(kind=WorkKind.JOINT).values_list("instrument_id", flat=True))
    joints = [
        row["pk"]
        for row in run.changes.get("filled", [])
        if row["model"] == "neckjoint" and "tilt_now_deg" in row["before"]
    ]
    return turned | set(
        NeckJoint.objects.filter(pk__in=joints).values_list("instrument_id", flat=True)
    )


def _what_goes(plan: UndoPlan, model: type[Any], going: set[int]) -> list[Any]:
    """The records of one kind that the import made and nothing else rests on; the others stay."""
    made = plan.run.changes.get(f"{model._meta.model_name}s", [])
    held = _held_up(model, made, plan.run, going)
    edited = _edited_since(model, made, reason_of(plan.run))
    goes = []
    for chunk in chunks(made):
        for record in model._default_manager.filter(pk__in=chunk):
            why = held.get(record.pk) or (_("edited since") if record.pk in edited else "")
            if why:
                plan.kept.append(f"{record}: {why}")
            else:
                goes.append(record)
    return goes


def _held_up(model: type[Any], keys: list[int], run: ImportRun, going: set[int]) -> dict[int, str]:
    """Why records cannot go: what else points at them that does not go along.

    ``going`` are the instruments that go, or will have no customer again.
    """
    held: dict[int, str] = {}
    for relation in model._meta.related_objects:
        accessor, name = relation.get_accessor_name(), relation.field.name
        if accessor in ("joint", "outlook", "access_records"):
            continue
        for chunk in chunks(keys):
            found = relation.related_model._default_manager.filter(**{f"{name}__in": chunk})
            resting = found.values_list("pk", f"{name}_id")
            if accessor in ("check_ins", "works"):
                resting = resting.exclude(imported_in=run)
            for pk, key in resting:
                if accessor != "instruments" or pk not in going:
                    held.setdefault(key, _why_held(relation.related_model))
    return held


def _why_held(model: type[Any]) -> str:
    if model in HELD:
        return _(HELD[model])
    return _("has other %(kind)s") % {"kind": model._meta.verbose_name_plural}


def _edited_since(model: type[Any], keys: list[int], reason: str) -> set[int]:
    edited: set[int] = set()
    for chunk in chunks(keys):
        later = model.history.filter(id__in=chunk).exclude(history_change_reason=reason)
        edited |= set(later.values_list("id", flat=True))
    return edited


def _what_is_put_back(plan: UndoPlan) -> None:
    """Figures the import filled in: back to what they were where nobody changed them since."""
    voided = _voided_turns(plan.run)
    gone = {instrument.pk for instrument in plan.instruments}
    rows = plan.run.changes.get("filled", [])
    held = _records([row["pk"] for row in rows if row["model"] == "instrument"], Instrument)
    held |= _records([row["pk"] for row in rows if row["model"] == "neckjoint"], NeckJoint)
    for row in rows:
        model = MODELS[row["model"]]
        record: Any = held.get((model, row["pk"]))
        instrument = record.instrument if isinstance(record, NeckJoint) else record
        if instrument is None or instrument.pk in gone:
            continue
        for name, before in row["before"].items():
            after = row["after"][name]
            if name == "tilt_now_deg":
                after -= voided.get(instrument.pk, 0.0)
            held_now = getattr(record, name)
            said = {"tag": instrument.tag, "what": _words(model, name)}
            if same(held_now, after):
                words = _("%(tag)s: %(what)s back to %(value)s")
                plan.restored.append(words % {**said, "value": _said(name, before)})
                plan.back.setdefault(model, {}).setdefault(record.pk, {})[name] = before
            else:
                words = _("%(tag)s: %(what)s was changed since and stays %(value)s")
                plan.left.append(words % {**said, "value": _said(name, held_now)})


def _records(keys: list[int], model: type[Any]) -> dict[tuple[type[Any], int], Any]:
    related = "instrument" if model is NeckJoint else "customer"
    return {
        (model, record.pk): record
        for chunk in chunks(keys)
        for record in model._default_manager.filter(pk__in=chunk).select_related(related)
    }


def _voided_turns(run: ImportRun) -> dict[int, float]:
    """By how much voiding imported turns has set each joint back already. [°]"""
    back: dict[int, float] = {}
    for work in run.works.filter(kind=WorkKind.JOINT, voided_at__isnull=False):
        change = (work.tilt_to_deg or 0.0) - (work.tilt_from_deg or 0.0)
        back[work.instrument_id] = back.get(work.instrument_id, 0.0) + change
    return back


def _words(model: type[Any], attname: str) -> str:
    return str(model._meta.get_field(attname.removesuffix("_id")).verbose_name)


def _said(name: str, value: Any) -> str:
    if name == "customer_id":
        found = Customer.objects.filter(pk=value).first()
        return str(found) if found else pgettext("customer", "none")
    if value is None:
        return _("empty")
    return localized(f"{value:.6g}") if isinstance(value, float) else str(value)


def _put_back(plan: UndoPlan) -> None:
    reason = f"undone {reason_of(plan.run)}"
    for model, changes in plan.back.items():
        records = list(model._default_manager.filter(pk__in=changes))
        names: set[str] = set()
        for record in records:
            for name, value in changes[record.pk].items():
                setattr(record, name, value)
                names.add(name.removesuffix("_id"))
        bulk_update_with_history(
            records, model, sorted(names), batch_size=BATCH, default_change_reason=reason
        )
