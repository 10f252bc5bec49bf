"""Old records by page: every step works without JavaScript, and nothing is saved before the last."""

import os
import time
import zipfile
from io import BytesIO
from pathlib import Path

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook, load_workbook

from instruments.models import Instrument
from measurements.forecast import refreshing
from measurements.models import CheckIn, ImportRun, Outlook
from measurements.old_records.spool import KEPT_SECONDS, Kept
from tests.conftest import signed_in
from tests.factories import CheckInFactory, UserFactory
from tests.measurements.old_records.import_log import NOW
from tests.measurements.old_records.shop_contents import contents, empty_the_shop, fill

pytestmark = pytest.mark.django_db

OWN_WORDS = """\
Instrument;Owner;Date;Relief (in);12th bass;Humidity %;Shelf
K7;Ines Marlow;18/3/2015;0.008;2,4;47;A
K7;;19/3/2016;0.010;2,5;45;
B2;Osric Penn;1/4/2016;;3,1;;C
"""


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.IMPORT_DIR = str(tmp_path / "imports")
    with time_machine.travel(NOW, tick=False):
        yield tmp_path / "imports"


def upload(browser, data, name="log.csv"):
    data = data.encode() if isinstance(data, str) else data
    return browser.post(reverse("imports"), {"file": SimpleUploadedFile(name, data)})


def match(browser, address, **changes):
    form = browser.get(address).context["form"]
    posted = {name: form[name].value() or "" for name in form.fields} | changes
    return browser.post(address, posted)


def test_a_log_in_the_shops_own_words_step_by_step(at_desk):
    sent = upload(at_desk, OWN_WORDS)
    assert sent.status_code == 302
    form = at_desk.get(sent["Location"]).context["form"]
    guesses = {heading.text: field.value() for heading, field in form.rows()}
    assert guesses == {
        "Instrument": "tag",
        "Owner": "customer",
        "Date": "checked_in_on",
        "Relief (in)": "relief",
        "12th bass": "action_12_bass",
        "Humidity %": "humidity_pct",
        "Shelf": "",
    }
    seen = match(at_desk, sent["Location"], day_order="day")
    page = at_desk.get(seen["Location"])
    assert page.context["totals"]["added"] == 3
    assert page.context["totals"]["bad"] == 0
    assert "Import all 3 new rows" in page.content.decode()
    assert not Instrument.objects.exists()
    done = at_desk.post(seen["Location"])
    run = ImportRun.objects.get()
    assert done["Location"] == reverse("import-run", kwargs={"uuid": run.uuid})
    held = CheckIn.objects.get(instrument__tag="K7", measured_at__year=2015)
    assert held.relief_mm == pytest.approx(0.2032)  # 0.008 in
    assert held.action_readings.get().action_mm == 2.4
    assert Outlook.objects.count() == 2
    assert "log.csv is imported." in at_desk.get(done["Location"]).content.decode()
    assert "log.csv" in at_desk.get(reverse("imports")).content.decode()


def test_faults_stand_first_under_the_files_own_headings(at_desk):
    bad = OWN_WORDS + "K9;;31/2/2016;0.01;2,4;47;\nK9;;1/2/2016;;24;47;\n"
    seen = match(at_desk, upload(at_desk, bad)["Location"], day_order="day")
    page = at_desk.get(seen["Location"])
    first, second = page.context["rows"][:2]
    assert (first.line, first.problems[0][0]) == (5, "Date")
    assert "2016-02-31 is not in the calendar" in first.problems[0][1]
    assert second.problems[0][0] == "12th bass"
    assert "24 mm is impossible: expected 0 to 11.6 mm" in second.problems[0][1]
    assert ("12th bass", "24", True) in second.cells
    assert "Import all" not in page.content.decode()
    refused = at_desk.post(seen["Location"])
    assert refused.status_code == 422
    assert not Instrument.objects.exists()
    assert not ImportRun.objects.exists()


def test_what_is_matched_wrongly_is_said_and_kept(at_desk):
    address = upload(at_desk, OWN_WORDS)["Location"]
    refused = match(at_desk, address, **{"column-6": "tag"})
    assert refused.status_code == 422
    assert "Two headings are matched to “tag of the instrument”" in refused.content.decode()
    refused = match(at_desk, address, **{"column-2": ""})
    assert refused.status_code == 422
    assert (
        "No heading means “day of the check-in” yet; every row needs it."
        in refused.content.decode()
    )
    assert refused.context["form"]["column-2"].value() == ""
    refused = match(at_desk, address, **{"column-2": "no_such"})
    assert "is not one of the available choices" in refused.content.decode()


def test_the_unit_of_bare_numbers_is_chosen(at_desk):
    text = "tag,date,relief\nK7,2020-01-01,0.01\n"
    seen = match(at_desk, upload(at_desk, text)["Location"], unit="in")
    at_desk.post(seen["Location"])
    assert CheckIn.objects.get().relief_mm == pytest.approx(0.254)


def test_a_sheet_of_several_is_chosen(at_desk):
    book = Workbook()
    book.active.append(["nothing", "here"])
    page = book.create_sheet("2019")
    page.append(["tag", "date", "relief"])
    page.append(["K7", "2019-01-01", 0.2])
    file = BytesIO()
    book.save(file)
    address = upload(at_desk, file.getvalue(), "log.xlsx")["Location"]
    assert "Sheet of the workbook" in at_desk.get(address).content.decode()
    seen = match(at_desk, f"{address}?sheet=2019", sheet="2019")
    at_desk.post(seen["Location"])
    assert CheckIn.objects.get().relief_mm == 0.2


@pytest.mark.parametrize(
    ("data", "name", "message"),
    [
        ("", "log.csv", "The file is empty."),
        (b"PK\x03\x04", "log.xlsx", "is cut off or damaged"),
        ("no workbook at all", "log.xlsx", "cannot be read as a workbook"),
        ("tag,date,relief\nK7,2020-01-01,0.2\n", "LOG.XLSX", "cannot be read as a workbook"),
        (b"\x89PNG\r\n", "log.zip", "cannot be read as a ZIP archive"),
        (b"\xd0\xcf\x11\xe0", "log.xlsx", "a workbook of the old kind"),
        (b"\xff\xfe\0", "log.csv", "UTF-16"),
        (
            "tag,date,relief\n" + "K7,2020-01-01,0.2\n" * 100_001,
            "log.csv",
            "more than 100,000 rows",
        ),
        (",".join(f"c{n}" for n in range(201)) + "\n", "log.csv", "201 columns; at most 200"),
        ("x" * 20_000_001, "log.csv", "The file has 20 MB, more than 20 MB"),
    ],
)
def test_a_file_that_is_none_is_refused_at_the_door(at_desk, folder, data, name, message):
    refused = upload(at_desk, data, name)
    assert refused.status_code == 422
    assert message in refused.content.decode()
    assert not folder.exists()


def test_no_file_at_all(at_desk):
    refused = at_desk.post(reverse("imports"))
    assert refused.status_code == 422
    assert "File is needed." in refused.content.decode()


def test_a_kept_file_opens_for_nobody_else(at_desk, folder):
    address = upload(at_desk, OWN_WORDS)["Location"]
    other = signed_in(UserFactory(role="owner"))
    for method in ("get", "post"):
        assert getattr(other, method)(address)["Location"] == reverse("imports")
    (kept,) = folder.iterdir()
    assert kept.stat().st_mode & 0o777 == 0o700
    assert {file.stat().st_mode & 0o777 for file in kept.iterdir()} == {0o600}


def test_a_kept_file_goes_when_imported_and_after_a_day(at_desk, folder):
    seen = match(at_desk, upload(at_desk, OWN_WORDS)["Location"], day_order="day")
    at_desk.post(seen["Location"])
    assert list(folder.iterdir()) == []
    assert at_desk.post(seen["Location"])["Location"] == reverse("imports")
    upload(at_desk, OWN_WORDS)
    (old,) = folder.iterdir()
    long_ago = time.time() - KEPT_SECONDS - 1
    os.utime(old, (long_ago, long_ago))
    upload(at_desk, OWN_WORDS)
    assert old not in list(folder.iterdir())
    assert len(list(folder.iterdir())) == 1


def test_a_double_click_on_import_says_that_it_is_done(at_desk, folder, monkeypatch):
    sent = match(at_desk, upload(at_desk, OWN_WORDS)["Location"], day_order="day")
    begun = Kept.data

    def gone(kept: Kept) -> bytes:
        kept.forget()
        return begun(kept)

    monkeypatch.setattr(Kept, "data", gone)  # the first click is done just before the second reads
    second = at_desk.post(sent["Location"], follow=True)
    assert "imported or dropped just now" in second.text
    assert not ImportRun.objects.exists()


def test_a_file_lost_between_the_steps_is_chosen_again(at_desk, folder):
    columns = upload(at_desk, OWN_WORDS)["Location"]
    (file,) = folder.glob("*/file")
    file.unlink()
    assert "no longer kept here" in at_desk.get(columns, follow=True).text


def test_the_file_name_is_only_shown(at_desk, folder):
    upload(at_desk, OWN_WORDS, "../../<b>evil</b>.csv")
    (kept,) = folder.iterdir()
    assert {file.name for file in kept.iterdir()} == {"file", "about.json"}
    assert list(Path(folder).parent.iterdir()) == [folder]


def test_a_second_import_of_the_same_file_has_nothing_to_add(at_desk):
    for _ in range(2):
        seen = match(at_desk, upload(at_desk, OWN_WORDS)["Location"], day_order="day")
        page = at_desk.get(seen["Location"])
        at_desk.post(seen["Location"])
    assert "Every row is on record already" in page.content.decode()
    assert ImportRun.objects.count() == 1


def test_many_rows_come_in_pages_of_a_hundred(at_desk):
    text = "tag,date,relief\n" + "".join(f"K{n},2020-01-01,0.2\n" for n in range(250))
    seen = match(at_desk, upload(at_desk, text)["Location"])
    assert len(at_desk.get(seen["Location"]).context["rows"]) == 100
    assert len(at_desk.get(f"{seen['Location']}?page=3").context["rows"]) == 50
    assert len(at_desk.get(f"{seen['Location']}?page=999").context["rows"]) == 50


def test_a_fault_in_the_forecast_costs_no_reading(at_desk, monkeypatch, caplog):
    def fail(*args, **kwargs):
        raise RuntimeError("no forecast today")

    monkeypatch.setattr(refreshing, "refresh", fail)
    seen = match(at_desk, upload(at_desk, OWN_WORDS)["Location"], day_order="day")
    done = at_desk.post(seen["Location"])
    assert "run manage.py recompute_outlooks" in at_desk.get(done["Location"]).content.decode()
    assert CheckIn.objects.count() == 3


def test_undo_says_what_goes_and_asks(at_desk):
    seen = match(at_desk, upload(at_desk, OWN_WORDS)["Location"], day_order="day")
    at_desk.post(seen["Location"])
    address = reverse("import-undo", kwargs={"uuid": ImportRun.objects.get().uuid})
    page = at_desk.get(address).content.decode()
    assert "3 check-ins with 3 action readings" in page
    assert "2 instruments: B2, K7" in page
    assert CheckIn.objects.count() == 3
    assert at_desk.post(address)["Location"] == reverse("imports")
    assert not Instrument.objects.exists()
    assert at_desk.get(address).status_code == 302  # undone before


def test_undo_that_cannot_be_says_why(at_desk):
    seen = match(at_desk, upload(at_desk, OWN_WORDS)["Location"], day_order="day")
    at_desk.post(seen["Location"])
    imported = CheckIn.objects.first()
    CheckInFactory(instrument=imported.instrument, replaces=imported)
    address = reverse("import-undo", kwargs={"uuid": ImportRun.objects.get().uuid})
    assert "Undo the whole import" not in at_desk.get(address).content.decode()
    refused = at_desk.post(address)
    assert refused.status_code == 422
    assert "A correction replaces an imported check-in" in refused.content.decode()
    assert CheckIn.objects.count() == 4


@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_an_export_comes_back_by_page_as_the_same_shop(at_desk, tech, kind):
    fill(tech)
    before = contents()
    sent = at_desk.get(reverse("export-everything", kwargs={"kind": kind}))
    assert sent["Content-Disposition"].startswith('attachment; filename="shop-2026-11-25.')
    data = b"".join(sent.streaming_content)
    empty_the_shop()
    seen = upload(at_desk, data, f"shop.{kind}")
    page = at_desk.get(seen["Location"]).content.decode()
    assert "this is an export of a shop" in page
    at_desk.post(seen["Location"])
    assert contents() == before


def test_an_export_as_anything_else_is_not_found(at_desk):
    assert at_desk.get(reverse("export-everything", kwargs={"kind": "pdf"})).status_code == 404


def test_an_empty_shop_can_be_exported(at_desk):
    data = b"".join(
        at_desk.get(reverse("export-everything", kwargs={"kind": "csv"})).streaming_content
    )
    with zipfile.ZipFile(BytesIO(data)) as parts:
        assert sorted(parts.namelist()) == [
            "customers.csv",
            "instruments.csv",
            "readings.csv",
            "work.csv",
        ]
    data = b"".join(
        at_desk.get(reverse("export-everything", kwargs={"kind": "xlsx"})).streaming_content
    )
    assert load_workbook(BytesIO(data)).sheetnames == [
        "customers",
        "instruments",
        "readings",
        "work",
    ]
