"""The check-in form under the hands of someone with a gauge: keyboard only, live, in order."""

from contextlib import suppress
from datetime import UTC, datetime

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Error, expect

from measurements.forecast.refreshing import refresh
from measurements.models import CheckIn
from tests.factories import CheckInFactory, InstrumentFactory

TAG = "K7M4Q-X"
FIGURES = ("0.20", "0.50", "0.35", "2.4", "1.9", "3.0", "2.2", "0.4", "45", "21")
NAMES = (
    "relief_mm",
    "action_1_bass_mm",
    "action_1_treble_mm",
    "action_12_bass_mm",
    "action_12_treble_mm",
    "saddle_bass_mm",
    "saddle_treble_mm",
    "bridge_rise_mm",
    "humidity_pct",
    "temperature_c",
)
# Counts what the hands do, over all pages of a session.
COUNTING = """
const count = (name) => sessionStorage.setItem(name, Number(sessionStorage.getItem(name) || 0) + 1);
addEventListener("keydown", () => count("keys"), true);
addEventListener("change", () => count("changes"), true);
for (const kind of ["pointerdown", "mousedown", "wheel", "touchstart"])
  addEventListener(kind, () => count("mouse"), true);
"""


@pytest.fixture
def instrument(transactional_db):
    """Measured three times before, in readings that agree."""
    made = InstrumentFactory(tag=TAG, joint__tilting=True, built_year=2001)
    for year, rise in ((2012, 0.1), (2016, 0.25), (2021, 0.35)):
        CheckInFactory(
            instrument=made, measured_at=datetime(year, 3, 1, 12, tzinfo=UTC), bridge_rise_mm=rise
        )
    refresh()
    return made


@pytest.fixture
def form(page, live_server, tech, instrument, sign_in, watched):
    """The check-in form, open."""
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{TAG}/check-in/")
    return page


def counted(page, name: str) -> int:
    return int(page.evaluate(f"sessionStorage.getItem('{name}') || 0"))


def test_from_the_tag_to_the_saved_check_in_by_keyboard_alone(
    page, live_server, tech, instrument, sign_in, watched
):
    sign_in(tech)
    page.add_init_script(COUNTING)
    page.goto(f"{live_server.url}/")
    keyboard = page.keyboard
    expect(page.get_by_role("searchbox")).to_be_focused()
    keyboard.type(TAG.lower())
    keyboard.press("Enter")
    expect(page.locator("#id_relief_mm")).to_be_focused()
    for name, figure in zip(NAMES, FIGURES, strict=True):
        expect(page.locator(f"#id_{name}")).to_be_focused()
        keyboard.type(figure)
        keyboard.press("Enter")
    expect(page.get_by_role("button", name="Save check-in")).to_be_focused()
    # In memory, SQLite locks whole tables: let the last answer come before the check-in is written.
    expect(page.locator("#understood-temperature_c")).to_contain_text("21.0 °C = 70 °F")
    keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("is saved")

    saved = CheckIn.objects.last()
    assert (saved.relief_mm, saved.bridge_rise_mm, saved.temperature_c) == (0.2, 0.4, 21)
    assert saved.action_readings.count() == 4
    beyond_the_figures = counted(page, "keys") - sum(map(len, FIGURES)) - len(TAG)
    assert beyond_the_figures == len(FIGURES) + 2  # one after the tag, one after each, one to save
    assert counted(page, "changes") == len(FIGURES) + 1  # every box once, and the search
    assert counted(page, "mouse") == 0


@pytest.mark.parametrize("ending", ["Enter", "Tab"])
def test_a_gauge_moves_on_in_the_instruments_own_order(form, instrument, ending):
    instrument.measuring_order = ["bridge rise", "saddle", "margins", "treble first"]
    instrument.set_frets = [1, 7, 12]
    instrument.save()
    form.reload()
    order = [
        "bridge_rise_mm", "saddle_treble_mm", "saddle_bass_mm", "margin_treble_mm",
        "margin_bass_mm", "relief_mm", "action_1_treble_mm", "action_1_bass_mm",
        "action_7_treble_mm", "action_7_bass_mm", "action_12_treble_mm", "action_12_bass_mm",
        "humidity_pct", "temperature_c",
    ]  # fmt: skip
    for place, name in enumerate(order):
        expect(form.locator(f"#id_{name}")).to_be_focused()
        form.keyboard.type(f"{1 + place / 10:.1f}")
        form.keyboard.press(ending)
    for place, name in enumerate(order):
        expect(form.locator(f"#id_{name}")).to_have_value(f"{1 + place / 10:.1f}")


def test_each_box_says_at_once_what_was_understood(form):
    form.keyboard.type("0.2")  # nothing but typing: neither Enter nor Tab
    expect(form.locator("#understood-relief_mm")).to_contain_text("0.20 mm = 0.008 in")
    expect(form.locator("#understood-relief_mm")).to_contain_text("as last time")
    rise = form.locator("#id_bridge_rise_mm")
    rise.focus()
    form.keyboard.type("0.4 0.5 0.4")
    said = form.locator("#understood-bridge_rise_mm")
    expect(said).to_contain_text("mean of 3: 0.43 mm = 0.017 in, spread 0.06 mm")
    expect(said).to_contain_text("outlook expected")
    assert "understood-bridge_rise_mm" in rise.get_attribute("aria-describedby")


def test_a_suspect_is_named_and_the_box_marked_while_typing(form):
    for figure in ("0.20", "0.50", "0.35", "4.2", "1.9", "3.0", "2.2", "0.4"):
        form.keyboard.type(figure)
        form.keyboard.press("Enter")
    expect(form.locator("#preview-summary")).to_contain_text("The readings do not agree.")
    expect(form.locator("#preview-summary")).to_contain_text("action at fret 12, bass")
    wrong = form.locator("#id_relief_mm")
    wrong.fill("24")
    expect(form.locator(".field.wrong")).to_contain_text("expected −0.50 mm to 1.50 mm")
    expect(wrong).to_have_attribute("aria-invalid", "true")
    wrong.fill("0.24")
    expect(form.locator(".field.wrong")).to_have_count(0)
    form.locator("#id_action_12_bass_mm").fill("2.4")
    expect(form.locator("#preview-summary")).to_have_text("The readings agree.")
    expect(form.locator("#preview-options .option").first).to_be_visible()


def test_a_late_answer_never_overwrites_a_newer_one(form):
    held = []

    def hold_the_first(route):
        if held:
            route.continue_()
        else:
            held.append((route, route.fetch()))

    form.route("**/check-in/preview/", hold_the_first)
    relief, said = form.locator("#id_relief_mm"), form.locator("#understood-relief_mm")
    with form.expect_request("**/check-in/preview/"):
        relief.fill("0.11")
    with form.expect_response(lambda answer: "0.22 mm" in answer.text()):
        relief.fill("0.22")
    expect(said).to_contain_text("0.22 mm")
    route, answer = held[0]
    assert "0.11 mm" in answer.text()
    with suppress(Error):  # the browser has let go of it
        route.fulfill(response=answer)
    form.wait_for_timeout(300)
    expect(said).to_contain_text("0.22 mm")


def test_a_summary_that_says_the_same_is_not_put_in_again(form):
    form.keyboard.type("0.2")
    summary = form.locator("#preview-summary")
    expect(summary).to_contain_text("Not enough readings")
    form.evaluate(
        """() => {
          window.touched = 0;
          const watch = new MutationObserver(() => { window.touched += 1; });
          watch.observe(document.getElementById("preview-summary"), {childList: true, subtree: true});
        }"""
    )
    form.keyboard.type("1")
    expect(form.locator("#understood-relief_mm")).to_contain_text("0.21 mm")
    assert form.evaluate("window.touched") == 0


def test_the_hint_follows_the_box_in_use(form):
    hints = form.locator("#hints")
    expect(hints.get_by_role("heading", name="Relief")).to_be_visible()
    form.locator("#id_bridge_rise_mm").focus()
    expect(hints.get_by_role("heading", name="Bridge rise")).to_be_visible()
    expect(hints.get_by_role("heading", name="Relief")).to_be_hidden()
    hints.get_by_text("How each reading is taken").click()
    form.locator("#id_relief_mm").focus()
    expect(hints.get_by_role("heading", name="Relief")).to_be_hidden()  # closed stays closed


def test_the_hints_open_without_javascript(without_scripts, tech, instrument):
    page = without_scripts(tech)
    page.goto(f"/instruments/{TAG}/check-in/")
    page.get_by_text("How each reading is taken").click()
    for title in ("Relief", "Action", "Saddle", "Bridge rise", "The room"):
        expect(page.locator("#hints").get_by_role("heading", name=title)).to_be_visible()
    assert page.locator("#hints svg[role=img]").count() == 6


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_filled_form_is_accessible_and_fits(form, width, scheme):
    form.set_viewport_size({"width": width, "height": 900})
    form.emulate_media(color_scheme=scheme)
    form.reload()
    form.get_by_text("How each reading is taken").click()
    form.locator("#id_relief_mm").fill("24")
    for name, figure in zip(NAMES[1:], FIGURES[1:], strict=True):
        form.locator(f"#id_{name}").fill(figure)
    form.locator("#id_saddle_bass_mm").fill("3.0 3.1 3.0")
    expect(form.locator("#understood-saddle_bass_mm")).to_contain_text("mean of 3")
    expect(form.locator("#preview-options .option").first).to_be_visible()
    found = Axe().run(form)
    assert found.violations_count == 0, found.generate_report()
    assert form.evaluate("document.documentElement.scrollWidth") <= width
