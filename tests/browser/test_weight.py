"""What each page costs to fetch with an empty cache, as a shop in production serves it: 60 kB at most.

Bytes as they cross the wire, heads included, of everything but the charts' library, which comes after
the page has been shown. The limit is our own.
"""

import pytest
from django.core.management import call_command
from pytest_django.live_server_helper import LiveServer

from tests.browser.test_pages import addresses  # noqa: F401  the same pages
from tests.factories import PASSWORD, InstrumentFactory, OutlookFactory

MOST_BYTES = 60_000
LIBRARY = "plotly"
PARTS = 3
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def served(transactional_db, settings, tmp_path, monkeypatch):
    """A server whose static files are hashed, compressed and sent as in production."""
    settings.ALLOWED_HOSTS = ["localhost"]
    settings.STATIC_ROOT = tmp_path / "static"
    compressed = "whitenoise.storage.CompressedManifestStaticFilesStorage"
    settings.STORAGES = {**settings.STORAGES, "staticfiles": {"BACKEND": compressed}}
    settings.WHITENOISE_USE_FINDERS = False
    call_command("collectstatic", interactive=False, verbosity=0)
    # Django's handler for tests would answer for the files before any middleware does.
    monkeypatch.setattr("django.contrib.staticfiles.handlers.StaticFilesHandler", lambda app: app)
    server = LiveServer("localhost")
    yield server.url
    server.stop()


@pytest.fixture
def signed_in(browser, served, owner):
    """The cookies of an owner's browser."""
    first = browser.new_context(service_workers="block")
    page = first.new_page()
    page.goto(f"{served}/sign-in/")
    page.get_by_label("Username").fill(owner.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    state = first.storage_state()
    first.close()
    return state


@pytest.fixture
def opened(browser, served, signed_in):
    """Opens a page of the owner's with an empty cache; answers with the bytes of each file."""

    def opening(address: str) -> dict[str, int]:
        context = browser.new_context(service_workers="block", storage_state=signed_in)
        page = context.new_page()
        asked = []
        page.on("requestfinished", lambda request: asked.append(request))
        page.goto(f"{served}{address}")
        page.wait_for_load_state("networkidle")
        sizes = [(request.url, request.sizes()) for request in asked]
        context.close()
        return {
            url.removeprefix(served): size["responseHeadersSize"] + size["responseBodySize"]
            for url, size in sizes
        }

    return opening


@pytest.mark.parametrize("part", range(PARTS))
def test_no_page_is_heavy_before_its_chart(opened, addresses, part):  # noqa: F811
    heavy = {}
    for address in addresses[part::PARTS]:
        files = opened(address)
        assert address.split("?")[0] in {url.split("?")[0] for url in files}
        weight = sum(size for url, size in files.items() if LIBRARY not in url)
        if weight > MOST_BYTES:
            heavy[address] = (weight, sorted(files.items(), key=lambda file: -file[1])[:4])
    assert heavy == {}


def test_a_thousand_instruments_are_no_heavier(opened):
    OutlookFactory.create_batch(1000)
    for address in ("/due/", "/instruments/", "/labels/", "/customers/"):
        files = opened(address)
        assert sum(files.values()) <= MOST_BYTES, (address, files)


def test_the_library_comes_only_where_a_chart_is_and_after_a_still_picture(
    browser,
    served,
    opened,
    addresses,  # noqa: F811
    signed_in,
):
    with_chart = {"/record/", "/instruments/K7M4Q-X/"}
    for address in ("/due/", "/today/", f"/instruments/{InstrumentFactory().tag}/", *with_chart):
        fetched = any(LIBRARY in url for url in opened(address))
        assert fetched == (address in with_chart), address
    context = browser.new_context(java_script_enabled=False, storage_state=signed_in)
    page = context.new_page()
    for address in with_chart:
        page.goto(f"{served}{address}")
        places = page.locator("[data-chart]")
        stills = page.locator("[data-still]:visible svg[aria-label]:visible")
        assert places.count() == stills.count() > 0, address
    context.close()
