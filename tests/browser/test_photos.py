"""Adding photos on a phone: several at once, words, the report's tick, damage beside them."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

from measurements.forecast.refreshing import refresh
from measurements.models import Damage, Photo
from measurements.photos.reads import jpeg_of
from tests.factories import CheckInFactory
from tests.measurements.photos.pictures import encoded, located, turned

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def pictures(tmp_path) -> list[str]:
    """A large one, one held sideways, one with its place in it, and a file that is none."""
    files = {
        "large.jpg": encoded(Image.effect_noise((2400, 1800), 60).convert("RGB")),
        "sideways.jpg": turned(6),
        "placed.jpg": located(),
        "letter.jpg": b"%PDF-1.7",
    }
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    return [str(tmp_path / name) for name in files]


def add(page, check_in, pictures) -> None:
    page.goto(f"/instruments/{check_in.instrument.tag}/")
    page.get_by_role("link", name="Add photos or damage").click()
    page.get_by_label("Photos", exact=True).set_input_files(pictures)
    page.get_by_role("button", name="Add photos").click()


def describe_and_note(page) -> None:
    page.get_by_label("What it shows").nth(1).fill("crack beside the bridge")
    page.get_by_label("Show in the report").nth(1).check()
    page.get_by_label("Where").fill("top")
    page.get_by_role("button", name="Save words and ticks").click()
    expect(page.get_by_role("status")).to_contain_text("The words and ticks are saved.")
    expect(page.get_by_role("alert")).to_contain_text("all you typed is kept")
    expect(page.get_by_label("Where")).to_have_value("top")
    page.get_by_label("What is damaged").fill("crack, 40 mm")
    page.get_by_label("Photo of it").select_option(label="photo 2: crack beside the bridge")
    page.get_by_role("button", name="Note damage").click()
    expect(page.get_by_role("status")).to_contain_text("Noted: top: crack, 40 mm.")


@pytest.fixture
def check_in(transactional_db):
    made = CheckInFactory(instrument__tag="K7M4Q-X")
    refresh()
    return made


def test_photos_are_added_described_and_chosen_on_a_phone(
    page, live_server, tech, check_in, sign_in, watched, pictures
):
    page.set_viewport_size(PHONE)
    sign_in(tech)
    page.goto(f"{live_server.url}/instruments/{check_in.instrument.tag}/")
    page.get_by_role("link", name="Add photos or damage").click()
    chooser = page.get_by_label("Photos", exact=True)
    assert chooser.get_attribute("capture") is None  # the phone offers its camera and its album
    assert chooser.get_attribute("multiple") is not None
    chooser.set_input_files(pictures)
    page.get_by_role("button", name="Add photos").click()
    expect(page.get_by_role("status")).to_contain_text("3 photos are saved.")
    expect(page.get_by_role("alert")).to_contain_text("letter.jpg: it is a PDF document")
    images = page.locator(".photos img")
    for n, (width, height) in enumerate([(400, 300), (40, 80), (80, 40)]):
        expect(images.nth(n)).to_have_js_property("naturalWidth", width)
        expect(images.nth(n)).to_have_js_property("naturalHeight", height)
    stored = Photo.objects.first()
    assert (stored.width, stored.height) == (1600, 1200)
    assert b"Exif" not in b"".join(jpeg_of(photo) for photo in Photo.objects.all())

    describe_and_note(page)
    assert Damage.objects.get().photo == Photo.objects.get(words="crack beside the bridge")
    small = page.eval_on_selector_all(
        "main button, main summary, main select, main textarea, main input:not([type=hidden])",
        "all => all.filter(e => e.checkVisibility() && e.type !== 'checkbox'"
        " && e.getBoundingClientRect().height < 44).map(e => e.outerHTML)",
    )
    assert small == []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        found = Axe().run(page).response["violations"]
        assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found] == []


def test_it_goes_without_javascript(without_scripts, tech, check_in, pictures):
    page = without_scripts(tech, viewport=PHONE)
    add(page, check_in, pictures[:3])
    expect(page.get_by_role("status")).to_contain_text("3 photos are saved.")
    describe_and_note(page)
    page.get_by_text("Void photo 1", exact=True).first.click()
    page.get_by_label("Why is it wrong?").first.fill("blurred")
    page.get_by_role("button", name="Void photo 1").click()
    expect(page.get_by_role("status")).to_contain_text("The photo is voided")
    assert Photo.objects.filter(voided_at=None).count() == 2
