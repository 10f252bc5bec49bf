"""``manage.py import_readings``: what a shop's log may hold, and what each refusal says."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from instruments.models import Instrument, JointKind, NeckJoint
from measurements.acts import record_check_in, void
from measurements.forecast import refreshing
from measurements.models import ActionReading, CheckIn, Outlook, Stage, Work, WorkKind
from shop.models import Customer
from tests.factories import InstrumentFactory
from tests.measurements.old_records.import_log import LOG, NOW, rows, run

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


def everything():
    """All that an import can write, for comparing before with after."""
    models = (Customer, Instrument, NeckJoint, CheckIn, ActionReading, Work, Outlook)
    history = (Customer.history.model, Instrument.history.model, NeckJoint.history.model)
    return [list(model.objects.order_by("pk").values()) for model in (*models, *history)]


def test_a_log_becomes_instruments_check_ins_and_work(tmp_path):
    out, err, failure = run(tmp_path, LOG)
    assert (err, failure) == ("", "")
    assert out.splitlines() == [
        "Rows read: 4",
        "Check-ins added: 4",
        "Already there: 0",
        "Skipped: 0",
        "Work added: 2",
        "Customers added: 2",
        "Instruments added: 2",
        "Instruments updated: 0",
    ]
    first, after, later = CheckIn.objects.filter(instrument__tag="K7")
    assert first.measured_at == datetime(2015, 3, 4, 12, 0, tzinfo=UTC)
    assert (first.bridge_rise_mm, first.humidity_pct, first.stage) == (0.6, 50, Stage.RECEIVED)
    assert (after.stage, after.bridge_rise_mm, after.notes) == (Stage.RETURNED, -1.4, "turned")
    actions = {(a.fret, a.side): a.action_mm for a in first.action_readings.all()}
    assert actions == {
        (1, "bass"): 0.5,
        (1, "treble"): 0.35,
        (12, "bass"): 2.9,
        (12, "treble"): 2.3,
    }
    k7 = Instrument.objects.get(tag="K7")
    assert (k7.customer.name, k7.built_year, k7.scale_length_mm) == ("Ines Marlow", 1998, 645.2)
    assert (k7.joint.kind, k7.joint.bolt_arm_mm, k7.joint.tilt_max_deg) == (
        JointKind.TILTING,
        70,
        2,
    )
    assert Instrument.objects.get(tag="B2").strings == "nylon"
    assert Instrument.objects.get(tag="B2").joint.kind == JointKind.GLUED
    assert later.as_typed["action_12_bass_mm"] == "2.6"


def test_turns_follow_the_reading_and_carry_the_tilt_along(tmp_path):
    run(tmp_path, LOG)
    first, second = Work.objects.filter(kind=WorkKind.JOINT)
    check_ins = list(CheckIn.objects.filter(instrument__tag="K7"))
    assert check_ins[0].measured_at < first.done_at < check_ins[1].measured_at
    assert (first.turns, second.turns) == (0.75, 0.25)
    # arcsin(0.75/70) and arcsin(1/70): bolt travel t = l sin(tilt), by hand
    assert first.tilt_from_deg == 0
    assert first.tilt_to_deg == pytest.approx(0.61390, abs=1e-5)
    assert second.tilt_from_deg == first.tilt_to_deg
    assert second.tilt_to_deg == pytest.approx(0.81854, abs=1e-5)
    assert NeckJoint.objects.get(instrument__tag="K7").tilt_now_deg == second.tilt_to_deg


def test_importing_the_same_file_twice_changes_nothing(tmp_path):
    run(tmp_path, LOG)
    before = everything()
    out, err, failure = run(tmp_path, LOG)
    assert (err, failure) == ("", "")
    assert "Check-ins added: 0" in out
    assert "Already there: 4" in out
    assert everything() == before


def test_a_second_import_leaves_later_work_at_the_bench_alone(tmp_path):
    run(tmp_path, LOG)
    NeckJoint.objects.update(tilt_now_deg=1.5)
    Instrument.objects.filter(tag="K7").update(scale_length_mm=650)
    out, _, _ = run(tmp_path, LOG)
    k7 = Instrument.objects.get(tag="K7")
    assert (k7.joint.tilt_now_deg, k7.scale_length_mm) == (1.5, 650)
    assert "K7: scale_length_mm on record 650, in the file 645.2; left as it was" in out


def test_new_rows_of_a_grown_log_are_added(tmp_path):
    run(tmp_path, LOG)
    more = LOG + "K7,Ines Marlow,2024-01-02,received,0.5,3.2,2.8,0.2,,,,,,,,,,,,,,,0.5,\n"
    out, _, failure = run(tmp_path, more)
    assert failure == ""
    assert "Check-ins added: 1" in out
    assert "Work added: 1" in out
    work = Work.objects.last()
    assert work.tilt_from_deg == pytest.approx(0.81854, abs=1e-5)
    assert work.tilt_to_deg == pytest.approx(1.22777, abs=1e-4)  # arcsin(1.5/70), by hand
    assert NeckJoint.objects.get(instrument__tag="K7").tilt_now_deg == work.tilt_to_deg


def test_outlooks_of_the_instruments_touched_are_refreshed(tmp_path):
    run(tmp_path, LOG)
    assert Outlook.objects.get(instrument__tag="K7").readings == 3
    assert Outlook.objects.get(instrument__tag="B2").readings == 1


def test_a_fault_in_the_forecast_costs_no_reading(tmp_path, monkeypatch, caplog):
    def fail(*args, **kwargs):
        raise RuntimeError("no forecast today")

    monkeypatch.setattr(refreshing, "refresh", fail)
    _, err, failure = run(tmp_path, LOG)
    assert failure == ""
    assert "run manage.py recompute_outlooks" in err
    assert CheckIn.objects.count() == 4


def test_dry_run_reports_and_writes_nothing(tmp_path):
    out, _, failure = run(tmp_path, LOG, "--dry-run")
    assert failure == ""
    assert out.startswith("Dry run: nothing was written.")
    assert "Check-ins added: 4" in out
    assert not Customer.objects.exists()
    assert not Instrument.objects.exists()


def test_one_bad_row_imports_nothing_and_all_faults_are_told(tmp_path):
    bad = (
        LOG
        + "K7,,2020-13-01,received,0.6,,,,,,,,,,,,,,,,,,,\nB2,,2020-01-01,,twelve,,,2.4,,,,,,,,,,,,,,,,\n"
    )
    out, err, failure = run(tmp_path, bad)
    assert out == ""
    assert "Nothing was imported: 2 of 6 rows are bad." in failure
    assert "line 6, column checked_in_on: 2020-13-01 is not in the calendar" in err
    assert "line 7, column bridge_rise_mm: “twelve” is not a plain number" in err
    assert (
        "line 7, column relief_mm: 2.4 mm is impossible: expected −0.5 to 1.5 mm; did you mean 0.24 mm?"
        in err
    )
    assert not Instrument.objects.exists()
    assert not Customer.objects.exists()


def test_bad_rows_can_be_skipped(tmp_path):
    bad = LOG + "Z9,Nobody Else,2020-01-01,,twelve,,,,,,,,,,,,,,,,,,,\n"
    out, err, failure = run(tmp_path, bad, "--skip-bad-rows")
    assert failure == ""
    assert "line 6, column bridge_rise_mm" in err
    assert "Check-ins added: 4" in out
    assert "Skipped: 1" in out
    assert not Instrument.objects.filter(tag="Z9").exists()
    assert not Customer.objects.filter(name="Nobody Else").exists()


def test_a_long_list_of_faults_is_cut_with_its_count(tmp_path):
    text = "tag,checked_in_on,bridge_rise_mm\n" + "K7,2020-01-01,?\n" * 70
    _, err, failure = run(tmp_path, text)
    assert err.count("column bridge_rise_mm") == 50
    assert "… and 20 more, 70 in all" in err
    assert "70 of 70 rows are bad" in failure


def test_an_unusual_figure_is_imported_with_a_warning(tmp_path):
    _, err, failure = run(tmp_path, rows({"bridge_rise_mm": "6"}))
    assert failure == ""
    assert (
        "line 2, column bridge_rise_mm: 6 mm is unusual (mostly −3 to 4.5 mm); did you mean 0.6 mm?"
        in err
    )
    assert CheckIn.objects.get().bridge_rise_mm == 6


def test_dimensions_that_differ_within_a_file_are_refused_on_the_later_line(tmp_path):
    text = (
        "tag,checked_in_on,relief_mm,scale_length_mm,joint_kind\n"
        "K7,2020-01-01,0.2,645.2,bolted\nK7,2021-01-01,0.2,,\nk7,2022-01-01,0.2,650,glued\n"
    )
    _, err, failure = run(tmp_path, text)
    assert (
        "line 4, column scale_length_mm: 650 differs from 645.2 on line 2 for the same tag" in err
    )
    assert "line 4, column joint_kind: glued differs from bolted on line 2" in err
    assert "1 of 3 rows is bad" in failure


def test_a_skipped_row_leaves_none_of_its_figures_behind(tmp_path):
    text = (
        "tag,checked_in_on,bridge_rise_mm,scale_length_mm,joint_kind,tilt_max_deg,turns\n"
        "K7,2020-01-01,0.2,630,tilting,1,4\nK7,2021-01-01,0.3,,tilting,1,\n"
    )
    out, _, failure = run(tmp_path, text, "--skip-bad-rows")
    assert failure == ""
    assert "Skipped: 1" in out
    k7 = Instrument.objects.get(tag="K7")
    assert (k7.scale_length_mm, k7.check_ins.count(), k7.works.count()) == (None, 1, 0)


def test_a_new_row_fills_and_corrects_dimensions_and_history_keeps_the_old(tmp_path):
    instrument = InstrumentFactory(tag="k7", scale_length_mm=630, customer=None, built_year=None)
    cells = {
        "scale_length_mm": "645.2",
        "built_year": "1990",
        "customer": "Ines Marlow",
        "relief_mm": "0.2",
    }
    out, _, _ = run(tmp_path, rows(cells))
    instrument.refresh_from_db()
    assert (instrument.tag, instrument.scale_length_mm, instrument.built_year) == (
        "k7",
        645.2,
        1990,
    )
    assert instrument.customer.name == "Ines Marlow"
    assert "Instruments updated: 1" in out
    assert "k7: scale_length_mm on record 630, in the file 645.2; corrected" in out
    assert list(instrument.history.values_list("scale_length_mm", flat=True)) == [645.2, 630]


def test_another_customer_is_told_and_left(tmp_path):
    instrument = InstrumentFactory(tag="K7", customer__name="Ines Marlow")
    out, _, _ = run(tmp_path, rows({"customer": "Osric Penn", "relief_mm": "0.2"}))
    instrument.refresh_from_db()
    assert instrument.customer.name == "Ines Marlow"
    assert "customer on record Ines Marlow, in the file Osric Penn; left as it was" in out
    assert Customer.objects.count() == 1


def test_a_customer_is_found_without_regard_to_case(tmp_path):
    held = Customer.objects.create(name="Ines Marlow")
    run(tmp_path, rows({"customer": "INES MARLOW", "relief_mm": "0.2"}))
    assert Instrument.objects.get().customer == held


def test_a_changed_row_is_refused_until_the_record_is_voided(tmp_path, owner):
    run(tmp_path, rows({"relief_mm": "0.2"}))
    changed = rows({"relief_mm": "0.3"})
    _, err, failure = run(tmp_path, changed)
    assert (
        "line 2: is on record already with another relief_mm (K7, 2020-02-03, as received)" in err
    )
    assert "to correct a record, void it first" in err
    assert failure
    void(CheckIn.objects.get(), by=owner, reason="misread")
    out, _, failure = run(tmp_path, changed)
    assert failure == ""
    assert "Check-ins added: 1" in out
    held = CheckIn.objects.standing().get()
    assert (held.relief_mm, held.replaces.relief_mm) == (0.3, 0.2)
    for text in (changed, rows({"relief_mm": "0.2"})):
        out, _, _ = run(tmp_path, text)
        assert "Already there: 1" in out
    assert CheckIn.objects.count() == 2


def test_changed_turns_and_notes_are_seen_as_well(tmp_path):
    cells = {
        "relief_mm": "0.2",
        "joint_kind": "tilting",
        "turns": "0.5",
        "notes": "",
        "tilt_now_deg": "0",
    }
    run(tmp_path, rows(cells))
    for change in ({"turns": "0.75"}, {"notes": "more"}, {"tilt_now_deg": "0.01"}):
        _, err, _ = run(tmp_path, rows(cells | change))
        assert f"another {next(iter(change))} (K7" in err


def test_a_voided_check_in_whose_turns_stand_is_not_replaced(tmp_path, owner):
    cells = {"relief_mm": "0.2", "joint_kind": "tilting", "turns": "0.5"}
    run(tmp_path, rows(cells))
    void(CheckIn.objects.get(), by=owner, reason="misread")
    _, err, _ = run(tmp_path, rows(cells | {"relief_mm": "0.3"}))
    assert "replaces a voided check-in whose turns still stand; void that work too" in err


def test_a_correction_made_at_a_form_is_recognised(tmp_path, owner):
    run(tmp_path, rows({"relief_mm": "0.2"}))
    first = CheckIn.objects.get()
    record_check_in(
        instrument=first.instrument,
        measured_at=first.measured_at,
        by=owner,
        stage=first.stage,
        actions_mm={},
        replaces=first,
        reason="misread",
        relief_mm=0.3,
    )
    for relief in ("0.2", "0.3"):
        out, _, failure = run(tmp_path, rows({"relief_mm": relief}))
        assert failure == ""
        assert "Already there: 1" in out


def test_rows_of_one_day_keep_their_order_and_are_told_apart(tmp_path):
    text = "tag,checked_in_on,relief_mm\nK7,2020-01-01,0.2\nK7,2020-01-01,0.2\nK7,2020-01-01,0.25\n"
    run(tmp_path, text)
    assert [c.relief_mm for c in CheckIn.objects.all()] == [0.2, 0.2, 0.25]
    assert [c.measured_at.minute for c in CheckIn.objects.all()] == [0, 2, 4]
    out, _, _ = run(tmp_path, text)
    assert "Already there: 3" in out


def test_as_received_comes_before_as_returned_in_whatever_order_they_stand(tmp_path):
    head = "tag,checked_in_on,stage,bridge_rise_mm,joint_kind,turns,built_year\n"
    returned, received = (
        "R1,2020-05-01,as returned,-2.6,tilting,,1990\n",
        "R1,2020-05-01,as received,1.2,tilting,1,\n",
    )
    run(tmp_path, head + returned + received)
    check_ins = CheckIn.objects.order_by("measured_at")
    assert [check_in.stage for check_in in check_ins] == ["received", "returned"]
    assert check_ins[0].measured_at < Work.objects.get().done_at < check_ins[1].measured_at
    # Measured after the turn: the newest reading is the rise now.
    assert Outlook.objects.get().bridge_rise_mm == -2.6


def test_older_turns_given_later_leave_a_given_tilt_alone(tmp_path):
    head = "tag,checked_in_on,bridge_rise_mm,joint_kind,tilt_now_deg,turns\n"
    run(tmp_path, head + "B1,2024-05-01,0.4,tilting,0.814,0.25\n")
    now = NeckJoint.objects.get().tilt_now_deg
    run(tmp_path, head + "B1,2018-05-01,0.9,tilting,0.405,0.5\n")
    assert NeckJoint.objects.get().tilt_now_deg == pytest.approx(now)


def test_no_more_rows_than_fit_into_a_day(tmp_path):
    _, err, _ = run(tmp_path, "tag,checked_in_on,relief_mm\n" + "K7,2020-01-01,0.2\n" * 101)
    assert "line 102, column checked_in_on: is more than the 100 rows" in err


def test_a_given_tilt_counts_from_its_row_on(tmp_path):
    text = (
        "tag,checked_in_on,bridge_rise_mm,joint_kind,bolt_arm_mm,thread_pitch_mm,tilt_now_deg,turns\n"
        "K7,2022-01-01,0.4,tilting,70,1,1,0.5\nK7,2020-01-01,0.2,,,,,0.25\nK7,2023-01-01,0.5,,,,,\n"
    )
    _, err, failure = run(tmp_path, text)
    assert failure == ""
    early, late = Work.objects.all()
    assert (early.tilt_from_deg, late.tilt_from_deg) == (0, 1)
    # sin 1° + 0.5/70 = 0.0245953, whose arcsine is 1.40934°, by hand
    assert late.tilt_to_deg == pytest.approx(1.40934, abs=1e-4)
    assert NeckJoint.objects.get().tilt_now_deg == late.tilt_to_deg
    assert "line 2, column tilt_now_deg: 1 ° given, 0.2046 ° expected from the turns logged" in err


def test_turns_on_an_earlier_day_move_a_joint_that_was_turned_since(tmp_path):
    run(tmp_path, LOG)
    before = NeckJoint.objects.get(instrument__tag="K7").tilt_now_deg
    run(tmp_path, rows({"checked_in_on": "2017-01-01", "bridge_rise_mm": "0", "turns": "0.25"}))
    work = Work.objects.get(done_at__year=2017)
    assert work.tilt_from_deg == pytest.approx(0.61390, abs=1e-5)
    now = NeckJoint.objects.get(instrument__tag="K7").tilt_now_deg
    assert now - before == pytest.approx(work.tilt_to_deg - work.tilt_from_deg, abs=1e-9)


def test_assumed_bolt_dimensions_are_told(tmp_path):
    _, err, _ = run(tmp_path, rows({"relief_mm": "0.2", "joint_kind": "tilting", "turns": "0.5"}))
    assert "column turns: bolt_arm_mm and thread_pitch_mm not given; the usual taken" in err


def test_a_renamed_instrument_is_not_made_again_under_its_old_tag(tmp_path):
    run(tmp_path, LOG)
    Instrument.objects.filter(tag="B2").update(tag="B3")
    out, _, failure = run(tmp_path, LOG)
    assert failure == ""
    assert "Already there: 4" in out
    assert not Instrument.objects.filter(tag="B2").exists()


def test_dates_are_noon_in_the_shops_own_zone(tmp_path, settings):
    settings.TIME_ZONE = "America/Denver"
    run(tmp_path, rows({"relief_mm": "0.2"}))
    assert CheckIn.objects.get().measured_at == datetime(2020, 2, 3, 19, 0, tzinfo=UTC)


def test_twenty_thousand_rows_are_imported_by_few_queries(tmp_path, django_assert_max_num_queries):
    lines = ["tag,checked_in_on,bridge_rise_mm,action_12_bass_mm"]
    lines += [f"T{n % 1000},{date(2000 + n // 1000, 5, 1 + n % 28)},0.4,2.4" for n in range(20_000)]
    with django_assert_max_num_queries(1000):
        out, _, failure = run(tmp_path, "\n".join(lines))
    assert failure == ""
    assert "Check-ins added: 20000" in out
    assert ActionReading.objects.count() == 20_000
    assert Instrument.objects.count() == 1000
