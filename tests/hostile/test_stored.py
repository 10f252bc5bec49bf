"""What was stored of hostile text comes out as text: on pages, paper, in letters, files and the feed."""

import csv
import io
import re
import zipfile
from datetime import timedelta
from html.parser import HTMLParser

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar
from openpyxl import load_workbook
from pypdf import PdfReader

from instruments.models import Instrument
from measurements.models import CheckIn, Photo, State
from measurements.photos.acts import add_photo
from measurements.plan.calls import calls
from measurements.reports.content import issue
from measurements.reports.links import make_link
from shop.models import ShopProfile, User
from shop.pdf import pdf_trouble
from tests.conftest import signed_in
from tests.factories import (
    BookingFactory,
    CheckInFactory,
    ContactFactory,
    CustomerFactory,
    DamageFactory,
    GaugeFactory,
    ImportRunFactory,
    InstrumentFactory,
    OutlookFactory,
    UserFactory,
    WorkFactory,
)
from tests.hostile.values import ELEMENT, MARKUP, TEMPLATE
from tests.measurements.photos.pictures import photo
from tests.test_access import MAY, addresses  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db
#: Each text says where it stands, so that what shows it is known.
TURNED = "\u202e\u2067"
HEAD = "\r\nBcc: victim@example.org"


def evil(place: str, longest: int = 400) -> str:
    """Markup, a template, a line break before a header, and marks that turn the writing, named."""
    return f"{place}{MARKUP}{TURNED}{TEMPLATE}{HEAD}"[:longest]


@pytest.fixture
def owner_of_it() -> object:
    made = UserFactory(
        role="owner", username="walker", first_name=evil("P", 150), last_name=evil("Q", 150)
    )
    return User.objects.get(pk=made.pk)


@pytest.fixture
def shop(owner_of_it):
    """A shop in which every free text is hostile; gives its instrument."""
    ShopProfile.objects.create(
        pk=1,
        name=evil("SHOP", 120),
        address=evil("STREET"),
        phone=evil("TEL", 40),
        currency="<x-p>",
    )
    person = CustomerFactory(
        name=evil("CUSTOMER", 120), phone="<x-planted>", address=evil("HOME"), notes=evil("NOTES"),
        email="ann@example.org",
    )  # fmt: skip
    instrument = InstrumentFactory(
        tag="X-1", customer=person, maker=evil("MAKER", 120), model=evil("MODEL", 120),
        serial=evil("SERIAL", 60), string_set=evil("SET", 80), top_wood=evil("WOOD", 40),
        bracing=evil("BRACE", 40), notes=evil("REMARKS"),
    )  # fmt: skip
    check_in = CheckInFactory(
        instrument=instrument, notes=evil("READ"), gauge=evil("GAUGE", 60),
        measured_at=timezone.now() - timedelta(days=400), measured_by=owner_of_it,
    )  # fmt: skip
    DamageFactory(check_in=check_in, place=evil("PLACE", 80), words=evil("DAMAGE"))
    kept, _ = add_photo(check_in=check_in, data=photo(), by=owner_of_it)
    Photo.objects.filter(pk=kept.pk).update(words=evil("PHOTO", 200), in_report=True)
    done = check_in.measured_at + timedelta(hours=1)
    WorkFactory(instrument=instrument, kind="other", notes=evil("WORK"), done_at=done)
    OutlookFactory(instrument=instrument, state=State.OVERDUE)
    ContactFactory(
        instrument=instrument, words=evil("TOLD"), subject=evil("SUBJECT", 200), failed=evil("FAILED"),
        made_by=owner_of_it,
    )  # fmt: skip
    GaugeFactory(name=evil("TOOL", 60), notes=evil("TOOLNOTES"))
    ImportRunFactory(file_name=evil("FILE", 200), imported_by=owner_of_it)
    CheckInFactory(
        instrument=instrument, notes="x", voided_at=timezone.now(), voided_by=owner_of_it,
        void_reason=evil("VOID"),
    )  # fmt: skip
    return Instrument.objects.get(pk=instrument.pk)  # as the next request finds it


class _Elements(HTMLParser):
    """What a browser would make of a page: elements, attributes that run scripts, and the text."""

    def __init__(self) -> None:
        super().__init__()
        self.planted: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        names = {name for name, _ in attrs}
        if tag in (ELEMENT, "x-p") or any(name.startswith("on") for name in names):
            self.planted.append(tag)

    def handle_data(self, data):
        self.text.append(data)


def read(page: str) -> _Elements:
    found = _Elements()
    found.feed(page)
    return found


def stands_safely(page: str) -> str:
    """The text of a page in which nothing was planted."""
    found = read(page)
    assert found.planted == []
    assert f"<script>{ELEMENT}" not in page
    assert "15838" not in page
    unseen = re.search(".{0,80}[\u202a-\u202e\u2066-\u2069\x00-\x08\x0e-\x1f]", page)
    assert unseen is None, ascii(unseen[0])
    return "".join(found.text)


def test_on_every_page(shop, addresses, owner_of_it):  # noqa: F811
    walker = signed_in(owner_of_it)
    report = issue(shop, by=owner_of_it)
    token = make_link(report, owner_of_it)
    code = {"code": shop.customer.code}
    check_in = CheckIn.objects.filter(instrument=shop).first()
    pages = {name: addresses[name] for name, (may_get, _) in MAY.items() if may_get}
    pages |= {
        name: reverse(name, kwargs={"tag": "X-1"})
        for name in (
            "instrument", "instrument-edit", "instrument-changes", "check-in-add", "reset-sheet",
            "contact-add", "booking-add", "joint-sheet",
        )
    }  # fmt: skip
    pages |= {
        name: reverse(name, kwargs=code)
        for name in ("customer", "customer-edit", "customer-privacy", "customer-erase")
    }
    pages |= {
        name: reverse(name, kwargs={"number": report.number})
        for name in ("report", "report-mail", "report-links", "report-revise")
    }
    pages |= {
        name: reverse(name, kwargs={"uuid": check_in.uuid})
        for name in ("check-in", "check-in-correct", "photos")
    }
    pages["customer-report"] = reverse("customer-report", kwargs={"token": token})
    pages["contact"] = reverse("contact", kwargs={"uuid": shop.contacts.get().uuid})
    pages["letters"] = reverse("letters") + "?tag=X-1"
    pages["work-add"] = reverse("work-add", kwargs={"tag": "X-1", "kind": "other"})
    told = ""
    for name, address in pages.items():
        if name.endswith("pdf"):
            continue
        answer = walker.get(address)
        if not answer.streaming and "html" in answer.get("Content-Type", ""):
            told += stands_safely(answer.content.decode())
    for place in (
        "SHOP", "CUSTOMER", "HOME", "NOTES", "MAKER", "MODEL", "SERIAL", "REMARKS", "READ",
        "PLACE", "DAMAGE", "PHOTO", "WORK", "TOLD", "FAILED", "TOOL", "FILE", "VOID", "P<", "STREET",
        "SUBJECT",
    ):  # fmt: skip
        assert place in told, f"{place} is on no page: the test looks at nothing"


@pytest.mark.skipif(bool(pdf_trouble()), reason=pdf_trouble() or "PDF files can be made")
def test_on_paper(shop, owner_of_it):
    walker = signed_in(owner_of_it)
    report = issue(shop, by=owner_of_it)
    answers = [
        walker.get(reverse("report-pdf", kwargs={"number": report.number})),
        walker.post(
            reverse("labels"),
            {"which": "found", "sheet": _first_sheet(walker), "start": 1, "copies": 1, "q": "X-1"},
        ),
    ]
    for answer in answers:
        assert answer["Content-Type"] == "application/pdf", answer.content[:300]
        reader = PdfReader(io.BytesIO(answer.content))
        text = "".join(page.extract_text() for page in reader.pages).replace("\n", "")
        assert f"<{ELEMENT}" in text, "the markup stands there as text"
        assert "15838" not in text
        assert "/JavaScript" not in str(reader.trailer["/Root"])
        assert [a for page in reader.pages for a in page.get("/Annots", [])] == []
        told = " ".join(str(value) for value in (reader.metadata or {}).values())
        assert "\r" not in told
        assert "\u202e" not in told


def _first_sheet(walker) -> str:
    page = walker.get(reverse("labels")).content.decode()
    return re.search(r'<select name="sheet".*?<option value="([^"]+)"', page, re.S)[1]


def test_in_letters(shop, owner_of_it, mailoutbox):
    walker = signed_in(owner_of_it)
    shop.contacts.all().delete()
    assert [call.instrument.tag for call in calls(["X-1"])] == ["X-1"]
    walker.post(reverse("letters-send"), {"tag": ["X-1"]})
    (letter,) = mail.outbox
    assert letter.to == ["ann@example.org"]
    message = letter.message()
    assert message["Bcc"] is None
    assert not re.search(r"\n\S", message["Subject"])  # folded lines begin with a space
    head = message.as_bytes().split(b"\n\n")[0]
    assert not re.search(rb"^Bcc:", head, re.M | re.I)


def test_in_the_feed(shop, owner_of_it):
    from measurements.plan.feed import new_feed

    hostile = "X\r\nEND:VEVENT\r\nEND:VCALENDAR\r\nBEGIN:VEVENT\r\nSUMMARY:planted, one; two\\n"
    BookingFactory(instrument=shop, day=timezone.localdate(), words=hostile)
    answer = signed_in(owner_of_it).get(
        reverse("calendar-feed", kwargs={"token": new_feed(owner_of_it)})
    )
    feed = Calendar.from_ical(answer.content)
    events = [str(event["SUMMARY"]) for event in feed.walk("VEVENT")]
    assert len(events) == 2
    assert not any(words.startswith("planted") for words in events)
    assert re.search(rb"^END:VCALENDAR", answer.content.rstrip()[:-20], re.M) is None


def test_in_files(shop, owner_of_it):
    walker = signed_in(owner_of_it)
    shop.maker, shop.notes = "=CMD|'/C calc'!A0", "\t=1+1"
    shop.save()
    answer = walker.get(reverse("export-everything", kwargs={"kind": "csv"}))
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    for name in archive.namelist():
        for row in csv.reader(io.StringIO(archive.read(name).decode("utf-8"))):
            for cell in row:
                number = re.fullmatch(r"[+-]?[\d.eE+-]+", cell)
                assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell
    answer = walker.get(reverse("export-everything", kwargs={"kind": "xlsx"}))
    book = load_workbook(io.BytesIO(b"".join(answer.streaming_content)))
    cells = [cell for page in book for row in page.iter_rows() for cell in row]
    assert [cell.coordinate for cell in cells if cell.data_type == "f"] == []
    assert any("=CMD" in str(cell.value) for cell in cells)
