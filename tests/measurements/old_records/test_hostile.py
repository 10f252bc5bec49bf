"""Files made to do harm, or only broken: each is refused in words, and nothing is written."""

import io
import re
import zipfile

import pytest
from openpyxl import Workbook

from instruments.models import Instrument
from measurements.models import CheckIn, ImportRun
from measurements.old_records import archive
from measurements.old_records.planning import import_file
from measurements.old_records.source import read_source
from measurements.old_records.table import TableError

HEADINGS = ["tag", "checked_in_on", "bridge_rise_mm", "notes"]
ROW = ["K7", "2020-02-03", 0.4, ""]


def workbook(*rows, sheet="log"):
    book = Workbook(write_only=True)
    page = book.create_sheet(sheet)
    for row in rows or (HEADINGS, ROW):
        page.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def changed(data, name, change):
    """A workbook with one of its parts changed."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(file, "w") as new:
        for part in old.infolist():
            content = old.read(part)
            new.writestr(part.filename, change(content) if part.filename == name else content)
    return file.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
BILLION = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]>'


def claims(data, megabytes):
    """The archive with its directory saying that each part unpacks to so much."""
    size = (megabytes * 1_000_000).to_bytes(4, "little")
    places = [found.start() for found in re.finditer(rb"PK\x01\x02", data)]
    for place in places:
        data = data[: place + 24] + size + data[place + 28 :]
    return data


def encrypted(data):
    for found in list(re.finditer(rb"PK\x01\x02", data)):
        place = found.start() + 8
        data = data[:place] + bytes([data[place] | 1]) + data[place + 1 :]
    return data


def other_archive(name="holiday.jpg"):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr(name, b"x")
    return file.getvalue()


REFUSED = [
    ("it is no archive", b"PK\x03\x04" + b"\0" * 50, "is cut off or damaged"),
    ("cut off", workbook()[:-40], "is cut off or damaged"),
    ("a bomb", claims(workbook(), 900), "unpacks to"),
    ("encrypted", encrypted(workbook()), "is encrypted. Save it without a password."),
    ("old or with a password", b"\xd0\xcf\x11\xe0rest", "of the old kind, or one with a password"),
    ("another archive", other_archive(), "The archive holds holiday.jpg."),
    ("an archive in folders", other_archive("../../readings.csv"), "readings.csv lacks a column"),
    ("a document type", changed(workbook(), SHEET, lambda c: BILLION + c), "a document type"),
    (
        "a hidden document type",
        changed(
            workbook(),
            SHEET,
            lambda c: b'<?xml version="1.0" encoding="cp037"?>' + "<!DOCTYPE x>".encode("cp037"),
        ),
        "is not UTF-8 text",
    ),
    (
        "a wide document type",
        changed(workbook(), SHEET, lambda c: "<!DOCTYPE x><a/>".encode("utf-16")),
        "is not UTF-8 text",
    ),
    ("no XML", changed(workbook(), SHEET, lambda c: c[: len(c) // 2]), "cannot be read"),
    (
        "a row without end",
        changed(workbook(), SHEET, lambda c: c.replace(b'<row r="2"', b'<row r="99999999999"')),
        "more than 1,048,576 rows",
    ),
    (
        "a formula never calculated",
        workbook(HEADINGS, ["K7", "2020-02-03", "=1+1", ""]),
        "formulas whose results were never saved",
    ),
    ("empty", b"", "The file is empty"),
    ("an empty sheet", workbook([]), "The sheet “log” is empty"),
    ("headings alone", workbook(HEADINGS), "a line of column names but no rows"),
    ("headings twice", workbook([*HEADINGS, "tag"], ROW), "tag: stands in the file twice"),
    ("unknown", workbook([*HEADINGS, "luthier"], ROW), "“luthier”: is not a column of an import"),
    ("too wide", workbook([f"c{n}" for n in range(201)]), "reaches to column 201; at most 200"),
    ("a cell aside", workbook(HEADINGS, [*ROW, "x", "y"]), "beyond the 4 columns"),
    ("a picture", b"\x89PNG\r\n\x1a\n\0\0", "zero byte"),
]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("data", "message"), [row[1:] for row in REFUSED], ids=[r[0] for r in REFUSED]
)
def test_it_refuses_the_file_and_says_why(data, message):
    with pytest.raises(TableError) as refusal:
        import_file(data)
    assert message in str(refusal.value)
    assert len(str(refusal.value)) < 600
    assert not ImportRun.objects.exists()
    assert not Instrument.objects.exists()


CELLS = [
    (1e308, "is 309 characters long"),
    ("NaN", "“NaN” is not a plain number"),
    ("\u202e4.0", "holds an invisible control character"),
    ("0.4\x07", "holds an invisible control character"),
    ("x" * 30_000, "characters long"),
    ("#REF!", "“#REF!” is not a plain number"),
    (True, "“yes” is not a plain number"),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("value", "message"), CELLS)
def test_it_refuses_a_hostile_cell_by_row_and_column(value, message):
    escaped = value.replace("\x07", "_x0007_") if isinstance(value, str) else value
    report = import_file(workbook(HEADINGS, ["K7", "2020-02-03", escaped, ""]))
    assert not report.written
    assert str(report.problems[0]).startswith("line 2, column bridge_rise_mm: ")
    assert message in str(report.problems[0])
    assert len(str(report.problems[0])) < 400


@pytest.mark.django_db
def test_more_rows_than_a_workbook_may_have(monkeypatch):
    monkeypatch.setattr("measurements.old_records.workbook.LIMIT_ROWS", 1000)
    with pytest.raises(TableError, match="more than 1,000 rows"):
        import_file(workbook(HEADINGS, *[ROW] * 1001))
    source = read_source(workbook(HEADINGS, *[ROW] * 1000))
    assert source.table is not None
    assert len(source.table.rows) == 1000


def test_a_hundred_and_one_thousand_rows_are_too_many():
    rows = b"<row><c><v>1</v></c></row>" * 101_000
    data = changed(
        workbook(), SHEET, lambda c: re.sub(rb"(<sheetData>).*(</sheetData>)", rb"\1%s\2" % rows, c)
    )
    with pytest.raises(TableError, match="more than 100,000 rows"):
        read_source(data)


def renamed(data, new_name):
    """The workbook with its sheet's part under another name, which it gives itself."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(file, "w") as new:
        for part in old.infolist():
            content = old.read(part).replace(b"sheet1.xml", new_name.encode())
            new.writestr(part.filename.replace("sheet1.xml", new_name), content)
    return file.getvalue()


@pytest.mark.parametrize("name", ["sheet1.xml", "sheet1.dat"])
def test_more_cells_than_memory_should_hold(monkeypatch, name):
    monkeypatch.setattr(archive, "LIMIT_ELEMENTS", 1000)
    with pytest.raises(TableError, match="holds too many cells"):
        read_source(renamed(workbook(HEADINGS, *[ROW] * 1000), name))


def test_a_sheet_is_looked_at_under_whatever_name():
    assert read_source(renamed(workbook(), "sheet1.dat")).table.header == HEADINGS
    for begin in (BILLION, b"\xef\xbb\xbf \n" + BILLION[21:]):
        hostile = changed(workbook(), SHEET, lambda c, begin=begin: begin + c)
        with pytest.raises(TableError, match="document type"):
            read_source(renamed(hostile, "sheet1.dat"))
    wide = changed(workbook(), SHEET, lambda c: "<!DOCTYPE x><a/>".encode("utf-16"))
    with pytest.raises(TableError, match="not UTF-8"):
        read_source(renamed(wide, "sheet1.dat"))


@pytest.mark.django_db
def test_an_ordinary_workbook_is_read_as_somebody_would_have_typed_it():
    from datetime import date, datetime

    book = Workbook()
    page = book.active
    page.append(HEADINGS)
    page.append(["K7", date(2020, 2, 3), -0.0, "from\nthe book"])
    page.append(["K7", datetime(2021, 2, 3), 2, None])
    page.append(["K7", "2022-02-03", "0,3 mm", "'quoted"])
    file = io.BytesIO()
    book.save(file)
    report = import_file(file.getvalue(), file_name="log.xlsx")
    assert report.problems == []
    held = list(CheckIn.objects.values_list("measured_at__year", "bridge_rise_mm", "notes"))
    assert held == [(2020, 0.0, "from\nthe book"), (2021, 2.0, ""), (2022, 0.3, "'quoted")]


@pytest.mark.django_db
def test_the_command_takes_the_sheet_that_is_named(tmp_path):
    from tests.measurements.old_records.import_log import run_on

    book = Workbook()
    book.active.append(["something", "else"])
    page = book.create_sheet("log 2020")
    page.append(HEADINGS)
    page.append(ROW)
    book.save(tmp_path / "book.xlsx")
    _, _, failure = run_on(str(tmp_path / "book.xlsx"), "--sheet", "none")
    assert "has no sheet “none”. It has: Sheet, log 2020" in failure
    out, _, failure = run_on(str(tmp_path / "book.xlsx"), "--sheet", "log 2020")
    assert failure == ""
    assert "Check-ins added: 1" in out


def test_a_formula_that_gave_no_text_was_calculated():
    cell = b'<c r="D2" t="str"><f>IF(A2="","x","")</f><v></v></c>'
    data = changed(
        workbook(), SHEET, lambda c: re.sub(rb'<c r="D2"\s*/>|<c r="D2"[^/]*</c>', cell, c)
    )
    assert read_source(data).table is not None
