"""Service reports: frozen content, numbers, who may, what the paper says."""

import base64
import io
import re
import sys
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.template.loader import render_to_string
from django.urls import reverse
from pypdf import PdfReader

from instruments.models import Instrument
from measurements.acts import void
from measurements.models import CheckIn, ServiceReport, Stage, Work
from measurements.reports import content, paper
from measurements.reports.content import FIRST_NUMBER, freeze, issue, visit
from measurements.reports.pages import page_context
from measurements.reports.paper import pdf, pdf_html
from shop.models import Customer, ShopProfile
from shop.pdf import missing_packages
from tests.conftest import signed_in
from tests.factories import (
    CheckInFactory,
    CustomerFactory,
    InstrumentFactory,
    ShopProfileFactory,
    UserFactory,
    WorkFactory,
)

pytestmark = pytest.mark.django_db
CAME = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
HOSTILE = '<script>alert("x")</script> <img src="http://x.invalid/a.png"> & Söhne'


def make_visit(**instrument):
    """An instrument with two older check-ins, then received, worked on and returned."""
    found = InstrumentFactory(**instrument)
    for years in (8, 4):
        CheckInFactory(instrument=found, measured_at=CAME - timedelta(days=365 * years))
    CheckInFactory(
        instrument=found,
        measured_at=CAME,
        bridge_rise_mm=0.55,
        actions_mm={(1, "bass"): 0.52, (12, "bass"): 2.91, (12, "treble"): 1.62},
    )
    WorkFactory(instrument=found, done_at=CAME + timedelta(hours=1))
    CheckInFactory(
        instrument=found,
        measured_at=CAME + timedelta(hours=2),
        stage=Stage.RETURNED,
        bridge_rise_mm=0.55,
        saddle_bass_mm=2.6,
        actions_mm={(1, "bass"): 0.5, (12, "bass"): 2.43, (12, "treble"): 1.61},
    )
    return Instrument.objects.get(pk=found.pk)


def shown(report):
    return render_to_string("measurements/reports/_report.html", page_context(report))


def values(content, name):
    (row,) = [row for row in content["rows"] if row["name"] == name]
    return row["wanted"], [value for _, value in row["values"]]


# What it says


def test_readings_stand_side_by_side_with_what_is_wanted(owner):
    content = issue(make_visit(), owner).content
    assert [stage for stage, _ in content["columns"]] == ["As received", "As returned"]
    assert content["columns"][0][1] == "4 May 2026"
    # Wanted: the shop's defaults for steel strings, 2.4 and 1.6 mm; common practice, no source.
    assert values(content, "Action at fret 12") == (
        "2.40 / 1.60 mm",
        ["2.91 / 1.62 mm", "2.43 / 1.61 mm"],
    )
    assert values(content, "Saddle height") == (
        "at least 1.60 mm",
        ["3.00 / 2.20 mm", "2.60 / 2.20 mm"],
    )
    assert values(content, "Action at fret 1")[1] == ["0.52 / – mm", "0.50 / – mm"]


def test_it_says_what_was_wrong_what_was_done_and_how_it_is_now(owner):
    content = issue(make_visit(), owner).content
    assert content["found"] == [
        "At the 12th fret the strings stood 0.51 mm too high on the bass side and as wanted on the "
        "treble side.",
        "The strings now stand as wanted.",
    ]
    assert content["work"] == ["Saddle lowered: bass 3.00 mm → 2.60 mm."]


def test_figures_are_in_the_customers_unit(owner):
    content = issue(make_visit(customer__unit="in"), owner).content
    # 2.91 and 1.62 mm over 25.4, the inch since 1959.
    assert values(content, "Action at fret 12")[1][0] == "0.115 / 0.064 in"
    assert "0.020 in too high" in content["found"][0]
    assert " mm" not in " ".join(content["found"] + content["outlook"] + content["work"])
    assert "Figures in inches" in str(content["drawings"])


def test_only_work_of_the_visit_is_listed(owner):
    instrument = make_visit()
    WorkFactory(instrument=instrument, done_at=CAME - timedelta(days=30), notes="earlier")
    late = WorkFactory(instrument=instrument, done_at=CAME + timedelta(days=30))
    wrong = WorkFactory(instrument=instrument, done_at=CAME + timedelta(minutes=90))
    void(wrong, by=owner, reason="logged twice")
    assert len(issue(instrument, owner).content["work"]) == 1
    late.delete()


def test_the_latest_visit_is_the_last_received_and_the_last_returned_since():
    instrument = make_visit()
    received, returned = visit(instrument)
    assert (received.measured_at, returned.stage) == (CAME, Stage.RETURNED)
    again = CheckInFactory(instrument=instrument, measured_at=CAME + timedelta(days=400))
    assert visit(instrument) == (again, None)


def test_a_voided_check_in_is_not_reported(owner):
    instrument = make_visit()
    void(CheckIn.objects.get(stage=Stage.RETURNED), by=owner, reason="wrong instrument")
    assert visit(instrument)[1] is None


def test_instrument_without_a_customer_or_a_bridge_rise_still_gets_a_report(owner):
    instrument = InstrumentFactory(customer=None)
    CheckInFactory(
        instrument=instrument,
        bridge_rise_mm=None,
        saddle_bass_mm=None,
        saddle_treble_mm=None,
        actions_mm={(12, "bass"): 2.5},
    )
    report = issue(Instrument.objects.get(pk=instrument.pk), owner)
    assert report.content["customer"] is None
    assert report.content["drawings"] == report.content["stills"] == []
    assert "There are not enough readings yet" in shown(report)
    assert pdf(report).startswith(b"%PDF")


def test_refused_without_readings(owner):
    empty = InstrumentFactory()
    CheckInFactory(
        instrument=empty,
        relief_mm=None,
        bridge_rise_mm=None,
        saddle_bass_mm=None,
        saddle_treble_mm=None,
        actions_mm={},
    )
    with pytest.raises(ValidationError, match="no readings yet: check it in first"):
        issue(empty, owner)
    assert not ServiceReport.objects.exists()


# Frozen, numbered, once


def test_a_reprint_says_the_same_whatever_changes_later(owner):
    instrument = make_visit(maker="Tarnbeck")
    ShopProfileFactory(name="Quayside String Workshop")
    report = issue(instrument, owner)
    page, paper = shown(report), pdf_html(report)
    Customer.objects.update(name="Someone Else", unit="in")
    Instrument.objects.update(maker="Other", scale_length_mm=610)
    ShopProfile.objects.update(name="Renamed", steel_action_12_bass_mm=3.0)
    CheckIn.objects.update(bridge_rise_mm=3.0)
    Work.objects.all().delete()
    again = ServiceReport.objects.get(pk=report.pk)
    assert shown(again) == page
    assert pdf_html(again) == paper
    assert "Quayside String Workshop" in paper


def test_content_is_the_same_for_the_same_facts_on_the_same_day(owner):
    instrument = make_visit()
    moment = CAME + timedelta(days=1)
    first = freeze(instrument, by=owner, issued_at=moment)
    assert freeze(instrument, by=owner, issued_at=moment + timedelta(hours=1)) == first


def test_numbers_follow_each_other_from_the_first(owner):
    instrument = make_visit()
    assert [issue(instrument, owner).number for _ in range(2)] == [FIRST_NUMBER, FIRST_NUMBER + 1]


def test_a_number_taken_in_the_meantime_is_passed_over(owner, monkeypatch):
    instrument = make_visit()
    issue(instrument, owner)
    seen = iter([FIRST_NUMBER, FIRST_NUMBER, FIRST_NUMBER + 1])  # as two other processes see them
    monkeypatch.setattr(content, "_next_number", lambda: next(seen))
    assert issue(instrument, owner).number == FIRST_NUMBER + 1
    assert ServiceReport.objects.count() == 2


def test_the_same_form_sent_twice_issues_one_report(owner):
    instrument = make_visit()
    client, nonce = signed_in(owner), str(uuid4())
    address = f"/instruments/{instrument.tag}/report/"
    answers = [client.post(address, {"nonce": nonce}) for _ in range(2)]
    assert {answer["Location"] for answer in answers} == {f"/reports/{FIRST_NUMBER}/"}
    assert client.post(address, {"nonce": str(uuid4())})["Location"] != answers[0]["Location"]
    assert ServiceReport.objects.count() == 2


# Who may


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_everyone_on_staff_issues_and_reads(role):
    instrument = make_visit()
    client = signed_in(UserFactory(role=role))
    answer = client.post(f"/instruments/{instrument.tag}/report/", follow=True)
    assert answer.status_code == 200
    assert f"Service report {FIRST_NUMBER}" in answer.content.decode()
    assert client.get("/reports/").status_code == 200


def test_strangers_are_turned_away(client, owner):
    instrument = make_visit()
    number = issue(instrument, owner).number
    pages = ["/reports/", f"/reports/{number}/", f"/reports/{number}/pdf/"]
    for page in pages:
        assert client.get(page)["Location"].startswith("/sign-in/")
    assert client.post(f"/instruments/{instrument.tag}/report/")["Location"].startswith("/sign-in/")
    nobody = signed_in(UserFactory(role=""))
    assert {nobody.get(page).status_code for page in pages} == {403}
    assert nobody.post(f"/instruments/{instrument.tag}/report/").status_code == 403
    assert ServiceReport.objects.count() == 1


@pytest.mark.parametrize("number", ["1", "999999999999999999999999"])
def test_unknown_reports_and_instruments_are_not_found(owner, number):
    client = signed_in(owner)
    assert client.get(f"/reports/{number}/").status_code == 404
    assert client.get(f"/reports/{number}/pdf/").status_code == 404
    assert client.post("/instruments/NONE/report/").status_code == 404


def test_reading_never_issues(owner):
    instrument = make_visit()
    assert signed_in(owner).get(f"/instruments/{instrument.tag}/report/").status_code == 405
    assert not ServiceReport.objects.exists()


def test_refusal_is_said_on_the_instruments_page(owner):
    instrument = InstrumentFactory(tag="BARE")
    answer = signed_in(owner).post("/instruments/BARE/report/", follow=True)
    assert answer.redirect_chain[0][0] == "/instruments/BARE/"
    assert "BARE has no readings yet" in answer.content.decode()
    assert not instrument.reports.exists()


def test_list_is_newest_first_and_finds(owner):
    ours = make_visit(tag="AAA-1", customer=CustomerFactory(name="Wanda Reed"))
    other = make_visit(tag="BBB-2")
    for instrument in (ours, other):
        issue(instrument, owner)
    client = signed_in(owner)

    def listed(query=""):
        page = client.get("/reports/", {"q": query}).context["page"]
        return [report.number for report in page]

    assert listed() == [FIRST_NUMBER + 1, FIRST_NUMBER]
    assert listed("wanda") == listed("aaa") == listed(str(FIRST_NUMBER)) == [FIRST_NUMBER]
    assert listed("٣") == listed("nobody") == []


# Page and paper


def text_of(data):
    reader = PdfReader(io.BytesIO(data))
    return reader, " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def structure(node, found):
    """Every tag of the PDF's structure with its alternative text."""
    node = node.get_object()
    if "/S" in node:
        found.append((str(node["/S"]), str(node.get("/Alt", ""))))
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        child = child.get_object() if hasattr(child, "get_object") else child
        if isinstance(child, dict) and "/S" in child:
            structure(child, found)
    return found


def test_pdf_is_tagged_titled_and_says_what_was_measured(owner):
    ShopProfileFactory(name="Quayside String Workshop", address="4 Quayside\nHarbour Town")
    instrument = make_visit(customer=CustomerFactory(name="Zoë Ní Bhriain-Łukasz"))
    reader, text = text_of(pdf(issue(instrument, owner)))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert reader.metadata.title == f"Service report {FIRST_NUMBER} – Quayside String Workshop"
    for words in (
        "Quayside String Workshop",
        "Zoë Ní Bhriain-Łukasz",
        "2.91 / 1.62 mm",
        "2.43 / 1.61 mm",
        "Saddle lowered: bass 3.00 mm → 2.60 mm.",
        "45 to 55 % relative humidity",
        f"Page 1 of {len(reader.pages)}",
    ):
        assert words in text
    tags = structure(root["/StructTreeRoot"], [])
    assert {"/H1", "/H2", "/Table", "/TH", "/Figure"} <= {tag for tag, _ in tags}
    figures = [alt for tag, alt in tags if tag == "/Figure"]
    assert len(figures) == 2
    assert "action at fret 12 2.91 mm bass" in figures[0]
    assert "readings of the bridge rise" in figures[1]
    assert len(reader.pages) == 2


def test_paper_is_a4_or_letter(owner):
    report = issue(make_visit(), owner)
    # ISO 216: A4 is 210 × 297 mm; ANSI/ASME Y14.1: Letter is 8.5 × 11 in; 72 points to the inch.
    for size, (width, height) in {
        "A4": (210 / 25.4 * 72, 297 / 25.4 * 72),
        "Letter": (612, 792),
    }.items():
        page = PdfReader(io.BytesIO(pdf(report, size))).pages[0]
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.5)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.5)


def test_download_has_a_name_and_keeps_to_known_papers(owner):
    number = issue(make_visit(), owner).number
    answer = signed_in(owner).get(f"/reports/{number}/pdf/", {"paper": "A4; } body { x"})
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="service-report-{number}.pdf"'
    assert answer.content.startswith(b"%PDF")


def test_hostile_words_are_only_words(owner, caplog):
    instrument = make_visit(
        maker=HOSTILE[:120], serial="<b>1</b>", customer=CustomerFactory(name=HOSTILE)
    )
    Work.objects.update(kind="other", notes=HOSTILE)
    ShopProfileFactory(name=HOSTILE)
    report = issue(instrument, owner)
    page = signed_in(owner).get(f"/reports/{report.number}/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
    assert "<b>1</b>" not in page
    _, text = text_of(pdf(report))
    assert '<script>alert("x")</script>' in text
    assert "x.invalid" not in caplog.text  # nothing tried to fetch it


@pytest.mark.parametrize("address", ["file:///etc/hostname", "http://127.0.0.1:9/a.png"])
def test_the_paper_fetches_nothing(owner, monkeypatch, caplog, address):
    report = issue(make_visit(), owner)
    page = f'<html lang="en"><title>x</title><img alt="x" src="{address}"></html>'
    monkeypatch.setattr(paper, "pdf_html", lambda report: page)
    pdf(report)
    assert f"Failed to load image at '{address}'" in caplog.text
    assert "protocol" in caplog.text


@pytest.mark.parametrize("name", ["محمد العربي", "W" * 120, "Anaïs Ó Dálaigh, Žofie & Sons"])
def test_names_of_any_script_and_length_fit(owner, name):
    report = issue(make_visit(customer=CustomerFactory(name=name)), owner)
    assert f"<bdi>{name}</bdi>".replace("&", "&amp;") in shown(report)
    assert len(PdfReader(io.BytesIO(pdf(report))).pages) <= 3


def test_page_keeps_to_the_content_policy(owner):
    number = issue(make_visit(), owner).number
    page = signed_in(owner).get(f"/reports/{number}/").content.decode()
    assert "style=" not in page
    assert "<style" not in page
    assert page.count("<svg") == 2  # side view and trend


def test_where_libraries_are_missing_the_page_says_what_to_install(owner, monkeypatch):
    number = issue(make_visit(), owner).number
    client = signed_in(owner)
    assert "/pdf/" in client.get(f"/reports/{number}/").content.decode()
    missing_packages.cache_clear()
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    try:
        page = client.get(f"/reports/{number}/").content.decode()
        assert "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0" in page
        assert "Printing from the browser works without them" in page
        assert "/pdf/" not in page
        answer = client.get(f"/reports/{number}/pdf/", follow=True)
        assert answer.redirect_chain[0][0] == f"/reports/{number}/"
    finally:
        missing_packages.cache_clear()


def test_no_report_on_readings_that_do_not_fit_unless_they_were_checked(at_bench):
    instrument = InstrumentFactory()
    slip = {(1, "bass"): 0.5, (1, "treble"): 0.35, (12, "bass"): 0.24, (12, "treble"): 1.88}
    CheckInFactory(instrument=instrument, actions_mm=slip)
    address = reverse("report-issue", kwargs={"tag": instrument.tag})
    page = at_bench.post(address, follow=True).content.decode()
    assert "the newest readings do not fit" in page
    assert "the readings that do not fit were checked; issue the report all the same" in page
    assert not ServiceReport.objects.exists()
    at_bench.post(address, {"anyway": "1"})
    assert ServiceReport.objects.count() == 1


@pytest.mark.parametrize("shows", [shown, pdf_html])
def test_the_pictures_keep_the_place_of_every_word_and_line(owner, shows):
    page = shows(issue(make_visit(), owner))
    coded = re.findall(r"data:image/svg\+xml;base64,([^\"]+)", page)
    pictures = [base64.b64decode(code).decode() for code in coded]
    pictures += re.findall(r"<svg.*?</svg>", page, re.S)
    assert len(pictures) == 2
    for picture in pictures:
        # Without x and y, or ends, SVG draws at the origin: SVG 2, sections 9.5 and 11.2.
        for wanted, name in ((("x", "y"), "text"), (("x1", "y1", "x2", "y2"), "line")):
            found = re.findall(rf"<{name}\b([^>]*)>", picture)
            assert len(found) > 3
            for attributes in found:
                for attribute in wanted:
                    assert re.search(rf'\b{attribute}="-?[\d.]+"', attributes), picture
