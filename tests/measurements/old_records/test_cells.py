"""Cells and files that an import takes, and those it refuses, each with its own message."""

from io import BytesIO, TextIOWrapper

import pytest
import time_machine

from instruments.models import Instrument, JointKind
from measurements.models import CheckIn, Stage, Work
from measurements.old_records import table
from shop.languages import written_in
from tests.measurements.old_records.import_log import LOG, NOW, rows, run, run_on

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


ACCEPTED = [
    ("bridge_rise_mm", "0.4", "bridge_rise_mm", 0.4),
    ("bridge_rise_mm", "−0.3", "bridge_rise_mm", -0.3),
    ("bridge_rise_mm", "0,4", "bridge_rise_mm", 0.4),
    ("bridge_rise_mm", " 0.4 mm ", "bridge_rise_mm", 0.4),
    ("bridge_rise_in", "0.02", "bridge_rise_mm", 0.508),
    ("saddle_bass_in", "7/64", "saddle_bass_mm", 2.778125),
    ("saddle_bass_mm", "7/64", "saddle_bass_mm", 2.778125),
    ("saddle_bass_mm", "0.094 in", "saddle_bass_mm", 2.3876),
    ("saddle_bass_in", "2.4 mm", "saddle_bass_mm", 2.4),
    ("Relief_MM", "0.2", "relief_mm", 0.2),
]


@pytest.mark.parametrize(("column", "cell", "field", "value"), ACCEPTED)
def test_it_accepts_lengths_as_people_write_them(tmp_path, column, cell, field, value):
    _, _, failure = run(tmp_path, rows({column: cell}))
    assert failure == ""
    assert getattr(CheckIn.objects.get(), field) == pytest.approx(value, abs=1e-9)


ACCEPTED_BESIDE = [
    ({"stage": "as returned"}, lambda c: c.stage, Stage.RETURNED),
    ({"stage": "Received"}, lambda c: c.stage, Stage.RECEIVED),
    ({"stage": ""}, lambda c: c.stage, Stage.RECEIVED),
    ({"humidity_pct": "47 %"}, lambda c: c.humidity_pct, 47),
    ({"temperature_c": "68 F"}, lambda c: c.temperature_c, 20),
    ({"action_36_treble_mm": "3.1"}, lambda c: c.action_readings.get(fret=36).action_mm, 3.1),
    ({"action_7_bass_in": "5/64"}, lambda c: c.action_readings.get(fret=7).action_mm, 1.984375),
    ({"fretboard_radius_mm": "flat"}, lambda c: c.instrument.fretboard_radius_mm, 0),
    ({"fretboard_radius_mm": "inf"}, lambda c: c.instrument.fretboard_radius_mm, 0),
    ({"fretboard_radius_in": "16"}, lambda c: c.instrument.fretboard_radius_mm, 406.4),
    ({"scale_length_in": "25.4"}, lambda c: c.instrument.scale_length_mm, 645.16),
    ({"built_year": "1998.0"}, lambda c: c.instrument.built_year, 1998),
    ({"joint_fret": "12"}, lambda c: c.instrument.joint_fret, 12),
    ({"joint_kind": "Adjustable"}, lambda c: c.instrument.joint.kind, JointKind.TILTING),
    (
        {"joint_kind": "tilting", "turns": "-1/8", "tilt_now_deg": "1"},
        lambda c: Work.objects.get().turns,
        -0.125,
    ),
    ({"joint_kind": "tilting", "turns": "0"}, lambda c: Work.objects.count(), 0),
    ({"notes": "=1+1"}, lambda c: c.notes, "=1+1"),
    ({"customer": "Élodie Brant"}, lambda c: c.instrument.customer.name, "Élodie Brant"),
]


@pytest.mark.parametrize(("cells", "found", "value"), ACCEPTED_BESIDE)
def test_it_accepts_the_other_columns(tmp_path, cells, found, value):
    _, _, failure = run(tmp_path, rows(cells, bridge_rise_mm="0.4"))
    assert failure == ""
    assert found(CheckIn.objects.get()) == pytest.approx(value)


REFUSED_CELLS = [
    ({"tag": ""}, "column tag: is empty; every row needs it"),
    ({"tag": "=HYPERLINK"}, "column tag: “=HYPERLINK” is no tag"),
    ({"tag": "x" * 33}, "is no tag: 1–32 letters"),
    ({"checked_in_on": ""}, "column checked_in_on: is empty; every row needs it"),
    (
        {"checked_in_on": "3/4/2020"},
        "column checked_in_on: “3/4/2020” is no date; write it as 2026-03-31",
    ),
    ({"checked_in_on": "20200304"}, "“20200304” is no date"),
    ({"checked_in_on": "2023-02-29"}, "2023-02-29 is not in the calendar"),
    ({"checked_in_on": "2026-11-26"}, "2026-11-26 lies in the future; today is 2026-11-25"),
    ({"checked_in_on": "1815-01-01"}, "1815-01-01 is impossible: expected 1900-01-01 or later"),
    ({"stage": "sold"}, "column stage: “sold” is not one of: received, as received"),
    ({"bridge_rise_mm": "nan"}, "column bridge_rise_mm: “nan” is not a plain number"),
    ({"bridge_rise_mm": "inf"}, "column bridge_rise_mm: “inf” is not a plain number"),
    ({"bridge_rise_mm": "1e308"}, "column bridge_rise_mm: “1e308”"),
    ({"bridge_rise_mm": "=A1+1"}, "column bridge_rise_mm: “=A1+1” is not a plain number"),
    ({"bridge_rise_mm": "12"}, "column bridge_rise_mm: 12 mm is impossible: expected −8 to 10 mm"),
    ({"bridge_rise_in": "0.5"}, "column bridge_rise_in: 12.7 mm is impossible"),
    ({"relief_mm": "2.4"}, "2.4 mm is impossible: expected −0.5 to 1.5 mm; did you mean 0.24 mm?"),
    ({"saddle_bass_mm": "-1"}, "column saddle_bass_mm: −1 mm is impossible: expected 0 to 10 mm"),
    (
        {"action_1_bass_mm": "5"},
        "column action_1_bass_mm: 5 mm is impossible: expected 0 to 2.8 mm",
    ),
    ({"action_12_bass_mm": "24"}, "column action_12_bass_mm: 24 mm is impossible"),
    ({"humidity_pct": "0"}, "column humidity_pct: 0 % is impossible: expected 1 to 100 %"),
    ({"humidity_pct": "140"}, "column humidity_pct"),
    ({"temperature_c": "hot"}, "column temperature_c: “hot” is not a plain number"),
    ({"built_year": "98"}, "column built_year: “98” must be a whole number from 1700 to 2026"),
    (
        {"built_year": "2021"},
        "column checked_in_on: 2020-02-03 is before the instrument was built, 2021",
    ),
    ({"joint_fret": "40"}, "column joint_fret: “40” must be a whole number from 8 to 20"),
    ({"strings": "gut"}, "column strings: “gut” is not one of: steel, nylon"),
    (
        {"joint_kind": "welded"},
        "column joint_kind: “welded” is not one of: glued, bolted, shimmed, tilting",
    ),
    (
        {"scale_length_mm": "25.4"},
        "column scale_length_mm: 25.4 mm is impossible: expected 300 to 900 mm",
    ),
    ({"fretboard_radius_mm": "16"}, "expected 100 to 2000 mm, or “flat”; is it in inches?"),
    ({"thread_pitch_mm": "9"}, "column thread_pitch_mm: 9 mm is impossible: expected 0.2 to 5 mm"),
    ({"bolt_arm_mm": "2000"}, "column bolt_arm_mm"),
    ({"tilt_now_deg": "7"}, "column tilt_now_deg: 7 ° is impossible: expected −5 to 5 °"),
    ({"turns": "0.5"}, "column turns: turns need an adjustable joint, but this one is glued"),
    ({"turns": "0.5", "joint_kind": "bolted"}, "this one is bolted; give joint_kind tilting"),
    (
        {"turns": "50", "joint_kind": "tilting"},
        "column turns: 50 turns is impossible: expected −40 to 40",
    ),
    (
        {
            "turns": "3",
            "joint_kind": "tilting",
            "tilt_max_deg": "2",
            "bolt_arm_mm": "70",
            "thread_pitch_mm": "1",
        },
        "column turns: they lead to a tilt of 2.456 °, beyond tilt_max_deg, 2 °",
    ),
    (
        {"turns": "40", "joint_kind": "tilting", "bolt_arm_mm": "20"},
        "column turns: 40 turns carry the joint past",
    ),
    (
        {"turns": "-1", "joint_kind": "tilting"},
        "below the least tilt, 0 °; give tilt_now_deg if it did not start",
    ),
    ({"tilt_now_deg": "1"}, "column tilt_now_deg: a glued joint has no tilt"),
    (
        {"tilt_now_deg": "2.5", "joint_kind": "tilting", "tilt_max_deg": "2"},
        "column tilt_now_deg: 2.5 ° is beyond tilt_max_deg, 2 °",
    ),
    (
        {"tilt_max_deg": "-1", "joint_kind": "tilting"},
        "column tilt_max_deg: −1 ° is below the least tilt",
    ),
    ({"customer": "=1+1"}, "column customer: “=1+1” looks like a spreadsheet formula"),
    ({"customer": "x" * 121}, "column customer: the text has 121 characters; at most 120 are kept"),
    (
        {"customer": "Bell\x07"},
        "column customer: “Bell\\u0007” holds an invisible control character",
    ),
    ({"notes": "x" * 4001}, "column notes: the text has 4001 characters; at most 4000 are kept"),
    ({"saddle_bass_mm": "3", "saddle_bass_in": "0.1"}, "column saddle_bass_in: is given twice"),
    ({"bridge_rise_mm": "9" * 10_000_000}, "column bridge_rise_mm: “9999999999"),
    (
        {"bridge_rise_mm": "", "notes": "no reading"},
        "line 2: holds no reading; each row needs at least one",
    ),
]


@pytest.mark.parametrize(("cells", "message"), REFUSED_CELLS)
def test_it_refuses_a_bad_cell_by_line_and_column(tmp_path, cells, message):
    text = rows({"bridge_rise_mm": "0.4"} | cells)
    if "bridge_rise_in" in cells:
        text = rows(cells)
    _, err, failure = run(tmp_path, text)
    assert message in err
    assert "  line 2" in err
    assert len(err) < 1000
    assert "Nothing was imported: 1 of 1 rows is bad." in failure
    assert not CheckIn.objects.exists()


NEEDED = b"tag,checked_in_on,relief_mm"
REFUSED_FILES = [
    (b"", "The file is empty."),
    (b"\n \n", "The file is empty."),
    (b"\xef\xbb\xbf", "The file is empty."),
    (NEEDED + b"\n", "a line of column names but no rows below it"),
    (NEEDED + b"\n,,\n\n", "a line of column names but no rows below it"),
    (b"tag,checked_in_on,releif_mm\n", "line 1, column “releif_mm”: is not a column of an import"),
    (b"tag,checked_in_on,releif_mm\n", "; did you mean relief_mm?"),
    (NEEDED + b",action_0_bass_mm\n", "“action_0_bass_mm”: is not a column of an import"),
    (NEEDED + b",action_0_bass_mm\n", "; write action_12_bass_mm, with a fret from 1 to 36"),
    (NEEDED + b",action_37_bass_mm\n", "“action_37_bass_mm”: is not a column"),
    (NEEDED + b",action_012_bass_mm\n", "“action_012_bass_mm”: is not a column"),
    (b'"tag\nx",checked_in_on,relief_mm\nK7,2\n', "column “tag\\u000ax”: is not a column"),
    (NEEDED + b",heel_depth_mm\n", "“heel_depth_mm”: is not a column"),
    (NEEDED + b",relief_mm\n", "column relief_mm: stands in the file twice"),
    (b"tag,relief_mm\nK7,0.2\n", "column checked_in_on: is missing; every row needs it"),
    (b"checked_in_on,relief_mm\n2020-01-01,0.2\n", "column tag: is missing; every row needs it"),
    (b"tag,checked_in_on,notes\nK7,2020-01-01,x\n", "no column holds a reading"),
    (b"PK\x03\x04rest of a workbook", "is cut off or damaged"),
    ("tag,checked_in_on\n".encode("utf-16"), "This file is UTF-16 text. Save it as CSV (UTF-8)."),
    (NEEDED + b"\nK7,2020-01-01,\x00\n", "Line 2 holds a zero byte"),
    (NEEDED + b",notes\nK7,2020-01-01,0.2,caf\xe9\n", "Line 2 is not UTF-8 text (byte 0xe9)"),
    (b"\x89PNG\r\n\x1a\n\x00\x00", "holds a zero byte"),
    (
        NEEDED + b"\nK7,2020-01-01,0.2,1,2\n",
        "Line 2 has 5 cells but the first line names 3 columns",
    ),
    (NEEDED + b'\nK7,2020-01-01,"0.2\n', "Line 2 opens a quotation mark that is not closed"),
]


@pytest.mark.parametrize(("data", "message"), REFUSED_FILES)
def test_it_refuses_a_file_that_is_no_log(tmp_path, data, message):
    for options in ((), ("--skip-bad-rows",)):
        out, _, failure = run(tmp_path, data, *options)
        assert out == ""
        assert message in failure
    assert not Instrument.objects.exists()


def test_it_refuses_a_file_that_is_not_there(tmp_path):
    _, _, failure = run_on(str(tmp_path / "none.csv"))
    assert "Cannot read" in failure


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_it_reads_text_with_any_line_ending_and_mark(tmp_path, encoding, ending):
    _, _, failure = run(tmp_path, LOG.replace("\n", ending).encode(encoding))
    assert failure == ""
    assert CheckIn.objects.count() == 4


def test_it_reads_semicolons_with_decimal_commas(tmp_path):
    _, _, failure = run(
        tmp_path, "tag;checked_in_on;relief_mm;notes\nK7;2020-01-01;0,2;dry, cold\n"
    )
    assert failure == ""
    held = CheckIn.objects.get()
    assert (held.relief_mm, held.notes) == (0.2, "dry, cold")


def test_it_reads_standard_input(monkeypatch):
    monkeypatch.setattr("sys.stdin", TextIOWrapper(BytesIO(LOG.encode())))
    _, _, failure = run_on("-")
    assert failure == ""
    assert CheckIn.objects.count() == 4


def test_lines_are_counted_as_an_editor_does(tmp_path):
    text = (
        'tag,checked_in_on,relief_mm,notes\nK7,2020-01-01,0.2,"two\nlines"\n\nK7,2020-01-02,bad,\n'
    )
    _, err, _ = run(tmp_path, text)
    assert "line 5, column relief_mm" in err


def test_an_empty_unnamed_column_is_ignored_and_a_filled_one_refused(tmp_path):
    _, _, failure = run(tmp_path, "tag,checked_in_on,relief_mm,\nK7,2020-01-01,0.2,\n")
    assert failure == ""
    _, err, _ = run(tmp_path, "tag,checked_in_on,relief_mm,\nK7,2020-01-02,0.2,7\n")
    assert "line 2: “7” stands in a column without a name" in err


def test_figures_in_a_refusal_are_written_as_the_reader_writes_them(tmp_path):
    with written_in("de"):
        _, err, _ = run(tmp_path, rows({"relief_mm": "2.4"}))
    assert [figure for figure in ("2,4 mm", "−0,5", "1,5 mm", "0,24 mm") if figure not in err] == []


def test_a_cell_beyond_the_columns_is_refused(tmp_path):
    _, err, _ = run(tmp_path, "tag,checked_in_on,relief_mm\nK7,2020-01-02,0,2\n")
    assert "line 2: has more cells than the first line names columns" in err


def test_it_refuses_a_file_too_large_to_hold(tmp_path, monkeypatch):
    for text, message in (
        ("\n" * 500_001, "500,001 lines, more than 500,000. Split it"),
        ("a," * 600, "names 601 columns, more than 500"),
        ("x" * 1_000_000 + "\n1\n", "is not a column of an import"),
    ):
        _, _, failure = run(tmp_path, text)
        assert message in failure
        assert len(failure) < 1000
    monkeypatch.setattr(table, "LIMIT_BYTES", 2_000_000)
    assert "The file has 3 MB, more than 2 MB." in run(tmp_path, "x" * 3_000_000)[2]
