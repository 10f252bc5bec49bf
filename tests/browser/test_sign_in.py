"""The second factor in a real browser, the pages at the door, and that what the policy refuses is heard."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django_otp.oath import totp
from playwright.sync_api import expect

from shop.sign_in import codes
from tests.factories import PASSWORD, CustomerFactory, InstrumentFactory, UserFactory


def looks_right(page) -> list[str]:
    """What is not accessible, or too wide for a phone."""
    found = []
    for width in (390, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        if page.evaluate("document.documentElement.scrollWidth - window.innerWidth") > 0:
            found.append(f"{page.url} is too wide at {width}")
        for wrong in Axe().run(page).response["violations"]:
            found.append(f"{page.url}: {wrong['id']} {wrong['nodes'][0]['html'][:120]}")
    return found


def now(user) -> str:
    device = codes.factor_of(user) or codes.unconfirmed(user)
    return f"{totp(device.bin_key):06d}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_second_factor_from_first_to_last(
    page, live_server, transactional_db, sign_in, watched, scheme
):
    page.emulate_media(color_scheme=scheme)
    tech = UserFactory(username="tech")
    sign_in(tech)
    page.goto(f"{live_server.url}/preferences/")
    page.get_by_role("link", name="Second factor").click()
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Set up").click()
    picture = page.get_by_role("img", name="as a code to scan")
    assert picture.evaluate("image => image.complete && image.naturalWidth > 100")
    found = looks_right(page)
    page.get_by_label("Code").fill("000000")
    page.get_by_role("button", name="Confirm").click()
    expect(page.get_by_text("This is not the code that belongs")).to_be_visible()
    codes.TOTPDevice.objects.update(throttling_failure_count=0)
    page.get_by_label("Code").fill(now(tech))
    page.get_by_role("button", name="Confirm").click()
    expect(page.get_by_role("heading", name="Your backup codes")).to_be_visible()
    paper = page.locator(".codes code").all_inner_texts()
    found += looks_right(page)
    page.get_by_role("link", name="They are written down").click()
    page.get_by_role("link", name="Second factor").click()
    expect(page.get_by_text("10 backup codes are left")).to_be_visible()
    found += looks_right(page)

    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Username").fill("tech")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Your code")).to_be_visible()
    found += looks_right(page)
    page.get_by_label("Code").fill(paper[0].lower())
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="Sign out").wait_for()
    assert found == []


def test_the_lockout_page(page, live_server, transactional_db, settings):
    settings.AXES_ENABLED = True
    page.goto(f"{live_server.url}/sign-in/")
    assert looks_right(page) == []
    for _ in range(5):
        page.get_by_label("Username").fill("nobody")
        page.get_by_label("Password").fill("wrong")
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_load_state()
    expect(page.get_by_role("heading", name="Too many wrong tries")).to_be_visible()
    assert looks_right(page) == []


def test_what_the_policy_refuses_is_heard(page, live_server, transactional_db, watched):
    """Or the tests of pages would prove nothing."""
    page.goto(f"{live_server.url}/sign-in/")
    page.evaluate(
        "document.body.setAttribute('onclick', 'window.ran = true'); document.body.click()"
    )
    page.evaluate("document.body.innerHTML += '<p style=\"color: red\">x</p>'")
    page.wait_for_timeout(200)
    heard = [words for words in watched.complaints if words.startswith("refused by the policy")]
    assert page.evaluate("window.ran") is None
    assert any("script-src-attr" in words for words in heard)
    assert any("style-src-attr" in words for words in heard)
    watched.complaints.clear()


def test_no_page_is_left_in_the_browser(page, live_server, transactional_db, sign_in, owner):
    """The board is searched without leaving it, and Back goes back; no copy of it stays in the tab."""
    InstrumentFactory(tag="KEEP-1", customer=CustomerFactory(name="Ottoline Vane"))
    sign_in(owner)
    page.goto(f"{live_server.url}/due/")
    page.get_by_label("Tag, customer").fill("Ottoline")
    page.wait_for_url("**/due/?q=Ottoline*")
    page.get_by_label("Tag, customer").fill("Ottoline nobody")
    page.wait_for_url("**nobody*")
    assert "KEEP-1" not in page.evaluate("JSON.stringify([{...sessionStorage}, {...localStorage}])")
    page.go_back()
    page.wait_for_url("**/due/?q=Ottoline&*")
    page.get_by_role("link", name="KEEP-1").first.wait_for()
