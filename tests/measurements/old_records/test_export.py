"""Export of the whole shop, and taking it back: the same shop, to the last digit."""

import csv
import io
import zipfile
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from instruments.models import Instrument
from measurements.models import CheckIn, ImportRun, Work
from measurements.old_records.cells import as_it_was, for_workbook, from_workbook, harmless
from measurements.old_records.export import as_archive, as_workbook, header
from measurements.old_records.planning import import_file
from measurements.old_records.sheets import LEFT_OUT, REFERENCES, SHEETS
from shop.models import Customer, User
from tests.factories import CheckInFactory, CustomerFactory
from tests.measurements.old_records.shop_contents import HOSTILE, contents, empty_the_shop, fill


def archive() -> bytes:
    return b"".join(as_archive())


def workbook() -> bytes:
    with as_workbook() as file:
        return file.read()


@pytest.mark.django_db
@pytest.mark.parametrize("export", [archive, workbook])
def test_an_export_taken_into_an_empty_shop_gives_the_same_shop(export, owner, tech):
    fill(tech)
    before, data = contents(), export()
    empty_the_shop()
    report = import_file(data, file_name="shop", by=owner)
    assert report.problems == []
    assert report.written
    after = contents()
    for name, rows in before.items():
        assert after[name] == rows, name
    again = import_file(data, by=owner)
    assert (again.added, again.work_added, again.problems, again.run) == (0, 0, [], None)
    assert again.already == again.read
    assert contents() == before
    assert ImportRun.objects.count() == 1


@pytest.mark.django_db
def test_each_csv_file_can_be_taken_back_by_itself_in_order(owner, tech):
    fill(tech)
    before = contents()
    with zipfile.ZipFile(io.BytesIO(archive())) as parts:
        files = [parts.read(f"{name}.csv") for name in SHEETS]
    empty_the_shop()
    for data in files:
        report = import_file(data, by=owner)
        assert report.problems == []
    assert contents() == before


@pytest.mark.django_db
def test_no_cell_of_an_export_is_a_formula(tech):
    fill(tech)
    sheets = load_workbook(io.BytesIO(workbook()))
    cells = [cell for sheet in sheets for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n", "inlineStr"}
    dangerous = [cell for cell in cells if str(cell.value).startswith(("=", "@"))]
    assert len(dangerous) > 5
    assert all(cell.quotePrefix for cell in dangerous)
    with zipfile.ZipFile(io.BytesIO(archive())) as parts:
        for name in SHEETS:
            text = parts.read(f"{name}.csv").decode()
            for row in csv.reader(io.StringIO(text, newline="")):
                for cell in row:
                    numeric = cell.removeprefix("-").replace(".", "", 1).replace("e-", "").isdigit()
                    assert numeric or cell[:1] not in "=+-@＝＋－＠\t\r" or cell == ""


@pytest.mark.django_db
def test_a_row_copied_in_a_spreadsheet_to_add_another_customer_adds_one(owner):
    CustomerFactory(code="AAAA2222", form_uuid=uuid4())
    with zipfile.ZipFile(io.BytesIO(archive())) as parts:
        head, row = parts.read("customers.csv").decode("utf-8-sig").splitlines()
    copied = row.replace("AAAA2222", "BBBB3333")
    report = import_file(f"{head}\n{row}\n{copied}\n".encode(), by=owner)
    assert report.problems == []
    added = Customer.objects.get(code="BBBB3333")
    assert added.form_uuid is None


@pytest.mark.django_db
def test_numbers_stay_numbers(tech):
    fill(tech)
    sheet = load_workbook(io.BytesIO(workbook()))["readings"]
    place = [cell.value for cell in sheet[1]].index("bridge_rise_mm")
    assert sheet.cell(row=2, column=place + 1).value == -0.30000000000000004
    with zipfile.ZipFile(io.BytesIO(archive())) as parts:
        assert b",-0.30000000000000004," in parts.read("readings.csv")


def test_every_field_of_the_models_is_in_a_sheet():
    for sheet in SHEETS.values():
        fields = {field.name for field in sheet.model._meta.concrete_fields} - LEFT_OUT
        written = {column.key for column in sheet.columns} | {
            name for name in fields if REFERENCES.get(name) in sheet.references
        }
        assert written == fields, sheet.name


@pytest.mark.django_db
def test_somebody_without_an_account_here_is_told_and_the_void_is_the_importers(owner, tech):
    fill(tech)
    data = archive()
    empty_the_shop()
    User.objects.filter(pk=tech.pk).update(username="somebody-else")
    assert "say who imports with --by" in str(import_file(data).problems[0])
    report = import_file(data, by=owner)
    assert "“tech” has no account here" in report.warnings[0].text
    voided = CheckIn.objects.get(voided_at__isnull=False)
    assert (voided.voided_by, voided.void_reason, voided.measured_by) == (
        owner,
        "=typed wrongly",
        None,
    )


@pytest.mark.django_db
def test_what_is_on_record_is_never_overwritten(owner, tech):
    fill(tech)
    data = archive()
    CheckIn.objects.filter(bridge_rise_mm=0.3).update(bridge_rise_mm=0.35)
    report = import_file(data, by=owner)
    assert [problem.text for problem in report.problems] == [
        "is on record with another bridge_rise_mm; void it there first, or take the row out"
    ]
    assert not report.written
    assert Work.objects.count() == 6


def _cut(name: str, change) -> bytes:
    """One file of an export with its text changed."""
    with zipfile.ZipFile(io.BytesIO(archive())) as parts:
        return change(parts.read(f"{name}.csv").decode()).encode()


REFUSED = [
    ("readings", "0.4,3.0", "99.4,3.0", "bridge_rise_mm: 99.4 is impossible: expected −8 to 10"),
    ("readings", "0.4,3.0", "nan,3.0", "“nan” is not a plain number; write it like 2.4"),
    ("readings", "0.4,3.0", "1e308,3.0", "1e+308 is impossible: expected −8 to 10"),
    ("readings", "0.4,3.0", "1e999,3.0", "“1e999” is not a plain number"),
    ("readings", "0.4,3.0", "9" * 5000 + ",3.0", "is not a plain number"),
    ("readings", "received", "sold", "stage: “sold” is not one of: received, returned"),
    ("readings", "T-LONE", "T-GONE", "tag: “T-GONE” is no instrument, neither here nor on record"),
    ("readings", "2020-03-02T", "2999-03-02T", "2999-03-02 lies in the future"),
    ("readings", "received", '"x"', "stage: “x” is not one of: received, returned"),
    ("readings", "2020-03-02T", "yesterday T", "is no moment; write it in UTC like 2026-03-31T"),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("sheet", "old", "new", "message"), REFUSED)
def test_a_changed_cell_is_refused_by_sheet_line_and_column(owner, sheet, old, new, message):
    check_in = CheckInFactory(instrument__tag="T-LONE")
    CheckIn.objects.update(measured_at="2020-03-02T10:00Z")
    data = _cut(sheet, lambda text: text.replace(old, new))
    check_in.action_readings.all().delete()
    CheckIn.objects.all().delete()
    report = import_file(data, by=owner)
    assert not report.written
    assert message in str(report.problems[0])
    assert str(report.problems[0]).startswith(f"{sheet}, line 2, column ")


@pytest.mark.django_db
def test_a_row_twice_is_refused(owner):
    CheckInFactory()
    data = _cut("readings", lambda text: text + text.splitlines()[1] + "\n")
    report = import_file(data, by=owner)
    assert "stands on line 2 already; keep one" in str(report.problems[0])


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
starts = st.sampled_from([*HOSTILE, "'", "=", "＝", "_x", "_x0007_", "\r", "\n", " "])


@given(st.tuples(starts | st.just(""), texts).map("".join))
@settings(max_examples=300, deadline=None)
def test_every_text_comes_back_as_it_was(text):
    assert as_it_was(harmless(text)) == text
    assert from_workbook(for_workbook(text)) == text
    assert harmless(text)[:1] not in tuple("=+-@＝＋－＠\t\r\n")


@pytest.mark.django_db
def test_readings_have_a_column_for_each_place_that_was_read(tech):
    fill(tech)
    assert "action_36_bass_mm" in header(SHEETS["readings"])
    assert "action_2_bass_mm" not in header(SHEETS["readings"])


@pytest.mark.django_db
def test_a_reading_without_its_uuid_is_refused_since_it_would_be_added_twice(owner):
    CheckInFactory()
    data = _cut("readings", lambda text: text.replace(str(CheckIn.objects.get().uuid), ""))
    report = import_file(data, by=owner)
    assert str(report.problems[0]) == "readings, line 2, column uuid: is empty; every row needs it"


@pytest.mark.django_db
def test_columns_that_are_not_there_are_as_on_a_new_record(owner):
    data = b"code,name\r\nABCDEFGH,Ines Marlow\r\n"
    assert import_file(data, by=owner).problems == []
    data = b"tag,customer,joint_kind\r\nK7,ABCDEFGH,tilting\r\n"
    assert import_file(data, by=owner).problems == []
    held = Instrument.objects.get(tag="K7")
    assert (held.customer.name, held.fret_count, held.joint.one_way) == ("Ines Marlow", 20, True)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{"a": "\\ud800"}', "holds more than plain words and numbers"),
        ('{"\\u0000": 1}', "holds more than plain words and numbers"),
        ('{"a": 1e999}', "holds more than plain words and numbers"),
        ('{"a": {"b": {}}}', "holds more than plain words and numbers"),
        ('{"a": NaN}', "is not JSON; leave the cell as exported"),
        ("[" * 15_000, "is not JSON; leave the cell as exported"),
        ("[1]", "is not JSON for an object"),
    ],
)
def test_what_is_kept_as_json_is_plain_words_and_numbers(text, message):
    column = next(c for c in SHEETS["readings"].columns if c.name == "as_typed")
    with pytest.raises(ValueError, match=message):
        column.read(text)
