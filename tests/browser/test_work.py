"""The loop at the adjuster on a phone: turn, log, measure, until the target is met; and the reset sheet."""

import re
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import expect
from pypdf import PdfReader

from measurements.models import CheckIn, Work
from tests.factories import CheckInFactory, InstrumentFactory

PHONE = {"width": 390, "height": 844}
#: What the neck on the bench really does in one turn: 8 % more than its drawing, which says 4.14 mm at the
#: saddle (70 mm arm, by similar triangles); the 12th fret moves by 0.498 of it.
RISE_PER_TURN = -4.14 * 1.08
SHARE = 0.498
TARGETS = (2.4, 1.6)
PARTS = ("work/saddle", "work/relief", "work/nut", "work/reset", "reset-sheet")


class Neck:
    """An instrument that answers to its adjuster; readings as a gauge of 0.05 mm gives them."""

    def __init__(self) -> None:
        self.turns = 0.0
        self.rise, self.actions = 2.65, (3.4, 2.6)

    def readings(self) -> dict[str, str]:
        moved = self.turns * RISE_PER_TURN
        figures = [mm + SHARE * moved for mm in self.actions] + [self.rise + moved]
        names = ("Action at 12, bass", "Action at 12, treble", "Bridge rise")
        return {name: f"{round(mm * 20) / 20:.2f}" for name, mm in zip(names, figures, strict=True)}


@pytest.fixture
def instrument(transactional_db):
    made = InstrumentFactory(tag="K7M4Q-X", joint__tilting=True, built_year=2001)
    CheckInFactory(
        instrument=made,
        measured_at=timezone.now() - timedelta(hours=1),
        bridge_rise_mm=2.65,
        saddle_treble_mm=1.60,
        actions_mm={(1, "bass"): 0.58, (1, "treble"): 0.40, (12, "bass"): 3.4, (12, "treble"): 2.6},
    )
    return made


def said(page) -> str:
    return page.get_by_role("region", name="What next").inner_text()


def turns_in(words: str) -> float:
    """The turns that the advice names, negative where it says to raise the action."""
    whole, part, way = re.search(
        r"(?:^|\n)(\d+(?= ))?\s?(\d+/\d+)? ?turns? (clockwise|anticlockwise) should", words
    ).groups()
    top, bottom = (part or "0/1").split("/")
    size = float(whole or 0) + int(top) / int(bottom)
    return size if way == "clockwise" else -size


def one_step(page, neck: Neck) -> None:
    """Do what the page says: the turns are in the box already; log them, turn them, measure."""
    neck.turns += turns_in(said(page))
    page.get_by_role("button", name="Log this work").click()
    expect(page.get_by_role("status")).to_contain_text("The work is logged")
    assert "Measure again" in said(page)
    for label, text in neck.readings().items():
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Save these readings").click()
    expect(page.get_by_role("status")).to_contain_text("The readings are saved")
    expect(page.get_by_role("region", name="What the last step did")).to_contain_text("Foretold")


def turn_until_told_to_stop(page, neck: Neck) -> int:
    for steps in range(8):
        if "On target: stop" in said(page):
            return steps
        one_step(page, neck)
    raise AssertionError(f"never on target: {said(page)}")


def test_the_loop_ends_on_target_on_a_phone(page, live_server, tech, instrument, sign_in, watched):
    page.set_viewport_size(PHONE)
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{instrument.tag}/work/joint/")
    assert "to lower the action" in said(page)
    neck = Neck()
    steps = turn_until_told_to_stop(page, neck)
    assert 1 <= steps <= 4
    left = [mm + SHARE * neck.turns * RISE_PER_TURN for mm in neck.actions]
    assert all(abs(mm - wanted) < 0.2 for mm, wanted in zip(left, TARGETS, strict=True))
    assert Work.objects.count() == steps
    assert CheckIn.objects.count() == steps + 1
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_each_stage_of_the_loop_is_accessible_and_fits(
    page, live_server, tech, instrument, sign_in, watched, scheme
):
    page.emulate_media(color_scheme=scheme)
    sign_in(tech)
    address = f"{live_server.url}/instruments/{instrument.tag}/"
    page.goto(f"{address}work/joint/")
    found = faults(page, "before a step")
    neck = Neck()
    neck.turns = turns_in(said(page))
    page.get_by_role("button", name="Log this work").click()
    expect(page.get_by_role("heading", name="Measure again")).to_be_visible()
    found += faults(page, "a step to be measured")
    page.get_by_role("button", name="Save these readings").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing measured yet")
    found += faults(page, "nothing measured")
    page.get_by_label("Action at 12, bass", exact=True).fill("5.1")  # far from what was foretold
    page.get_by_role("button", name="Save these readings").click()
    expect(page.get_by_role("region", name="What the last step did")).to_be_visible()
    found += faults(page, "a step measured")
    work = Work.objects.get()
    for rest in (
        f"works/{work.uuid}/",
        *(f"instruments/{instrument.tag}/{part}/" for part in PARTS),
    ):
        page.goto(f"{live_server.url}/{rest}")
        found += faults(page, rest)
    assert found == []


def faults(page, where: str) -> list[str]:
    """What Axe finds, and what is wider than the window, on a phone and on a desk."""
    found = []
    for width in (1280, PHONE["width"]):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_load_state("networkidle")
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        if wide > 0:
            found.append(f"{where} at {width}: {wide} px too wide")
        for violation in Axe().run(page).response["violations"]:
            nodes = [node["html"][:120] for node in violation["nodes"][:3]]
            found.append(f"{where} at {width}: {violation['id']} {nodes}")
    return found


def test_the_loop_goes_without_javascript(without_scripts, tech, instrument):
    page = without_scripts(tech, viewport=PHONE)
    page.goto(f"/instruments/{instrument.tag}/work/joint/")
    before = page.get_by_label("Turns", exact=True).input_value()
    page.get_by_role("button", name="1/8 more").click()
    assert page.get_by_label("Turns", exact=True).input_value() != before
    page.get_by_role("button", name="1/8 back").click()
    assert page.get_by_label("Turns", exact=True).input_value() == before
    assert Work.objects.count() == 0
    assert 1 <= turn_until_told_to_stop(page, Neck()) <= 4


def test_the_buttons_add_up_keep_the_focus_and_log_nothing(
    page, live_server, tech, instrument, sign_in, watched
):
    page.set_viewport_size(PHONE)
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{instrument.tag}/work/joint/")
    box = page.get_by_label("Turns", exact=True)
    page.get_by_role("button", name="Empty").click()
    expect(box).to_have_value("")
    for so_far in ("1/8", "1/4", "3/8"):
        page.get_by_role("button", name="1/8 more").press("Enter")
        expect(box).to_have_value(so_far)
        expect(page.locator("#turn-total")).to_contain_text(f"In the box: {so_far}")
        expect(page.get_by_role("button", name="1/8 more")).to_be_focused()
    expect(page.get_by_role("region", name="What it should do")).to_contain_text(
        "With this 3/8 turn: 3/8 turn of 2 3/8 used; 2 left."
    )
    box.fill("2")
    box.press("Tab")
    expect(page.locator("#turn-total")).to_contain_text("In the box: 2")
    expect(page.get_by_role("button", name="1/2 more")).to_be_disabled()
    assert Work.objects.count() == 0


def test_the_buttons_are_big_enough_for_a_thumb(
    page, live_server, tech, instrument, sign_in, watched
):
    page.set_viewport_size(PHONE)
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{instrument.tag}/work/joint/")
    for button in page.locator("button.turn").all():
        box = button.bounding_box()
        assert box["height"] >= 44
        assert box["width"] >= 44


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_reset_sheet_is_one_page(
    page, live_server, tech, transactional_db, sign_in, watched, paper
):
    high = InstrumentFactory(
        tag="R3S3T-X",
        set_frets=[1, 5, 7, 9, 12, 14],
        model="A very long model name that has to wrap somewhere",
    )
    CheckInFactory(
        instrument=high, measured_at=datetime(2026, 1, 5, 12, tzinfo=UTC), bridge_rise_mm=3.1,
        saddle_bass_mm=1.7, saddle_treble_mm=1.6, margin_bass_mm=3.6, margin_treble_mm=2.4,
        relief_mm=None,
        actions_mm={(1, "bass"): 0.58, (1, "treble"): 0.4, (12, "bass"): 3.1, (12, "treble"): 3.0},
    )  # fmt: skip
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{high.tag}/reset-sheet/")
    pdf = PdfReader(BytesIO(page.pdf(format=paper)))
    assert len(pdf.pages) == 1
    words = " ".join(pdf.pages[0].extract_text().split())
    assert "Wedge at the heel" in words
    assert "Trim the bass cheek" in words
    assert "check in as returned" in words
