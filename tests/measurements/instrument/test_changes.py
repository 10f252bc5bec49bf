"""Who changed what of an instrument: every edit, fact, correction and report, with who, when and why."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from measurements.acts import record_check_in, record_work, void
from measurements.forecast.refreshing import refresh
from measurements.instrument.changes import changes_of
from measurements.models import ImportRun
from measurements.reports.content import issue
from shop.models import Customer
from tests.conftest import signed_in
from tests.editing import opened
from tests.factories import (
    CheckInFactory,
    CustomerFactory,
    InstrumentFactory,
    UserFactory,
    WorkFactory,
)

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 11, 2, 12, tzinfo=UTC)
ACTIONS = {(12, "bass"): 2.4}


def page_of(client, instrument, **query) -> str:
    response = client.get(reverse("instrument-changes", kwargs={"tag": instrument.tag}), query)
    assert response.status_code == 200
    return response.content.decode()


def alterations(instrument, unit="mm"):
    return [
        (row.label, row.before, row.after)
        for entry in changes_of(instrument, unit)
        for row in entry.alterations
    ]


def test_an_edit_is_listed_field_by_field_with_who(at_bench, at_counter):
    old, new = CustomerFactory(name="Ann Other"), CustomerFactory(name="Bea Tate")
    instrument = InstrumentFactory(
        customer=old, scale_length_mm=645.2, joint__tilting=True, joint__one_way=True
    )
    address = reverse("instrument-edit", kwargs={"tag": instrument.tag})
    typed = {"customer": new.code, "scale_length_mm": "650", "set_frets": "1 7 12", "notes": "dry"}
    sent = opened(at_bench, address) | typed | {"joint-tilt_now_deg": "0.5", "joint-shims_mm": "1"}
    del sent["joint-one_way"]
    assert at_bench.post(address, sent).status_code == 302
    assert set(alterations(instrument)) == {
        ("Customer", "Ann Other", "Bea Tate"),
        ("Scale length", "645.20 mm", "650.00 mm"),
        ("Frets measured", "empty", "1, 7, 12"),
        ("Notes", "empty", "dry"),
        ("Tilt now", "0.00°", "0.50°"),
        ("May only be tilted back", "yes", "no"),
        ("Shims in stock", "empty", "1.00 mm"),
    }
    people = {entry.what: entry.who for entry in changes_of(instrument, "mm")}
    assert people["Instrument changed"] == people["Joint changed"] != ""
    assert "Scale length" in page_of(at_counter, instrument)


def test_lengths_are_in_the_readers_unit():
    instrument = InstrumentFactory(scale_length_mm=645.2)
    instrument.scale_length_mm = 635.0
    instrument.save()
    assert alterations(instrument, "in") == [("Scale length", "25.402 in", "25.000 in")]


def test_a_correction_shows_both_check_ins_who_and_why(tech, owner, at_counter):
    instrument = InstrumentFactory()
    wrong = record_check_in(
        instrument=instrument, measured_at=NOON, by=tech, stage="received", actions_mm=ACTIONS
    )
    right = record_check_in(
        instrument=instrument,
        measured_at=NOON,
        by=owner,
        stage="received",
        actions_mm=ACTIONS,
        replaces=wrong,
        reason="gauge was <b>upside down</b>",
    )
    entries = {entry.what: entry for entry in changes_of(instrument, "mm")}
    name = "Check-in as received of 2 November 2026"
    assert entries[f"{name} voided"].why == "gauge was <b>upside down</b>"
    assert entries[f"{name} voided"].who == owner.get_short_name()
    assert entries[f"{name} recorded"].who == tech.get_short_name()
    assert str(right.uuid) in entries[f"{name} recorded in place of one voided"].address
    assert "&lt;b&gt;upside down" in page_of(at_counter, instrument)


def test_work_logged_and_voided_moves_the_joint_there_and_back(tech):
    instrument = InstrumentFactory(joint__tilting=True)
    work = record_work(
        instrument=instrument, kind="joint", done_at=NOON, by=tech, turns=0.5, tilt_to_deg=0.41
    )
    void(work, by=tech, reason="never done")
    whats = [entry.what for entry in changes_of(instrument, "mm")]
    assert sum(what.startswith("Work “") and what.endswith("” logged") for what in whats) == 1
    assert sum(what.startswith("Work “") and what.endswith("” voided") for what in whats) == 1
    assert alterations(instrument) == [
        ("Tilt now", "0.41°", "0.00°"),
        ("Tilt now", "0.00°", "0.41°"),
    ]


def test_reports_imports_and_what_no_one_signed_are_listed(owner, at_desk):
    instrument = InstrumentFactory()
    run = ImportRun.objects.create(file_name="old log.csv", digest="0", imported_by=owner)
    CheckInFactory(instrument=instrument, imported_in=run)
    WorkFactory(instrument=instrument, done_by=None)
    refresh()
    report = issue(instrument, by=owner)
    page = page_of(at_desk, instrument)
    assert f"Service report {report.number} issued" in page
    assert "imported from old log.csv" in page
    assert "not known" in page
    assert "Instrument added" in page


def test_the_newest_is_first_and_long_lists_have_pages(at_desk):
    instrument = InstrumentFactory()
    for number in range(60):
        instrument.serial = str(number)
        instrument.save()
    first, second = page_of(at_desk, instrument), page_of(at_desk, instrument, page="2")
    assert "<bdi>58</bdi> → <bdi>59</bdi>" in first
    assert "<bdi>0</bdi> → <bdi>1</bdi>" in second
    assert "Page 1 of 2" in first


def test_any_number_of_changes_takes_the_same_queries(django_assert_num_queries):
    few, many = InstrumentFactory(), InstrumentFactory()
    for instrument, times in ((few, 1), (many, 6)):
        for number in range(times):
            instrument.serial, instrument.customer = str(number), CustomerFactory()
            instrument.save()
            CheckInFactory(instrument=instrument, measured_by=UserFactory())
            WorkFactory(instrument=instrument, done_by=UserFactory())
    assert Customer.objects.count() > 6
    for instrument in (few, many):
        with django_assert_num_queries(8):
            changes_of(instrument, "mm")


def test_the_instruments_page_leads_there(tech):
    instrument = InstrumentFactory()
    page = signed_in(tech).get(reverse("instrument", kwargs={"tag": instrument.tag}))
    assert f"/instruments/{instrument.tag}/changes/" in page.content.decode()
