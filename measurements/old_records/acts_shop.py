"""The act of taking in an export of a whole shop: everything that was planned, written in batches."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from instruments.models import Instrument, NeckJoint
from measurements.models import ActionReading, CheckIn, ImportRun, Work
from measurements.old_records.acts_bulk import BATCH, counts_of, create, reason_of
from shop.models import Customer

Place = tuple[int, str]  # fret, side


@dataclass
class ShopPlan:
    """New records, each with all its figures; references among them are set on the objects."""

    customers: list[Customer] = field(default_factory=list)
    instruments: list[Instrument] = field(default_factory=list)
    joints: list[NeckJoint] = field(default_factory=list)
    check_ins: list[tuple[CheckIn, dict[Place, float]]] = field(default_factory=list)
    works: list[Work] = field(default_factory=list)
    replaced: dict[int, CheckIn] = field(
        default_factory=dict
    )  # id() of a new one → what it replaces

    @property
    def is_empty(self) -> bool:
        return not (self.customers or self.instruments or self.check_ins or self.works)


@transaction.atomic
def import_shop(plan: ShopPlan, run: ImportRun) -> list[int]:
    """Write a whole plan; returns the keys of the instruments touched. ``run`` is saved with it."""
    run.save()
    reason = reason_of(run)
    _create_dated(plan.customers, Customer, reason)
    for instrument in plan.instruments:
        instrument.customer = instrument.customer  # its key is known only now
    _create_dated(plan.instruments, Instrument, reason)
    for joint in plan.joints:
        joint.instrument = joint.instrument
    create(plan.joints, NeckJoint, reason)
    _write_check_ins(plan, run)
    _write_facts(plan.works, run)
    run.changes = {
        "customers": [customer.pk for customer in plan.customers],
        "instruments": [instrument.pk for instrument in plan.instruments],
        "joints": [joint.pk for joint in plan.joints],
        "filled": [],
    }
    run.counts |= counts_of(run)
    run.save()
    touched = {instrument.pk for instrument in plan.instruments}
    touched |= {fact.instrument_id for fact, _ in plan.check_ins}
    return sorted(touched | {work.instrument_id for work in plan.works})


def _create_dated(objects: list[Any], model: type[Any], reason: str) -> None:
    """Create records that keep the moment at which they were first made."""
    moments = [record.created_at for record in objects]
    create(objects, model, reason)
    _put_back(objects, moments, model, "created_at")


def _write_check_ins(plan: ShopPlan, run: ImportRun) -> None:
    check_ins = [check_in for check_in, _ in plan.check_ins]
    _write_facts(check_ins, run)
    corrections = [check_in for check_in in check_ins if id(check_in) in plan.replaced]
    for check_in in corrections:
        check_in.replaces = plan.replaced[id(check_in)]
    CheckIn.objects.bulk_update(corrections, ["replaces"], batch_size=BATCH)
    readings = [
        ActionReading(check_in=check_in, fret=fret, side=side, action_mm=value)
        for check_in, actions in plan.check_ins
        for (fret, side), value in sorted(actions.items())
    ]
    ActionReading.objects.bulk_create(readings, batch_size=5 * BATCH)


def _write_facts(facts: Sequence[CheckIn | Work], run: ImportRun) -> None:
    if not facts:
        return
    model = type(facts[0])
    for fact in facts:
        fact.instrument = fact.instrument
        fact.imported_in = run
    moments = [fact.recorded_at for fact in facts]
    model._default_manager.bulk_create(facts, batch_size=BATCH)  # type: ignore[arg-type]
    _put_back(facts, moments, model, "recorded_at")


def _put_back(
    objects: Sequence[Any], moments: Sequence[datetime | None], model: type[Any], name: str
) -> None:
    """Django dates a new row by its own clock; what an export says is put in its place.

    In plain SQL: the ORM's way to write another value to each row takes ten times as long.
    """
    field = model._meta.get_field(name)
    quote = connection.ops.quote_name
    table, column, key = (
        quote(each) for each in (model._meta.db_table, field.column, model._meta.pk.column)
    )
    values = [
        (field.get_db_prep_save(moment, connection), record.pk)
        for record, moment in zip(objects, moments, strict=True)
        if moment is not None
    ]
    if values:
        with connection.cursor() as cursor:
            # Every name in it is a model's own.
            cursor.executemany(f"UPDATE {table} SET {column} = %s WHERE {key} = %s", values)  # noqa: S608
