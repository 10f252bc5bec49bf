"""The owner's story in a real browser: who is due, whom to tell, a letter once, a day booked."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.utils import timezone
from playwright.sync_api import expect

from measurements.forecast.refreshing import refresh
from measurements.models import Booking, Contact
from tests.factories import CheckInFactory, InstrumentFactory


@pytest.fixture
def shop(transactional_db):
    """One neck far past its reset, one with much room; both measured over years."""
    for tag, name, start in (("K7M4Q-X", "Mara Garrow", 1.2), ("W3F9P-Q", "Odd Fellow", -1.5)):
        instrument = InstrumentFactory(
            tag=tag,
            built_year=1998,
            customer__name=name,
            customer__email=f"{name.split()[0].lower()}@post.example",
        )
        for place, year in enumerate((2012, 2016, 2020, 2024)):
            CheckInFactory(
                instrument=instrument,
                measured_at=datetime(year, 5, 1, 12, tzinfo=UTC),
                bridge_rise_mm=start + 0.15 * place,
            )
    refresh()


def test_from_the_board_to_a_letter_and_a_booked_day(
    page, live_server, owner, shop, sign_in, watched
):
    sign_in(owner)
    expect(page.get_by_role("heading", level=1)).to_have_text("Which necks are due")
    expect(page.locator("table.board tbody tr")).to_have_count(2)

    page.get_by_role("searchbox").press_sequentially("garrow")
    expect(page.locator("table.board tbody tr")).to_have_count(1)
    expect(page.locator("#board")).to_contain_text("overdue")
    assert "q=garrow" in page.url
    page.reload()
    expect(page.locator("table.board tbody tr")).to_have_count(1)

    page.get_by_role("link", name="Calls", exact=True).click()
    expect(page.locator("main")).to_contain_text("the neck reset is due")
    page.get_by_label("letter about K7M4Q-X").check()
    page.get_by_role("button", name="Look at the letters to those ticked").click()
    expect(page.locator("article.letter")).to_contain_text("Dear Mara Garrow,")
    assert mail.outbox == []
    page.get_by_role("button", name="Send the letters that are ticked").click()
    expect(page.get_by_role("status").first).to_contain_text("1 letter sent.")
    expect(page.locator("main")).not_to_contain_text("K7M4Q-X")
    assert [letter.to for letter in mail.outbox] == [["mara@post.example"]]
    assert Contact.objects.get().made_by == owner

    page.goto(f"{live_server.url}/instruments/K7M4Q-X/book/")
    day = timezone.localdate() + timedelta(days=20)
    page.get_by_label("Day").fill(day.isoformat())
    page.get_by_role("button", name="Book it").click()
    expect(page.locator("main")).to_contain_text("neck reset")
    assert Booking.objects.get().day == day


def test_the_board_goes_without_javascript(without_scripts, owner, shop):
    page = without_scripts(owner)
    page.get_by_role("searchbox").fill("odd")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("table.board tbody tr")).to_have_count(1)
    page.get_by_role("link", name="Last seen").click()
    expect(page.locator("th[aria-sort]")).to_have_text("Last seen ↑")
    assert "q=odd" in page.url


def test_what_sorts_the_board_is_in_reach_on_a_phone(
    page, live_server, owner, shop, sign_in, watched
):
    page.set_viewport_size({"width": 390, "height": 800})
    sign_in(owner)
    page.get_by_role("link", name="Saddle room").click()
    expect(page).to_have_url(re.compile("sort=saddle"))
    expect(page.locator("table.board tbody th").first).to_contain_text("K7M4Q-X")


def test_a_long_name_stays_inside_what_says_it_is_saved(
    page, live_server, owner, shop, sign_in, watched
):
    sign_in(owner)
    page.goto(f"{live_server.url}/customers/add/")
    page.get_by_label("Name", exact=True).fill("Hollingberry" * 10)
    page.get_by_role("button", name="Save").click()
    said = page.locator(".messages li")
    expect(said).to_contain_text("saved")
    assert said.evaluate("(box) => box.scrollWidth <= box.clientWidth")
