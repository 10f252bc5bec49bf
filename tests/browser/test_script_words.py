"""What the scripts say: in the words that the page carries, and in English where it carries none."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from shop import context
from tests.factories import InstrumentFactory

WORDS = {
    "%(n)s waiting": "Wartend: %(n)s",
    "%(n)s check-in has not reached the shop's server": "%(n)s Messung kam nicht an",
    "%(n)s check-ins have not reached the shop's server": "%(n)s Messungen kamen nicht an",
    "Stay signed in": "Angemeldet bleiben",
}


@pytest.fixture
def form_address(live_server, transactional_db) -> str:
    instrument = InstrumentFactory(tag="K7M4Q-X")
    return live_server.url + reverse("check-in-add", kwargs={"tag": instrument.tag})


def save_in_vain(page: Page, form_address: str) -> None:
    """One more check-in that finds no server."""
    page.goto(form_address)
    page.route("**/waiting/pass/", lambda route: route.abort())
    page.get_by_label("Relief", exact=True).fill("0.21")
    page.get_by_role("button", name="Save check-in").click()


def test_they_speak_with_the_words_of_the_page(page, tech, sign_in, form_address, monkeypatch):
    monkeypatch.setattr(context, "script_words", lambda: WORDS)
    sign_in(tech)
    save_in_vain(page, form_address)
    expect(page.locator("#waiting-link")).to_have_text("Wartend: 1")
    # What the page has no word for is said in English.
    expect(page.locator("main")).to_contain_text("The check-in is kept on this device.")
    page.get_by_role("button", name="Sign out").click()
    asked = page.get_by_role("dialog")
    expect(asked).to_contain_text("1 Messung kam nicht an")
    asked.get_by_role("button", name="Angemeldet bleiben").click()
    save_in_vain(page, form_address)
    expect(page.locator("#waiting-link")).to_have_text("Wartend: 2")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("dialog")).to_contain_text("2 Messungen kamen nicht an")
    page.goto("about:blank")


def test_without_words_they_speak_english(page, tech, sign_in, form_address):
    sign_in(tech)
    save_in_vain(page, form_address)
    expect(page.locator("#waiting-link")).to_have_text("1 waiting")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("dialog")).to_contain_text(
        "1 check-in has not reached the shop's server"
    )
    page.goto("about:blank")
