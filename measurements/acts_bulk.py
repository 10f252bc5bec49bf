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
from measurements.importing_rows import Row
from measurements.models import ActionReading, CheckIn, Work, WorkKind
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
def import_rows(plans: Sequence[InstrumentPlan]) -> list[int]:
    """Write customers, instruments with their joints, check-ins and turns; returns the keys touched."""
    _write_customers(plans)
    _write_instruments(plans)
    for batch in _batches(((plan, row) for plan in plans for row in plan.rows), BATCH):
        _write_check_ins(batch)
    return [plan.instrument.pk for plan in plans]


def customers_by_name() -> dict[str, Customer]:
    """Customers by their name without regard to case; of two with one name, the older."""
    found = Customer.objects.order_by("-pk").only("pk", "name")
    return {customer.name.casefold(): customer for customer in found}


def _write_customers(plans: Sequence[InstrumentPlan]) -> None:
    wanted = {
        plan.customer_name.casefold(): plan.customer_name for plan in plans if plan.customer_name
    }
    if not wanted:
        return
    known = customers_by_name()
    missing = [Customer(name=name) for folded, name in wanted.items() if folded not in known]
    _create(missing, Customer)
    known |= {customer.name.casefold(): customer for customer in missing}
    for plan in plans:
        if plan.customer_name:
            plan.instrument.customer = known[plan.customer_name.casefold()]


def _write_instruments(plans: Sequence[InstrumentPlan]) -> None:
    new = [plan.instrument for plan in plans if plan.is_new]
    changed = [
        plan.instrument
        for plan in plans
        if not plan.is_new and (plan.instrument_fields or plan.customer_name)
    ]
    fields = {name for plan in plans for name in plan.instrument_fields} | {"customer"}
    _create(new, Instrument)
    _update(changed, Instrument, fields)
    for plan in plans:
        plan.joint.instrument = plan.instrument
    new_joints = [plan.joint for plan in plans if plan.joint.pk is None]
    changed_joints = [
        plan.joint for plan in plans if plan.joint.pk is not None and plan.joint_fields
    ]
    joint_fields = {name for plan in plans for name in plan.joint_fields}
    _create(new_joints, NeckJoint)
    _update(changed_joints, NeckJoint, joint_fields)


def _create(objects: list[Any], model: type[Any]) -> None:
    if objects:
        bulk_create_with_history(objects, model, batch_size=BATCH, default_change_reason=REASON)


def _update(objects: list[Any], model: type[Any], fields: Iterable[str]) -> None:
    """Each object holds all its figures, so writing the same fields of all changes only what differs."""
    if objects:
        bulk_update_with_history(
            objects, model, sorted(fields), batch_size=BATCH, default_change_reason=REASON
        )


def _write_check_ins(batch: list[tuple[InstrumentPlan, Row]]) -> None:
    check_ins = [
        CheckIn(
            uuid=row.uuid,
            instrument=plan.instrument,
            measured_at=row.measured_at,
            stage=row.stage,
            replaces_id=row.replaces,
            as_typed=row.typed,
            notes=row.notes,
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
            )
            for plan, row in batch
            if row.turns is not None
        ]
    )


def _batches(items: Iterable[T], size: int) -> Iterator[list[T]]:
    source = iter(items)
    while batch := list(islice(source, size)):
        yield batch
