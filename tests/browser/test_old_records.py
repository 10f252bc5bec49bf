"""Old records in a real browser: without a line of JavaScript, and accessible at every step."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from measurements.models import CheckIn, ImportRun
from tests.factories import PASSWORD

LOG = """\
Instrument;Owner;Date;Relief (in);12th bass;Humidity %;Shelf
K7;Ines Marlow;18/3/2015;0.008;2,4;47;A
K7;;19/3/2016;0.010;2,5;45;
B2;Osric Penn;1/4/2016;;9;;C
"""
FILE = {"name": "log.csv", "mimeType": "text/csv", "buffer": LOG.encode()}
BAD = {**FILE, "buffer": (LOG + "K9;;31/2/2016;x;24;47;\n").encode()}


@pytest.fixture(autouse=True)
def _folder(settings, tmp_path):
    settings.IMPORT_DIR = str(tmp_path / "imports")


def test_a_log_comes_in_and_goes_again_without_javascript(browser, live_server, owner):
    page = browser.new_context(java_script_enabled=False).new_page()
    page.set_default_timeout(8000)
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("Username").fill(owner.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.goto(f"{live_server.url}/old-records/")
    page.get_by_label("File", exact=True).set_input_files([FILE])
    page.get_by_role("button", name="Look at it").click()
    assert page.get_by_label("12th bass").input_value() == "action_12_bass"
    page.get_by_label("Days are written").select_option("day")
    page.get_by_role("button", name="Show every row").click()
    assert page.get_by_text("9 mm is unusual").is_visible()
    page.get_by_role("button", name="Import all 3 new rows").click()
    assert page.get_by_text("log.csv is imported.").is_visible()
    assert CheckIn.objects.count() == 3
    page.get_by_role("link", name="Undo this import").click()
    assert page.get_by_text("2 instruments: B2, K7").is_visible()
    page.get_by_role("button", name="Undo the whole import").click()
    assert page.get_by_text("The import of log.csv is undone.").is_visible()
    assert not CheckIn.objects.exists()
    assert ImportRun.objects.get().undone_by == owner


def test_everything_can_be_taken_out(page, live_server, owner, sign_in, watched):
    sign_in(owner)
    page.goto(f"{live_server.url}/old-records/")
    for name, ending in (("One workbook", ".xlsx"), ("Four CSV files", ".zip")):
        with page.expect_download() as download:
            page.get_by_role("link", name=name).click()
        assert download.value.suggested_filename.endswith(ending)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_step_is_accessible_and_fits(page, live_server, owner, sign_in, watched, scheme):
    page.emulate_media(color_scheme=scheme)
    sign_in(owner)
    found = []

    def look(step):
        for width in (390, 1280):
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_load_state("networkidle")
            if page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
                found.append(f"{step} at {width}: too wide")
            for violation in Axe().run(page).response["violations"]:
                nodes = [node["html"][:120] for node in violation["nodes"][:3]]
                found.append(f"{step} at {width}: {violation['id']} {nodes}")

    page.goto(f"{live_server.url}/old-records/")
    page.get_by_role("button", name="Look at it").click()
    look("no file")
    page.get_by_label("File", exact=True).set_input_files([BAD])
    page.get_by_role("button", name="Look at it").click()
    look("columns")
    page.get_by_label("Date", exact=True).select_option("")
    page.get_by_role("button", name="Show every row").click()
    look("columns refused")
    page.get_by_label("Date", exact=True).select_option("checked_in_on")
    page.get_by_label("Days are written").select_option("day")
    page.get_by_role("button", name="Show every row").click()
    look("preview")
    page.goto(f"{live_server.url}/old-records/")
    page.get_by_label("File", exact=True).set_input_files([FILE])
    page.get_by_role("button", name="Look at it").click()
    page.get_by_label("Days are written").select_option("day")
    page.get_by_role("button", name="Show every row").click()
    page.get_by_role("button", name="Import all").click()
    look("imported")
    page.get_by_role("link", name="Undo this import").click()
    look("undo")
    assert found == []
