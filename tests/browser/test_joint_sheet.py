"""The joint sheet in a real browser: it follows the typing, goes without JavaScript, and prints."""

from datetime import UTC, datetime
from io import BytesIO

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from measurements.forecast.refreshing import refresh
from measurements.models import CheckIn, Work
from tests.factories import CheckInFactory, InstrumentFactory


@pytest.fixture
def instrument(transactional_db):
    made = InstrumentFactory(
        tag="K7M4Q-X", joint__tilting=True, built_year=2001, fret_count=24, string_set="light"
    )
    for year, rise in ((2012, 0.3), (2019, 0.5)):
        CheckInFactory(
            instrument=made, measured_at=datetime(year, 3, 1, 12, tzinfo=UTC), bridge_rise_mm=rise
        )
    refresh()
    return made


def test_the_sheet_follows_the_typing(page, live_server, counter, instrument, sign_in, watched):
    sign_in(counter)
    page.goto(f"{live_server.url}/instruments/{instrument.tag}/")
    page.get_by_role("link", name="What if").click()
    sheet = page.get_by_role("region", name="Joint sheet")
    expect(sheet).to_contain_text("nothing changed")
    page.get_by_label("Or turns of the adjuster").fill("1/4")
    expect(sheet).to_contain_text("1/4 turn clockwise")
    page.get_by_label("Saddle, bass, to").fill("2.6")
    expect(sheet).to_contain_text("Saddle, bass: 3.00 mm → 2.60 mm")
    expect(page.get_by_label("Saddle, bass, to")).to_be_focused()
    page.get_by_label("Saddle, bass, to").fill("26")
    expect(sheet.get_by_role("alert")).to_contain_text("Saddle, bass, to 26.00 mm: expected")
    page.get_by_label("Saddle, bass, to").fill("")
    expect(sheet).to_contain_text("1/4 turn clockwise")
    expect(sheet).not_to_contain_text("Saddle, bass: 3.00")
    # The address stays until it is asked for; its own holds only what was changed.
    assert page.url.endswith("/joint-sheet/")
    page.get_by_role("link", name="This sheet's own address").click()
    expect(page.get_by_label("Or turns of the adjuster")).to_have_value("1/4")
    assert page.url.endswith("/joint-sheet/?turns=1%2F4&unit_shown=mm")
    assert CheckIn.objects.count() == 2
    assert not Work.objects.exists()


def test_it_goes_without_javascript(browser, live_server, counter, instrument):
    context = browser.new_context(java_script_enabled=False, base_url=live_server.url)
    page = context.new_page()
    page.set_default_timeout(8000)
    page.goto("/sign-in/")
    page.get_by_label("Username").fill("counter")
    page.get_by_label("Password").fill("saddle-demo")
    page.get_by_role("button", name="Sign in").click()
    page.goto("/joint-sheet/")
    page.get_by_label("Tilt by").fill("0.3")
    page.locator("summary", has_text="Joint").click()
    page.get_by_label("Thread of the adjuster").select_option("1/4-20")
    page.get_by_role("button", name="Work it out").click()
    sheet = page.get_by_role("region", name="Joint sheet")
    expect(sheet).to_contain_text("Tilt 0.00° → 0.30°")
    expect(sheet).to_contain_text("1.27 mm")
    assert page.url.endswith("/joint-sheet/?tilt_change_deg=0.3&thread=1%2F4-20&unit_shown=mm")
    page.get_by_label("Relief to").fill("9")
    page.get_by_role("button", name="Work it out").click()
    expect(sheet.get_by_role("alert")).to_contain_text("Relief to 9.00 mm: expected")
    expect(page.get_by_label("Relief to")).to_have_value("9")
    context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_two_pages(page, live_server, counter, instrument, sign_in, watched, paper):
    sign_in(counter)
    page.goto(
        f"{live_server.url}/instruments/{instrument.tag}/joint-sheet/"
        "?turns=1/4&saddle_bass_to_mm=2.6mm&saddle_treble_to_mm=2mm&relief_to_mm=.1mm"
        "&action_1_bass_to_mm=0.5mm&action_1_treble_to_mm=0.3mm"
    )
    printed = PdfReader(BytesIO(page.pdf(format=paper, prefer_css_page_size=True)))
    assert len(printed.pages) == 2
    words = " ".join(" ".join(p.extract_text().split()) for p in printed.pages)
    for said in (
        "Joint sheet: K7M4Q-X",
        "Action at every fret",
        "1/4 turn clockwise",
        "Load on the bolt, from the strings alone",
        "Slacken the strings",
        "own instructions and warranty",
        "ISO 16:1975",
    ):
        assert said in words, said
    assert "Work it out" not in words
