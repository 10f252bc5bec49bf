"""No reading is lost: drafts, forms without a connection, and the outbox, in a real browser."""

import re
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from measurements.forecast.refreshing import refresh
from measurements.models import CheckIn, Work
from shop import offline
from tests.factories import PASSWORD, CheckInFactory, InstrumentFactory, UserFactory

# What a browser says of its own accord when a request cannot be made, and htmx of its preview.
INHERENT = re.compile(
    r"net::ERR_|htmx:(sendError|afterRequest|sendAbort)|status of 50\d|Failed to fetch"
)


@pytest.fixture
def browser_context_args(browser_context_args):
    return {**browser_context_args, "service_workers": "allow"}


@pytest.fixture
def instrument(transactional_db):
    made = InstrumentFactory(tag="K7M4Q-X", built_year=2001)
    CheckInFactory(instrument=made, measured_at=datetime(2012, 3, 1, 12, tzinfo=UTC))
    refresh()
    return made


@pytest.fixture
def form_address(live_server, instrument) -> str:
    return f"{live_server.url}/instruments/{instrument.tag}/check-in/"


@pytest.fixture
def bench(page, live_server, tech, instrument, sign_in, form_address):
    """The technician, signed in, with the form opened once and kept by the worker."""
    complaints: list[str] = []
    watch(page, complaints)
    sign_in(tech)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.goto(form_address)
    wait_until_kept(page)
    yield page
    # Lets what the page and its worker still ask for end before the database is emptied.
    for left in page.context.pages:
        left.goto("about:blank")
    assert complaints == []


def watch(page: Page, complaints: list[str]) -> None:
    page.set_default_timeout(8000)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console",
        lambda said: (
            complaints.append(said.text)
            if said.type == "error" and "422" not in said.text and not INHERENT.search(said.text)
            else None
        ),
    )


def until(page: Page, question: str, argument: object = None) -> None:
    """Ask the page until it says yes. (wait_for_function does not wait for a promise's answer.)"""
    for _ in range(160):
        if page.evaluate(question, argument):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"never came true: {question}")


def wait_until_kept(page: Page, count: int = 2) -> None:
    """Until the worker holds the form and the page of what waits."""
    until(
        page,
        """async (count) => {
          const names = (await caches.keys()).filter((name) => name.startsWith("saddleroom pages"));
          const kept = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
          return kept.flat().length >= count;
        }""",
        count,
    )


def fill(page: Page, **figures: str) -> None:
    for label, text in ({"Relief": "0.21", "Bridge rise": "0.4"} | figures).items():
        page.get_by_label(label, exact=True).fill(text)


def save(page: Page) -> None:
    page.get_by_role("button", name="Save check-in").click()


def test_offline_in_the_middle_the_tab_killed_and_exactly_one_check_in(
    bench, form_address, instrument
):
    page, context = bench, bench.context
    before = CheckIn.objects.count()
    fill(page)
    context.set_offline(True)
    page.get_by_label("Humidity (% RH)").fill("47")
    save(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Waiting on this device")
    entry = page.get_by_role("listitem").filter(has_text="K7M4Q-X").first
    expect(entry).to_contain_text("Waiting to be sent")
    expect(entry).to_contain_text("No connection")
    expect(entry).to_contain_text("0.21")
    expect(page.get_by_role("link", name="1 waiting")).to_be_visible()
    page.close()
    assert CheckIn.objects.count() == before

    back = context.new_page()
    back.set_default_timeout(8000)
    back.goto(form_address)  # opens, still without a connection, and empty
    expect(back.locator("main")).to_contain_text("This form was kept on this device")
    expect(back.get_by_label("Relief", exact=True)).to_have_value("")
    context.set_offline(False)
    expect(back.get_by_role("status").filter(has_text="Sent and saved")).to_contain_text("K7M4Q-X")
    expect(back.locator("#waiting-link")).to_be_hidden()
    back.reload()
    assert CheckIn.objects.count() == before + 1
    saved = CheckIn.objects.latest("pk")
    assert (saved.relief_mm, saved.humidity_pct) == (0.21, 47)


def test_two_check_ins_of_one_instrument_without_a_connection_are_two(bench, form_address):
    page = bench
    page.context.set_offline(True)
    for relief in ("0.21", "0.22"):
        page.goto(form_address)
        fill(page, Relief=relief)
        save(page)
        expect(page.get_by_role("heading", level=1)).to_have_text("Waiting on this device")
    expect(page.get_by_role("link", name="2 waiting")).to_be_visible()
    page.context.set_offline(False)
    expect(page.get_by_role("status").filter(has_text="Sent and saved")).to_have_count(2)
    assert list(CheckIn.objects.order_by("pk").values_list("relief_mm", flat=True))[-2:] == [
        0.21,
        0.22,
    ]


def test_an_answer_that_is_lost_makes_no_second_check_in(bench, form_address):
    page = bench
    before = CheckIn.objects.count()

    def lose_the_answer(route):
        route.fetch()
        route.abort()

    page.route(form_address, lambda route: lose_the_answer(route), times=1)
    fill(page)
    save(page)
    # The page of what waits sends again as it loads.
    expect(page.get_by_role("status").filter(has_text="Sent and saved")).to_be_visible()
    expect(page.locator("#waiting li")).to_have_count(0)
    assert CheckIn.objects.count() == before + 1


def test_what_is_refused_says_why_and_can_be_mended(bench, form_address):
    page = bench
    before = CheckIn.objects.count()
    page.context.set_offline(True)
    fill(page, Relief="2.4")
    save(page)
    expect(page.locator("#waiting li").first).to_contain_text("Waiting to be sent")
    page.context.set_offline(False)
    entry = page.locator("li[data-uuid]")
    expect(entry).to_contain_text("Refused, not saved")
    expect(entry).to_contain_text("did you mean 0.24 mm?")
    expect(page.get_by_role("link", name="1 waiting, 1 refused")).to_be_visible()
    entry.get_by_role("link", name="Open in the form").click()
    expect(page.locator("main")).to_contain_text("did you mean 0.24 mm?")
    expect(page.get_by_label("Relief", exact=True)).to_have_value("2.4")
    page.get_by_label("Relief", exact=True).fill("0.24")
    save(page)
    expect(page.get_by_role("status").first).to_contain_text("is saved")
    expect(page.locator("#waiting-link")).to_be_hidden()
    assert CheckIn.objects.count() == before + 1
    assert CheckIn.objects.latest("pk").relief_mm == 0.24


def test_a_refused_one_is_thrown_away_only_when_asked_twice(bench, form_address):
    page = bench
    page.context.set_offline(True)
    fill(page, Relief="2.4")
    save(page)
    throw = page.get_by_role("button", name="Throw away")
    throw.click()
    expect(page.get_by_role("dialog")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("li[data-uuid]")).to_have_count(1)
    throw.click()
    page.get_by_role("button", name="Throw it away").click()
    expect(page.locator("li[data-uuid]")).to_have_count(0)
    expect(page.get_by_role("status")).to_contain_text("Nothing waits")
    page.context.set_offline(False)


def test_signing_out_warns_by_name_and_empties_the_device(bench, form_address, tech, sign_in):
    page = bench
    before = CheckIn.objects.count()
    page.context.set_offline(True)
    fill(page, Relief="2.4")  # refused when sent, so it is still here at sign-out
    save(page)
    expect(page.locator("li[data-uuid]")).to_contain_text("K7M4Q-X")
    page.context.set_offline(False)
    expect(page.locator("li[data-uuid]")).to_contain_text("Refused")
    page.get_by_role("button", name=re.compile("^Sign out")).focus()
    page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("1 check-in has not reached the shop's server")
    expect(dialog).to_contain_text("K7M4Q-X")
    expect(dialog.get_by_role("button", name="Stay signed in")).to_be_focused()
    page.keyboard.press("Enter")
    expect(dialog).to_be_hidden()
    expect(page.locator("li[data-uuid]")).to_have_count(1)
    page.get_by_role("button", name=re.compile("^Sign out")).first.click()
    expect(dialog).to_be_visible()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")

    until(
        page,
        "async () => (await caches.keys()).every((name) => !name.startsWith('saddleroom pages'))",
    )
    page.context.set_offline(True)
    page.goto(form_address)
    expect(page.get_by_role("heading", level=1)).to_have_text("No connection to the shop's server")
    expect(page.locator("body")).not_to_contain_text("K7M4Q-X")
    page.context.set_offline(False)
    sign_in(tech)
    expect(page.locator("#waiting-link")).to_be_hidden()
    assert CheckIn.objects.count() == before


def test_a_sign_out_without_a_connection_is_made_good_later(bench, live_server):
    page = bench
    page.context.set_offline(True)
    fill(page)
    save(page)
    page.get_by_role("button", name=re.compile("^Sign out")).click()
    page.get_by_role("button", name="Sign out and lose this").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("No connection to the shop's server")
    assert page.evaluate("caches.keys().then((names) => names.length)") == 1  # the files alone
    page.context.set_offline(False)
    page.goto(f"{live_server.url}/today/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")


def test_a_session_that_ended_costs_no_reading(bench, form_address, live_server, tech):
    page = bench
    before = CheckIn.objects.count()
    fill(page)
    page.context.clear_cookies(name="sessionid")
    save(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    expect(page.locator("main")).to_contain_text("Nothing is lost")
    page.get_by_label("Username").fill(tech.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("status").filter(has_text="Sent and saved")).to_be_visible()
    assert CheckIn.objects.count() == before + 1


def test_another_person_sees_that_something_waits_but_neither_form_nor_readings(
    bench, form_address, live_server, tech, sign_in
):
    page = bench
    other = UserFactory(username="second", role="technician")
    before = CheckIn.objects.count()
    page.context.set_offline(True)
    fill(page, Relief="0.23")
    save(page)
    expect(page.locator("li[data-uuid]")).to_have_count(1)
    page.context.clear_cookies()
    page.goto("about:blank")
    page.context.set_offline(False)
    sign_in(other)
    assert page.evaluate("caches.keys().then((names) => names.length)") == 1
    page.get_by_role("link", name="1 waiting").click()
    expect(page.locator("li[data-uuid]")).to_contain_text("by tech")
    expect(page.locator("li[data-uuid]")).not_to_contain_text("0.23")
    assert CheckIn.objects.count() == before


def test_a_draft_outlives_the_tab_with_all_that_was_chosen(bench, form_address, live_server):
    page, context = bench, bench.context
    fill(page, Notes="buzzes at 3")
    page.get_by_label("as returned").check()
    page.get_by_label("Strung and at pitch").uncheck()
    page.get_by_label("Relief was").select_option(index=1)
    number = page.locator("[name=uuid]").input_value()
    chosen = page.get_by_label("Relief was").input_value()
    page.close()

    back = context.new_page()
    back.set_default_timeout(8000)
    back.goto(form_address)
    expect(back.get_by_role("status").first).to_contain_text("filled in again")
    expect(back.get_by_label("Relief", exact=True)).to_have_value("0.21")
    expect(back.get_by_label("Notes")).to_have_value("buzzes at 3")
    expect(back.get_by_label("as returned")).to_be_checked()
    expect(back.get_by_label("Strung and at pitch")).not_to_be_checked()
    expect(back.get_by_label("Relief was")).to_have_value(chosen)
    expect(back.locator("[name=uuid]")).to_have_value(number)
    back.get_by_role("button", name="Throw it away").click()
    expect(back.get_by_label("Relief", exact=True)).to_have_value("")
    expect(back.get_by_label("Strung and at pitch")).to_be_checked()
    expect(back.locator("[name=uuid]")).not_to_have_value(number)
    back.reload()
    expect(back.get_by_label("Relief", exact=True)).to_have_value("")


def test_a_draft_of_work_goes_once_the_work_is_logged_and_not_before(bench, live_server, tech):
    page = bench
    address = f"{live_server.url}/instruments/K7M4Q-X/work/other/"
    page.goto(address)
    page.get_by_label("Notes").fill("cleated a crack")
    page.goto(f"{live_server.url}/today/")
    page.goto(address)
    expect(page.get_by_label("Notes")).to_have_value("cleated a crack")
    page.context.clear_cookies(name="sessionid")
    page.get_by_role("button", name="Log this work").click()
    page.get_by_label("Username").fill(tech.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    page.goto(address)
    expect(page.get_by_label("Notes")).to_have_value("cleated a crack")
    page.get_by_role("button", name="Log this work").click()
    expect(page.get_by_role("status").first).to_contain_text("logged")
    page.goto(address)
    expect(page.get_by_label("Notes")).to_have_value("")
    assert Work.objects.count() == 1


def opened_beside(page: Page, address: str) -> Page:
    beside = page.context.new_page()
    beside.set_default_timeout(8000)
    beside.goto(address)
    return beside


def test_two_tabs_of_one_form_keep_a_draft_each(bench, form_address):
    """Both open before anything is typed: each has a number of its own."""
    other = opened_beside(bench, form_address)
    bench.get_by_label("Notes").fill("typed in the first")
    other.get_by_label("Notes").fill("typed in the second")
    bench.get_by_label("Notes").press_sequentially(" tab")
    other.reload()
    expect(other.get_by_label("Notes")).to_have_value("typed in the second")
    bench.goto("about:blank")
    other.close()

    bench.goto(form_address)
    expect(bench.get_by_label("Notes")).to_have_value("typed in the first tab")
    expect(bench.get_by_role("status").first).to_contain_text("Something else typed here is kept")
    bench.get_by_role("button", name="Throw it away").click()
    bench.reload()
    expect(bench.get_by_label("Notes")).to_have_value("typed in the second")
    expect(bench.get_by_role("status").first).not_to_contain_text("Something else")
    bench.get_by_role("button", name="Throw it away").click()
    bench.reload()
    expect(bench.get_by_label("Notes")).to_have_value("")


def test_a_tab_filled_in_from_a_draft_parts_from_the_one_that_is_typing_it(bench, form_address):
    bench.get_by_label("Notes").fill("one")
    other = opened_beside(bench, form_address)
    expect(other.get_by_label("Notes")).to_have_value("one")
    number = bench.locator("[name=uuid]").input_value()
    expect(other.locator("[name=uuid]")).to_have_value(number)
    other.get_by_label("Notes").fill("one, and more")
    expect(bench.get_by_text("open in another tab too")).to_be_visible()
    expect(bench.locator("[name=uuid]")).not_to_have_value(number)
    bench.get_by_label("Notes").fill("two")
    other.close()
    bench.goto("about:blank")

    bench.goto(form_address)
    found = [bench.get_by_label("Notes").input_value()]
    bench.get_by_role("button", name="Throw it away").click()
    bench.reload()
    found += [bench.get_by_label("Notes").input_value()]
    assert found == ["two", "one, and more"]


def test_a_tab_hears_that_its_form_was_saved_in_another(bench, form_address):
    fill(bench)
    other = opened_beside(bench, form_address)
    before = CheckIn.objects.count()
    save(other)
    expect(other.get_by_role("status").first).to_contain_text("saved")
    expect(bench.get_by_text("saved or thrown away in another tab")).to_be_visible()
    save(bench)
    expect(bench).to_have_url(other.url)
    assert CheckIn.objects.count() == before + 1


def test_the_form_of_an_instrument_only_looked_at_opens_too(bench, live_server):
    page = bench
    seen, unseen = InstrumentFactory(tag="SEEN-2"), InstrumentFactory(tag="UNSEEN-3")
    page.goto(f"{live_server.url}/instruments/{seen.tag}/")
    wait_until_kept(page, 3)
    page.context.set_offline(True)
    page.goto(f"{live_server.url}/instruments/{unseen.tag}/check-in/")
    expect(page.get_by_role("heading", level=1)).to_have_text("No connection to the shop's server")
    page.get_by_role("link", name=seen.tag).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(seen.tag)
    today = page.evaluate(
        "new Date(Date.now() - new Date().getTimezoneOffset() * 60000).toISOString().slice(0, 10)"
    )
    expect(page.locator("[name=day]")).to_have_value(today)
    page.context.set_offline(False)


def test_a_scanned_tag_opens_its_kept_form_without_a_connection(bench, live_server, instrument):
    page = bench
    page.context.set_offline(True)
    page.goto(f"{live_server.url}/t/{instrument.tag}/")
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"Check in {instrument.tag}")
    assert page.url.endswith(f"/instruments/{instrument.tag}/check-in/")
    page.goto(f"{live_server.url}/t/UNSEEN-3/")
    expect(page.get_by_role("heading", level=1)).to_have_text("No connection to the shop's server")
    page.context.set_offline(False)


def test_what_was_said_of_earlier_figures_goes_with_the_connection(bench):
    page = bench
    relief = page.get_by_label("Relief", exact=True)
    relief.fill("0.21")
    expect(page.locator("#understood-relief_mm")).to_contain_text("0.21 mm = 0.008 in")
    page.context.set_offline(True)
    relief.fill("0.31")
    expect(page.locator("#preview-summary")).to_contain_text("No connection: save all the same.")
    expect(page.locator("#understood-relief_mm")).to_be_empty()
    expect(page.locator("#preview-options")).to_be_empty()
    page.context.set_offline(False)


def test_a_server_that_answers_is_never_passed_over_for_what_was_kept(
    bench, form_address, instrument
):
    page = bench
    InstrumentFactory._meta.model.objects.filter(pk=instrument.pk).update(model="Renamed")
    page.goto(form_address)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Renamed")
    expect(page.locator("body[data-kept]")).to_have_count(0)


def test_a_new_release_replaces_what_the_old_one_kept_and_keeps_the_forms(
    bench, form_address, monkeypatch
):
    page = bench
    names, release = offline.kept_files()
    monkeypatch.setattr(offline, "kept_files", lambda: (names, "the-next"))
    page.evaluate("navigator.serviceWorker.ready.then((registration) => registration.update())")
    until(
        page,
        "async (release) => (await caches.keys()).every((name) => !name.includes(release))",
        release,
    )
    names = page.evaluate("caches.keys()")
    assert sorted(names) == ["saddleroom files the-next", "saddleroom pages the-next"]
    page.context.set_offline(True)
    page.goto(form_address)
    expect(page.locator("main")).to_contain_text("This form was kept on this device")
    page.context.set_offline(False)


def test_nothing_but_forms_and_files_is_kept(bench, live_server):
    page = bench
    for address in ("/customers/", "/due/", "/today/", "/reports/"):
        page.goto(f"{live_server.url}{address}")
    kept = page.evaluate(
        """async () => {
          const names = await caches.keys();
          const keys = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
          return keys.flat().map((request) => new URL(request.url).pathname);
        }"""
    )
    pages = {path for path in kept if not path.startswith("/static/")}
    assert pages == {"/offline/", "/waiting/", "/instruments/K7M4Q-X/check-in/"}
    assert not [path for path in kept if "plotly" in path]


def test_without_a_worker_the_outbox_still_holds(browser, live_server, tech, instrument):
    context = browser.new_context(service_workers="block")
    page = context.new_page()
    page.set_default_timeout(8000)
    page.goto(f"{live_server.url}/sign-in/?next=/instruments/{instrument.tag}/check-in/")
    page.get_by_label("Username").fill(tech.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    fill(page)
    context.set_offline(True)
    before = CheckIn.objects.count()
    save(page)
    expect(page.get_by_role("status").first).to_contain_text("is kept on this device")
    context.set_offline(False)
    expect(page.get_by_role("status").filter(has_text="Sent and saved")).to_be_visible()
    assert CheckIn.objects.count() == before + 1
    context.close()
