"""Acts on many rows at once, for an import: the same facts as ``measurements.acts``, written in batches.

Every value has been checked before it comes here, and the database's own constraints check it again.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, TypeVar

from django.db import transaction
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from instruments.models import Instrument, NeckJoint
from measurements.models import ActionReading, CheckIn, ImportRun, Work, WorkKind
from measurements.old_records.rows import Row
from shop.models import Customer

BATCH = 1000
REASON = "import"
T = TypeVar("T")


@dataclass
class InstrumentPlan:
    """What an import does to one instrument: ``rows`` are its new check-ins."""

    instrument: Instrument
    joint: NeckJoint
    rows: list[Row]
    customer_name: str = ""
    instrument_fields: set[str] = field(default_factory=set)
    joint_fields: set[str] = field(default_factory=set)

    @property
    def is_new(self) -> bool:
        return self.instrument.pk is None

    @property
    def is_updated(self) -> bool:
        changed = self.instrument_fields or self.joint_fields - {"tilt_now_deg"}
        return not self.is_new and bool(changed or self.customer_name)


@transaction.atomic
def import_rows(plans: Sequence[InstrumentPlan], run: ImportRun) -> list[int]:
    """Write customers, instruments with their joints, check-ins and turns; returns the keys touched.

    ``run`` is saved with what it made and changed, which is what undoing it goes by.
    """
    run.save()
    made: dict[str, list[int]] = {"customers": [], "instruments": [], "joints": []}
    filled: list[dict[str, Any]] = []
    made["customers"] = _write_customers(plans, reason_of(run))
    _write_instruments(plans, reason_of(run), made, filled)
    for batch in _batches(((plan, row) for plan in plans for row in plan.rows), BATCH):
        _write_check_ins(batch, run)
    run.changes = {**made, "filled": filled}
    run.counts |= counts_of(run)
    run.save()
    return [plan.instrument.pk for plan in plans]


def reason_of(run: ImportRun) -> str:
    """The reason that history keeps of every record an import made or changed."""
    return f"{REASON} {run.uuid}"


def counts_of(run: ImportRun) -> dict[str, int]:
    """How many rows of each kind an import made."""
    return {
        "check_ins": run.check_ins.count(),
        "readings": ActionReading.objects.filter(check_in__imported_in=run).count(),
        "works": run.works.count(),
        **{kind: len(run.changes[kind]) for kind in ("customers", "instruments")},
        "filled": len(run.changes["filled"]),
    }


def customers_by_name() -> dict[str, Customer]:
    """Customers by their name without regard to case; of two with one name, the older."""
    found = Customer.objects.order_by("-pk").only("pk", "name")
    return {customer.name.casefold(): customer for customer in found}


def _write_customers(plans: Sequence[InstrumentPlan], reason: str) -> list[int]:
    wanted = {
        plan.customer_name.casefold(): plan.customer_name for plan in plans if plan.customer_name
    }
    if not wanted:
        return []
    known = customers_by_name()
    missing = [Customer(name=name) for folded, name in wanted.items() if folded not in known]
    create(missing, Customer, reason)
    known |= {customer.name.casefold(): customer for customer in missing}
    for plan in plans:
        if plan.customer_name:
            plan.instrument.customer = known[plan.customer_name.casefold()]
    return [customer.pk for customer in missing]


def _write_instruments(
    plans: Sequence[InstrumentPlan],
    reason: str,
    made: dict[str, list[int]],
    filled: list[dict[str, Any]],
) -> None:
    new = [plan.instrument for plan in plans if plan.is_new]
    changed = [
        plan.instrument
        for plan in plans
        if not plan.is_new and (plan.instrument_fields or plan.customer_name)
    ]
    fields = {name for plan in plans for name in plan.instrument_fields} | {"customer"}
    create(new, Instrument, reason)
    made["instruments"] = [instrument.pk for instrument in new]
    filled += _changes(changed, Instrument, fields)
    _update(changed, Instrument, fields, reason)
    for plan in plans:
        plan.joint.instrument = plan.instrument
    new_joints = [plan.joint for plan in plans if plan.joint.pk is None]
    changed_joints = [
        plan.joint for plan in plans if plan.joint.pk is not None and plan.joint_fields
    ]
    joint_fields = {name for plan in plans for name in plan.joint_fields}
    create(new_joints, NeckJoint, reason)
    made["joints"] = [joint.pk for joint in new_joints]
    filled += _changes(changed_joints, NeckJoint, joint_fields)
    _update(changed_joints, NeckJoint, joint_fields, reason)


def create(objects: list[Any], model: type[Any], reason: str) -> None:
    if objects:
        bulk_create_with_history(objects, model, batch_size=BATCH, default_change_reason=reason)


def _update(objects: list[Any], model: type[Any], fields: Iterable[str], reason: str) -> None:
    """Each object holds all its figures, so writing the same fields of all changes only what differs."""
    if objects:
        bulk_update_with_history(
            objects, model, sorted(fields), batch_size=BATCH, default_change_reason=reason
        )


def _changes(
    objects: Sequence[Any], model: type[Any], fields: Iterable[str]
) -> Iterator[dict[str, Any]]:
    """What each of these records held in the fields about to be written, and what it will hold."""
    names = [model._meta.get_field(name).attname for name in sorted(fields)]
    for batch in _batches(objects, BATCH):
        held = model.objects.in_bulk([row.pk for row in batch])
        for row in batch:
            before = {name: getattr(held[row.pk], name) for name in names}
            after = {name: getattr(row, name) for name in names}
            differing = [name for name in names if before[name] != after[name]]
            if differing:
                yield {
                    "model": model._meta.model_name,
                    "pk": row.pk,
                    "before": {name: before[name] for name in differing},
                    "after": {name: after[name] for name in differing},
                }


def _write_check_ins(batch: list[tuple[InstrumentPlan, Row]], run: ImportRun) -> None:
    check_ins = [
        CheckIn(
            uuid=row.uuid,
            instrument=plan.instrument,
            measured_at=row.measured_at,
            stage=row.stage,
            replaces_id=row.replaces,
            as_typed=row.typed,
            notes=row.notes,
            imported_in=run,
            **row.facts,
        )
        for plan, row in batch
    ]
    CheckIn.objects.bulk_create(check_ins)
    ActionReading.objects.bulk_create(
        [
            ActionReading(check_in=check_in, fret=fret, side=side, action_mm=value)
            for check_in, (_, row) in zip(check_ins, batch, strict=True)
            for (fret, side), value in sorted(row.actions.items())
        ],
        batch_size=5 * BATCH,
    )
    Work.objects.bulk_create(
        [
            Work(
                uuid=row.work_uuid,
                instrument=plan.instrument,
                kind=WorkKind.JOINT,
                done_at=row.work_at,
                turns=row.turns,
                tilt_from_deg=row.tilt_from_deg,
                tilt_to_deg=row.tilt_to_deg,
                as_typed={"turns": row.typed["turns"]},
                imported_in=run,
            )
            for plan, row in batch
            if row.turns is not None
        ]
    )


def _batches(items: Iterable[T], size: int) -> Iterator[list[T]]:
    source = iter(items)
    while batch := list(islice(source, size)):
        yield batch
