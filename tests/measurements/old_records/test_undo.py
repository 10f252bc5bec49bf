"""Undoing a whole import: all of it goes and the shop is as before, or it is said what rests on it."""

from datetime import timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.utils import timezone

from instruments.models import Instrument, NeckJoint
from measurements.acts import record_check_in, record_work, void
from measurements.models import CheckIn, Damage, ImportRun, Work, WorkKind
from measurements.old_records.planning import import_file
from measurements.old_records.undo import plan_undo, undo_import
from shop.models import Customer
from tests.factories import (
    CheckInFactory,
    CustomerFactory,
    InstrumentFactory,
    ServiceReportFactory,
)
from tests.measurements.old_records.import_log import LOG, NOW
from tests.measurements.old_records.shop_contents import contents

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def held():
    """An instrument of the log that is on record before it, with other figures."""
    return InstrumentFactory(
        tag="k7", customer=None, built_year=None, scale_length_mm=630, joint__tilting=True
    )


def taken_in(owner, text=LOG) -> ImportRun:
    report = import_file(text.encode(), file_name="log.csv", by=owner)
    assert report.problems == []
    assert report.run is not None
    return report.run


def test_an_import_says_who_took_in_what(owner):
    run = taken_in(owner)
    assert (run.file_name, run.imported_by, len(run.digest)) == ("log.csv", owner, 64)
    assert run.counts == {
        "rows": 4,
        "check_ins": 4,
        "readings": 16,
        "works": 2,
        "customers": 2,
        "instruments": 2,
        "filled": 0,
    }
    assert set(CheckIn.objects.values_list("imported_in", flat=True)) == {run.pk}
    assert set(Work.objects.values_list("imported_in", flat=True)) == {run.pk}


def test_the_same_file_twice_is_one_import(owner):
    taken_in(owner)
    assert import_file(LOG.encode(), by=owner).run is None
    assert ImportRun.objects.count() == 1


def test_undone_the_shop_is_as_before(owner, held):
    CustomerFactory(name="Osric Penn")
    before = contents()
    run = taken_in(owner)
    assert contents() != before
    plan = plan_undo(run)
    assert plan.blocks == plan.kept == plan.left == []
    assert [i.tag for i in plan.instruments] == ["B2"]
    assert [c.name for c in plan.customers] == ["Ines Marlow"]
    assert "k7: scale length back to 630" in plan.restored
    assert "k7: customer back to none" in plan.restored
    assert plan.counts == {"check_ins": 4, "readings": 16, "works": 2}
    assert undo_import(run, by=owner) == [held.pk]
    assert contents() == before
    run.refresh_from_db()
    assert (run.undone_by, run.undone_at) == (owner, NOW)
    assert held.history.first().history_change_reason == f"undone import {run.uuid}"
    with pytest.raises(ValidationError, match="was undone before, on 25 November 2026"):
        undo_import(run, by=owner)


def test_what_was_undone_can_be_imported_again(owner):
    undo_import(taken_in(owner), by=owner)
    taken_in(owner)
    assert CheckIn.objects.count() == 4


def test_a_figure_changed_since_stays(owner, held):
    run = taken_in(owner)
    Instrument.objects.filter(pk=held.pk).update(scale_length_mm=628)
    plan = plan_undo(run)
    assert plan.left == ["k7: scale length was changed since and stays 628"]
    undo_import(run, by=owner)
    held.refresh_from_db()
    assert (held.scale_length_mm, held.customer, held.built_year) == (628, None, None)


def test_an_instrument_that_other_readings_rest_on_stays_and_so_does_its_customer(owner):
    run = taken_in(owner)
    CheckInFactory(instrument=Instrument.objects.get(tag="B2"))
    plan = plan_undo(run)
    assert plan.kept == [
        "B2: has other check-ins",
        "Osric Penn: has other instruments",
    ]
    undo_import(run, by=owner)
    assert list(Instrument.objects.values_list("tag", flat=True)) == ["B2"]
    assert list(Customer.objects.values_list("name", flat=True)) == ["Osric Penn"]
    assert CheckIn.objects.count() == 1


def test_a_customer_edited_since_stays(owner):
    run = taken_in(owner)
    person = Customer.objects.get(name="Osric Penn")
    person.phone = "01234 567890"
    person.save()
    assert plan_undo(run).kept == ["Osric Penn: edited since"]
    undo_import(run, by=owner)
    assert list(Customer.objects.values_list("name", flat=True)) == ["Osric Penn"]


def _report(owner, instrument):
    ServiceReportFactory(instrument=instrument, number=7, issued_at=timezone.now())


def _correction(owner, instrument):
    wrong = instrument.check_ins.first()
    record_check_in(
        instrument=instrument,
        measured_at=wrong.measured_at,
        by=owner,
        stage=wrong.stage,
        actions_mm={},
        replaces=wrong,
        reason="typed wrongly",
        relief_mm=0.2,
    )


def _damage(owner, instrument):
    check_in = instrument.check_ins.first()
    Damage.objects.create(check_in=check_in, place="top", words="crack", noted_by=owner)


def _turn(owner, instrument):
    record_work(
        instrument=instrument,
        kind=WorkKind.JOINT,
        done_at=timezone.now(),
        by=owner,
        turns=0.25,
        tilt_to_deg=1.0,
    )


def _saddle(owner, instrument):
    """On the instrument of the log that no imported work is about."""
    record_work(
        instrument=Instrument.objects.get(tag="B2"),
        kind=WorkKind.SADDLE,
        done_at=timezone.now(),
        by=owner,
        saddle_treble_to_mm=3.0,
    )


@pytest.mark.parametrize(
    ("later", "why"),
    [
        (_report, "Service report 7 of K7 was issued since."),
        (_correction, "A correction replaces an imported check-in: K7 as received 2015-03-04."),
        (_damage, "Noted damage belongs to an imported check-in, K7 as received 2015-03-04."),
        (_turn, "Work logged after it: K7, neck angle, 25 November 2026. Void that work first."),
        (_saddle, "Work logged after it: B2, saddle, 25 November 2026. Void that work first."),
    ],
)
def test_it_refuses_when_later_facts_rest_on_it(owner, clock, later, why):
    run = taken_in(owner)
    clock.shift(timedelta(hours=1))
    later(owner, Instrument.objects.get(tag="K7"))
    before = contents()
    assert plan_undo(run).blocks == [why]
    with pytest.raises(ValidationError, match=why[:20]):
        undo_import(run, by=owner)
    assert contents() == before
    run.refresh_from_db()
    assert run.undone_at is None


def test_with_the_later_work_voided_it_can_be_undone(owner, clock):
    run = taken_in(owner)
    clock.shift(timedelta(hours=1))
    _saddle(owner, None)
    void(Work.objects.latest("pk"), by=owner, reason="another guitar")
    assert plan_undo(run).blocks == []
    undo_import(run, by=owner)
    assert not CheckIn.objects.exists()


def test_work_from_before_the_imported_readings_stands_in_nobodys_way(owner, clock, held):
    run = taken_in(owner)
    clock.shift(timedelta(hours=1))
    record_work(
        instrument=held,
        kind=WorkKind.SADDLE,
        done_at=run.check_ins.earliest("measured_at").measured_at - timedelta(days=1),
        by=owner,
        saddle_treble_to_mm=3.0,
    )
    assert plan_undo(run).blocks == []


def test_a_report_from_before_the_import_stands_in_nobodys_way(owner, held):
    ServiceReportFactory(instrument=held, issued_at=timezone.now() - timedelta(days=1))
    undo_import(taken_in(owner), by=owner)
    assert not CheckIn.objects.exists()


def test_imported_turns_voided_since_are_not_taken_back_twice(owner, held):
    run = taken_in(owner)
    void(Work.objects.last(), by=owner, reason="never done")
    undo_import(run, by=owner)
    assert NeckJoint.objects.get(instrument=held).tilt_now_deg == 0
