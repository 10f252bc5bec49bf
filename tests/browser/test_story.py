"""The whole story in a real browser: sign in, check in, advice, work, check out, print."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from measurements.forecast.refreshing import refresh
from measurements.models import CheckIn, ServiceReport, Stage, Work
from tests.factories import CheckInFactory, InstrumentFactory


@pytest.fixture
def instrument(transactional_db):
    """An adjustable neck, measured twice before."""
    made = InstrumentFactory(tag="K7M4Q-X", joint__tilting=True, built_year=2001)
    for year, rise in ((2012, 1.2), (2019, 1.6)):
        CheckInFactory(
            instrument=made, measured_at=datetime(year, 3, 1, 12, tzinfo=UTC), bridge_rise_mm=rise
        )
    refresh()
    return made


RECEIVED = {
    "Relief": "0.20",
    "Action at 1, bass": "0.55",
    "Action at 1, treble": "0.38",
    "Action at 12, bass": "0.125 in",
    "Action at 12, treble": "6/64",
    "Saddle, bass": "3.1",
    "Saddle, treble": '0.094"',
    "Bridge rise": "1.8",
    "Humidity (% RH)": "47",
}
RETURNED = RECEIVED | {
    "Action at 12, bass": "1.65 mm",
    "Action at 12, treble": "0.85 mm",
    "Bridge rise": "-1.2",
}


def fill(page, figures: dict[str, str]) -> None:
    for label, text in figures.items():
        page.get_by_label(label, exact=True).fill(text)


def check_in(page, figures: dict[str, str]) -> None:
    page.get_by_role("link", name="Check in", exact=True).click()
    fill(page, figures)
    page.get_by_role("button", name="Save check-in").click()
    expect(page.get_by_role("status")).to_contain_text("is saved")


def test_from_sign_in_to_the_printed_report(page, live_server, tech, instrument, sign_in, watched):
    sign_in(tech)
    page.get_by_role("searchbox").fill("k7m4q-x")
    page.get_by_role("button", name="Open").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("K7M4Q-X")

    check_in(page, RECEIVED)
    advice = page.get_by_role("region", name="What to do now")
    expect(advice).to_contain_text("turn")
    expect(advice).to_contain_text("clockwise")
    expect(advice).to_contain_text("Slacken the strings")
    page.locator("#chart .main-svg").first.wait_for()

    page.get_by_role("link", name="Turn the adjuster").click()
    page.get_by_label("Turns", exact=True).fill("3/4")
    page.get_by_label("Turns", exact=True).press("Tab")
    expect(page.get_by_role("region", name="What it should do")).to_contain_text(
        "Tilt 0.00° → 0.61°"
    )
    page.get_by_role("button", name="Log this work").click()
    expect(page.get_by_role("status")).to_contain_text("The work is logged")

    check_in(page, RETURNED)
    assert [c.stage for c in CheckIn.objects.order_by("pk")][-2:] == [
        Stage.RECEIVED,
        Stage.RETURNED,
    ]
    assert Work.objects.get().turns == 0.75

    page.get_by_role("button", name="Issue a service report").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    expect(page.locator("main")).to_contain_text("3/4 turn")
    assert ServiceReport.objects.count() == 1
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF-")


def test_the_story_goes_without_javascript(without_scripts, tech, instrument):
    page = without_scripts(tech)
    page.goto(f"/instruments/{instrument.tag}/")
    check_in(page, RECEIVED)
    expect(page.get_by_role("region", name="How it has moved")).to_contain_text("Bridge rise")
    page.get_by_role("link", name="Turn the adjuster").click()
    page.get_by_label("Turns", exact=True).fill("3/4")
    page.get_by_role("button", name="Only show what it should do").click()
    expect(page.get_by_role("region", name="What it should do")).to_contain_text(
        "Tilt 0.00° → 0.61°"
    )
    page.get_by_role("button", name="Log this work").click()
    expect(page.get_by_role("status")).to_contain_text("The work is logged")


def test_a_gauge_that_types_and_sends_enter_fills_every_box(
    page, live_server, tech, instrument, sign_in, watched
):
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{instrument.tag}/check-in/")
    page.get_by_label("Relief", exact=True).focus()
    for figure in ("0.20", "0.50", "0.40", "2.30", "1.90", "3.1", "2.2", "0.4", "45", "21"):
        page.keyboard.type(figure)
        page.keyboard.press("Enter")
    assert page.get_by_label("Action at 12, treble", exact=True).input_value() == "1.90"
    assert page.get_by_label("Bridge rise", exact=True).input_value() == "0.4"
    expect(page.get_by_role("button", name="Save check-in")).to_be_focused()
    expect(page.locator("#understood-relief_mm")).to_contain_text("0.20 mm = 0.008 in")
    assert CheckIn.objects.count() == 2
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("is saved")
    assert CheckIn.objects.last().temperature_c == 21


def test_what_was_half_typed_survives_a_stray_tap(
    page, live_server, tech, instrument, sign_in, watched
):
    sign_in(tech)
    address = f"{live_server.url}/instruments/{instrument.tag}/check-in/"
    page.goto(address)
    fill(page, {"Relief": "0.21", "Bridge rise": "0.4"})
    page.get_by_role("link", name="Customers").click()
    page.goto(address)
    expect(page.get_by_label("Relief", exact=True)).to_have_value("0.21")
    page.get_by_role("button", name="Save check-in").click()
    expect(page.get_by_role("status").filter(has_text="is saved")).to_be_visible()
    page.goto(address)
    expect(page.get_by_label("Relief", exact=True)).to_have_value("")


def test_bad_input_is_explained_at_the_field_and_kept(
    page, live_server, tech, instrument, sign_in, watched
):
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{instrument.tag}/check-in/")
    fill(page, {"Relief": "2.4", "Action at 12, bass": "6/64"})
    page.get_by_role("button", name="Save check-in").click()
    expect(page.get_by_role("alert")).to_contain_text("Not saved yet")
    expect(page.locator(".field.wrong")).to_contain_text("did you mean 0.24 mm?")
    expect(page.get_by_label("Action at 12, bass", exact=True)).to_have_value("6/64")
