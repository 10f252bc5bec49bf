"""Every screen in both schemes and at two widths: accessible, nothing wider than the window."""

from datetime import UTC, datetime

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image

from measurements.forecast.refreshing import refresh
from measurements.photos.acts import add_photo, describe_photos
from measurements.reports.content import issue
from measurements.reports.links import make_link
from measurements.reports.revisions import revise
from shop.logo import set_logo
from tests.factories import (
    CheckInFactory,
    ContactFactory,
    DamageFactory,
    ImportRunFactory,
    InstrumentFactory,
    WorkFactory,
)
from tests.measurements.photos.pictures import another, encoded

WIDTHS = (390, 1280)
#: Tests that share the screens among them, so that they run side by side.
PARTS = 5


@pytest.fixture
def addresses(transactional_db, owner) -> list[str]:
    instrument = InstrumentFactory(
        tag="K7M4Q-X",
        joint__tilting=True,
        model="A very long model name that has to wrap somewhere",
    )
    for year, rise in ((2012, 0.1), (2016, 0.3), (2021, 0.45)):
        check_in = CheckInFactory(
            instrument=instrument,
            measured_at=datetime(year, 3, 1, 12, tzinfo=UTC),
            bridge_rise_mm=rise,
        )
    for n, words in enumerate(("", "a long word: " + "W" * 150)):
        photo, _ = add_photo(check_in=check_in, data=another(n), by=owner)
        describe_photos(check_in=check_in, said={photo.uuid: (words, True)})
    DamageFactory(check_in=check_in)
    work = WorkFactory(instrument=instrument)
    told = ContactFactory(instrument=instrument, words="A neck reset is near. " * 20)
    empty = InstrumentFactory(customer__email="a.rather.long.name@a-long-domain.example")
    refresh()
    report = issue(instrument, by=owner)
    revise(report, owner, why="the saddle was typed wrongly")
    set_logo(encoded(Image.new("RGB", (600, 200), "navy"), "PNG"))
    page = f"/instruments/{instrument.tag}/"
    return [
        "/due/",
        "/record/",
        "/today/",
        "/instruments/",
        "/labels/",
        "/add-instrument/",
        page,
        f"/instruments/{empty.tag}/",
        f"{page}edit/",
        f"{page}changes/",
        f"{page}joint-sheet/?tilt_change_deg=0.5",
        "/joint-sheet/?relief_mm=9",
        f"{page}check-in/",
        f"{page}work/joint/",
        f"{page}work/saddle/",
        f"{page}work/relief/",
        f"{page}reset-sheet/",
        f"{page}work/reset/",
        f"{page}work/nut/",
        f"{page}work/other/",
        f"/check-ins/{check_in.uuid}/",
        f"/check-ins/{check_in.uuid}/photos/",
        f"/works/{work.uuid}/",
        "/calls/",
        "/contacts/",
        f"/contacts/{told.uuid}/",
        "/bookings/",
        "/feeds/",
        "/gauges/",
        "/gauges/add/",
        "/drift/",
        "/shop/",
        "/staff/",
        "/staff/add/",
        f"/staff/{owner.pk}/",
        "/password/",
        "/prices/",
        f"{page}contact/",
        f"{page}book/",
        "/customers/",
        f"/customers/{empty.customer.code}/",
        f"/customers/{instrument.customer.code}/",
        f"/customers/{instrument.customer.code}/privacy/",
        f"/customers/{instrument.customer.code}/erase/",
        "/customers/add/",
        "/privacy/",
        "/settings/",
        "/preferences/",
        "/second-factor/",
        "/waiting/",
        "/offline/",
        "/reports/",
        "/old-records/",
        f"/old-records/{ImportRunFactory().uuid}/",
        f"/old-records/{ImportRunFactory().uuid}/undo/",
        f"/reports/{report.number}/",
        f"/reports/{report.number}/1/",
        f"/reports/{report.number}/revise/",
        f"/reports/{report.number}/mail/",
        f"/reports/{report.number}/links/",
        f"/r/{make_link(report, owner)}/",
        "/settings/logo/",
    ]


@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_screen_is_accessible_and_fits(
    page, live_server, owner, addresses, sign_in, watched, scheme, part
):
    page.emulate_media(color_scheme=scheme)
    sign_in(owner)
    found = []
    for address in addresses[part::PARTS]:
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            page.goto(f"{live_server.url}{address}")
            page.wait_for_load_state("networkidle")
            wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            if wide > 0:
                found.append(f"{address} at {width}: {wide} px too wide")
            for violation in Axe().run(page).response["violations"]:
                nodes = [node["html"][:120] for node in violation["nodes"][:3]]
                found.append(f"{address} at {width}: {violation['id']} {nodes}")
    assert found == []
