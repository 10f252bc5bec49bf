"""A customer's story: a link from the shop opens the report, prints it, and leads nowhere else."""

import io
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect
from pypdf import PdfReader

from measurements.forecast.refreshing import refresh
from measurements.models import ReportLink, Stage
from measurements.photos.acts import add_photo, describe_photos
from measurements.reports.content import issue
from shop.logo import set_logo
from tests.factories import CustomerFactory, ShopProfileFactory
from tests.measurements.photos.pictures import encoded
from tests.measurements.reports.test_content import make_visit

LETTER_PT = (612, 792)


@pytest.fixture
def report(transactional_db, owner):
    ShopProfileFactory(name="Quayside String Workshop")
    set_logo(encoded(Image.new("RGB", (600, 200), "navy"), "PNG"))
    instrument = make_visit(customer=CustomerFactory(name="Anaïs Ó Dálaigh"))
    came = instrument.check_ins.filter(stage=Stage.RECEIVED).last()
    photo, _ = add_photo(check_in=came, data=encoded(Image.new("RGB", (900, 600))), by=owner)
    describe_photos(check_in=came, said={photo.uuid: ("crack beside the bridge", True)})
    refresh()
    return issue(instrument, owner)


@pytest.fixture
def customer(browser, live_server):
    """A browser that has never been in the shop, and what it complained of or asked of others."""
    context = browser.new_context(base_url=live_server.url)
    page = context.new_page()
    page.set_default_timeout(8000)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page, complaints
    context.close()


def link_from_the_shop(page, live_server, report) -> str:
    page.goto(f"{live_server.url}/reports/{report.number}/")
    page.get_by_role("link", name="Link for the customer").click()
    page.get_by_role("button", name="Make a link").click()
    address = page.locator("code.address").inner_text()
    assert re.fullmatch(rf"{live_server.url}/r/[\w-]{{43}}/", address)
    return address


def test_a_link_opens_the_report_and_nothing_else(
    page, live_server, counter, report, sign_in, watched, customer
):
    sign_in(counter)
    address = link_from_the_shop(page, live_server, report)
    theirs, complaints = customer
    asked: list[str] = []
    theirs.on("request", lambda request: asked.append(request.url))
    theirs.goto(address)
    theirs.wait_for_load_state("networkidle")
    expect(theirs.get_by_role("heading", level=1)).to_have_text(f"Service report {report.number}")
    expect(theirs.get_by_alt_text("crack beside the bridge")).to_be_visible()
    whole = "Array.from(document.images).every(image => image.naturalWidth > 0)"
    assert theirs.evaluate(whole)
    static = f"{live_server.url}/static/"
    assert [url for url in asked if not url.startswith((address, static))] == []
    addresses = theirs.evaluate(
        "Array.from(document.querySelectorAll('[href],[src]'), e => e.href?.baseVal ?? e.href ?? e.src)"
    )
    assert addresses
    assert [url for url in addresses if not url.startswith((address, static))] == []
    assert theirs.locator("form, nav, script").count() == 0
    theirs.goto(f"{live_server.url}/reports/{report.number}/")
    expect(theirs.get_by_role("button", name="Sign in")).to_be_visible()
    assert complaints == []
    assert theirs.context.cookies() == [
        cookie for cookie in theirs.context.cookies() if cookie["name"] == "csrftoken"
    ]  # that of the sign-in page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_customers_page_is_accessible_and_fits(
    page, live_server, counter, report, sign_in, customer, width, scheme
):
    sign_in(counter)
    address = link_from_the_shop(page, live_server, report)
    theirs, _ = customer
    theirs.emulate_media(color_scheme=scheme)
    theirs.set_viewport_size({"width": width, "height": 900})
    theirs.goto(address)
    wide = theirs.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0
    assert [found["id"] for found in Axe().run(theirs).response["violations"]] == []


def test_it_prints_from_the_browser_and_as_the_shops_pdf(
    page, live_server, counter, report, sign_in, customer
):
    sign_in(counter)
    theirs, _ = customer
    theirs.goto(link_from_the_shop(page, live_server, report))
    for paper in ("A4", "Letter"):
        printed = PdfReader(io.BytesIO(theirs.pdf(format=paper)))
        text = " ".join(" ".join(each.extract_text() for each in printed.pages).split())
        assert f"Service report {report.number}" in text
        assert "Save as PDF" not in text
        assert "This page is for you" not in text
        assert len(printed.pages) <= 2
    with theirs.expect_download() as download:
        theirs.get_by_role("link", name="Save as PDF, Letter").click()
    assert download.value.suggested_filename == f"service-report-{report.number}.pdf"
    saved = PdfReader(download.value.path())
    box = saved.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(LETTER_PT, abs=0.5)


def test_once_closed_it_opens_nothing(page, live_server, counter, report, sign_in, customer):
    sign_in(counter)
    address = link_from_the_shop(page, live_server, report)
    page.get_by_role("button", name="Close the link").click()
    expect(page.get_by_role("status")).to_contain_text("The link is closed")
    theirs, _ = customer
    for rest in ("", "pdf/", "photos/1/", "logo/"):
        assert theirs.goto(f"{address}{rest}").status == 404
        expect(theirs.get_by_role("heading")).to_have_text("Nothing is open here")
    assert [found["id"] for found in Axe().run(theirs).response["violations"]] == []
    assert ReportLink.objects.get().opened_at is None
