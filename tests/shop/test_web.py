"""What every answer tells a browser, and errors that give nothing away."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import SuspiciousOperation
from django.test import Client
from django.urls import path, reverse

from measurements.plan.feed import new_feed
from shop.urls import urlpatterns
from tests.conftest import signed_in
from tests.factories import (
    PASSWORD,
    CheckInFactory,
    CustomerFactory,
    InstrumentFactory,
    PhotoFactory,
    ShopProfileFactory,
    UserFactory,
)

ROOT = Path(__file__).parent.parent.parent
#: What the browser may do with an answer, whatever it is.
EVERYWHERE = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
LABELS = {"which": "ticked", "sheet": "a4-21", "start": "1", "copies": "1"}
SECRETS = ("Odile Marchbanks", "odile@strings.example", "a-note-nobody-else-reads", "Q9X-77")


@login_not_required
def broken(request):
    raise RuntimeError("a-note-nobody-else-reads")


@login_not_required
def suspicious(request):
    raise SuspiciousOperation("a-note-nobody-else-reads")


urlpatterns = [*urlpatterns, path("broken/", broken), path("suspicious/", suspicious)]


@pytest.fixture
def with_faults(settings):
    settings.ROOT_URLCONF = __name__


@pytest.fixture
def shop_data(db) -> dict[str, str]:
    """A shop that holds something to leak, and addresses that hold it."""
    ShopProfileFactory()
    customer = CustomerFactory(name=SECRETS[0], email=SECRETS[1], notes=SECRETS[2])
    instrument = InstrumentFactory(tag=SECRETS[3], customer=customer)
    photo = PhotoFactory(check_in=CheckInFactory(instrument=instrument, notes=SECRETS[2]))
    return {
        "customer": reverse("customer", kwargs={"code": customer.code}),
        "instrument": reverse("instrument", kwargs={"tag": instrument.tag}),
        "photo": reverse("photo", kwargs={"uuid": photo.uuid}),
    }


def put_away(response) -> None:
    """Close the file of an answer; closing the whole answer would close the test's database as well."""
    for close in response._resource_closers:
        close()


def answers(owner) -> dict[str, object]:
    """One answer of every sort, by what it is."""
    browser, stranger = signed_in(owner), Client()
    feed = reverse("calendar-feed", kwargs={"token": new_feed(owner)})
    photo = PhotoFactory()
    tag = photo.check_in.instrument.tag
    found = {
        "a page": browser.get("/due/"),
        "a chart's page": browser.get(f"/instruments/{tag}/"),
        "a fragment": browser.get("/instruments/", headers={"HX-Request": "true"}),
        "the sign-in page": stranger.get("/sign-in/"),
        "a redirect": stranger.get("/due/"),
        "a refusal by role": signed_in(UserFactory(role="")).get("/due/"),
        "a refusal without a token": Client(enforce_csrf_checks=True).post("/sign-in/"),
        "nothing there": browser.get("/nothing/"),
        "a wrong method": browser.post("/due/"),
        "a file": stranger.get("/static/shop/app.css"),
        "a script": stranger.get("/static/plotly/plotly.min.js"),
        "no such file": stranger.get("/static/shop/none.css"),
        "a photo": browser.get(reverse("photo", kwargs={"uuid": photo.uuid})),
        "a PDF": browser.post("/labels/", LABELS | {"tag": tag}),
        "a feed": stranger.get(feed),
        "the worker": stranger.get("/worker.js"),
        "the manifest": stranger.get("/shop.webmanifest"),
        "the health check": stranger.get("/health/"),
        "an export": browser.get("/old-records/export/csv/"),
    }
    assert {what: response.status_code for what, response in found.items()} == {
        **dict.fromkeys(found, 200),
        "a redirect": 302,
        "a refusal by role": 403,
        "a refusal without a token": 403,
        "nothing there": 404,
        "a wrong method": 405,
        "no such file": 404,
    }
    assert found["a PDF"]["Content-Type"] == "application/pdf"
    return found


def test_every_sort_of_answer_carries_every_header(owner, with_faults):
    found = answers(owner)
    quiet = Client(raise_request_exception=False)
    found["a fault"] = quiet.get("/broken/")
    found["an odd request"] = quiet.get("/suspicious/")
    missing = []
    for what, response in found.items():
        for name, value in EVERYWHERE.items():
            if response.get(name) != value:
                missing.append(f"{what}: {name} is {response.get(name)}")
        policy = response.get("Content-Security-Policy", "")
        for part in ("default-src 'none'", "object-src 'none'", "base-uri 'none'"):
            if part not in policy:
                missing.append(f"{what}: no {part}")
        if "frame-ancestors 'none'" not in policy:
            missing.append(f"{what} may be framed")
        if response.get("Referrer-Policy") not in ("same-origin", "no-referrer"):
            missing.append(f"{what}: Referrer-Policy is {response.get('Referrer-Policy')}")
        if "camera=()" not in response.get("Permissions-Policy", ""):
            missing.append(f"{what}: no Permissions-Policy")
        if response.get("Access-Control-Allow-Origin"):
            missing.append(f"{what} may be read by other sites")
        put_away(response)
    assert missing == []


def test_nothing_that_needs_a_sign_in_is_kept_by_browser_or_proxy(owner):
    kept = []
    for what, response in answers(owner).items():
        control = response["Cache-Control"]
        public = what in ("a file", "a script")
        # A photo never changes under its address, and stays with the browser that was shown it.
        if (
            not public
            and "no-store" not in control
            and not (what == "a photo" and "private" in control)
        ):
            kept.append(f"{what}: {control}")
        put_away(response)
    assert kept == []


def test_the_policy_allows_nothing_inline_and_nobody_else(at_desk):
    policy = at_desk.get("/due/")["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "http:" not in policy
    assert "https:" not in policy
    assert "*" not in policy
    assert "script-src 'self'" in policy


def test_every_answer_says_what_it_is_and_in_which_letters(owner):
    wrong = []
    for what, response in answers(owner).items():
        kind = response.get("Content-Type", "")
        if response.status_code not in (302, 405) and not kind:
            wrong.append(f"{what}: {kind!r}")
        if kind.startswith("text/html") and "charset=utf-8" not in kind:
            wrong.append(f"{what}: {kind!r}")
        put_away(response)
    assert wrong == []


@pytest.mark.parametrize("method", ["trace", "put", "patch", "delete"])
def test_other_methods_do_nothing(at_desk, method):
    assert getattr(at_desk, method)("/due/").status_code in (403, 405)


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_sites_form_is_refused(tech, site):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(tech)
    response = browser.post(
        reverse("sign-out-everywhere"),
        headers={"Sec-Fetch-Site": site, "Origin": "https://x.example"},
    )
    assert response.status_code == 403
    assert "open for too long" in response.content.decode()
    assert browser.get("/today/").status_code == 200


@pytest.mark.parametrize(
    "address",
    [
        "/.git/config",
        "/static/.git/config",
        "/static/../manage.py",
        "/static/%2e%2e/shop/settings.py",
        "/static/..%2f..%2fetc/passwd",
        "/static/shop/",
        "/static/",
        "/var/secret-key",
        "/photos/",
        "/media/",
        "/admin/",
        "/settings.py",
    ],
)
def test_neither_source_nor_folders_nor_files_as_they_lie_are_served(at_desk, address):
    assert at_desk.get(address).status_code == 404


def test_what_a_form_does_not_offer_is_not_set_by_it(at_bench, tech):
    """Nor by a parameter in the address, nor a second one."""
    more = {
        "is_superuser": "1",
        "is_staff": "1",
        "groups": "1",
        "session_epoch": "9",
        "username": "x",
    }
    data = {"first_name": "New", "last_name": "", "unit": "in", **more}
    assert at_bench.post("/preferences/?unit=mm&is_superuser=1", data).status_code == 302
    before = (tech.username, False, False, 0, ["technician"])
    tech.refresh_from_db()
    groups = list(tech.groups.values_list("name", flat=True))
    kept = (tech.username, tech.is_superuser, tech.is_staff, tech.session_epoch, groups)
    assert kept == before
    assert (tech.first_name, tech.unit) == ("New", "in")


def test_a_form_in_letters_that_forms_never_come_in(db):
    """As a server sees it: neither the refusal nor what answers it may read the form again."""
    browser = Client(enforce_csrf_checks=True)
    browser.get("/sign-in/")
    kind = "application/x-www-form-urlencoded; charset=utf-7"
    page = browser.generic("POST", "/sign-in/", b"a=b", content_type=kind)
    assert page.status_code == 400
    assert "Content-Security-Policy" in page
    nothing_of_the_inside(page.content.decode())


class TestErrors:
    """With debug off, as it always is unless asked for."""

    @pytest.fixture(autouse=True)
    def _faults(self, with_faults, settings, shop_data):
        settings.DEBUG = False

    @pytest.mark.parametrize(
        ("address", "status"), [("/broken/", 500), ("/suspicious/", 400), ("/nothing/", 404)]
    )
    @pytest.mark.parametrize("who", ["owner", None])
    def test_they_say_what_to_do_and_give_nothing_away(self, request, who, address, status):
        browser = Client(raise_request_exception=False)
        if who:
            browser.force_login(request.getfixturevalue("owner"))
        response = browser.get(address)
        page = response.content.decode()
        assert response.status_code == status
        assert "<h1>" in page
        nothing_of_the_inside(page)

    def test_a_role_refused(self, counter):
        page = signed_in(counter).get("/settings/")
        assert page.status_code == 403
        nothing_of_the_inside(page.content.decode())

    def test_too_many_tries(self, settings, tech):
        settings.AXES_ENABLED = True
        for _ in range(5):
            page = Client().post("/sign-in/", {"username": "tech", "password": "x"})
        assert page.status_code == 429
        nothing_of_the_inside(page.content.decode())

    def test_a_form_without_its_token(self, tech):
        page = Client(enforce_csrf_checks=True).post("/sign-in/", {"username": "tech"})
        assert page.status_code == 403
        nothing_of_the_inside(page.content.decode())

    def test_another_host_name(self):
        page = Client(raise_request_exception=False).get("/sign-in/", HTTP_HOST="evil.example")
        assert page.status_code == 400
        nothing_of_the_inside(page.content.decode())
        assert "evil.example" not in page.content.decode()


def nothing_of_the_inside(page: str) -> None:
    for word in (
        *SECRETS,
        "Traceback",
        "RuntimeError",
        "Django",
        "site-packages",
        "SELECT",
        "settings",
    ):
        assert word not in page, word


class TestProduction:
    """What the settings become in production, asked of a process of its own."""

    @pytest.fixture(scope="class")
    def ours(self) -> dict[str, object]:
        names = ("SECURE_", "SESSION_", "CSRF_", "ALLOWED_HOSTS", "DEBUG", "X_FRAME")
        code = (
            "import json, shop.settings as s;"
            f"print(json.dumps({{k: v for k, v in vars(s).items() if k.startswith({names!r})}}))"
        )
        environment = {k: v for k, v in os.environ.items() if not k.startswith("SADDLEROOM")}
        environment |= {
            "SADDLEROOM_PRODUCTION": "1",
            "SADDLEROOM_SECRET_KEY": "k" * 20 + "0123456789" + "z" * 30,
            "SADDLEROOM_HOSTS": "shop.example",
        }
        ran = subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT, env=environment, capture_output=True, text=True, check=True,
        )  # fmt: skip
        return json.loads(ran.stdout)

    @pytest.fixture
    def visitor(self, ours, settings) -> Client:
        for name, value in ours.items():
            setattr(settings, name, value)
        return Client(HTTP_HOST="shop.example")

    def test_plain_http_is_sent_to_https(self, visitor):
        response = visitor.get("/sign-in/")
        assert response.status_code == 301
        assert response["Location"] == "https://shop.example/sign-in/"

    def test_browsers_are_told_to_use_https_for_a_year_on_all_names_below(self, visitor, tech):
        for address in ("/sign-in/", "/nothing/", "/static/shop/app.css"):
            response = visitor.get(address, secure=True)
            policy = response["Strict-Transport-Security"]
            assert int(re.search(r"max-age=(\d+)", policy)[1]) >= 31_536_000
            assert "includeSubDomains" in policy
            put_away(response)

    def test_cookies_are_for_this_host_over_https_and_no_script(self, visitor, tech):
        visitor.get("/sign-in/", secure=True)
        data = {"username": "tech", "password": PASSWORD}
        visitor.post("/sign-in/", data, secure=True)
        assert set(visitor.cookies) == {"__Host-sessionid", "__Host-csrftoken"}
        for cookie in visitor.cookies.values():
            assert cookie["secure"]
            assert cookie["httponly"]
            assert cookie["samesite"] == "Lax"
            assert cookie["path"] == "/"
            assert not cookie["domain"]
        assert visitor.get("/today/", secure=True).status_code == 200

    def test_debug_is_off(self, ours):
        assert ours["DEBUG"] is False


class TestNobodyElse:
    """No page asks anything of another server; the browser's tests watch that, this reads the sources."""

    def test_no_template_script_or_style_names_another_server(self):
        files = [
            file
            for folder in ("templates", "shop/static")
            for file in (ROOT / folder).rglob("*")
            if file.suffix in {".html", ".js", ".css", ".svg", ".txt"}
        ]
        assert len(files) > 50
        named = [
            f"{file.relative_to(ROOT)}: {found}"
            for file in files
            for found in re.findall(
                r"(?:https?:)?//[a-z0-9-]+\.[a-z]{2,}[^\s\"'<)]*", file.read_text()
            )
            if "www.w3.org" not in found  # the names of SVG and XML, which nothing is fetched from
        ]
        assert named == []

    def test_charts_send_nothing_anywhere(self):
        from measurements.drawings.figures import CONFIG

        assert CONFIG["showSendToCloud"] is False
        assert CONFIG["plotlyServerURL"] == ""
        assert CONFIG["displayModeBar"] is False  # where the button to share a chart would be

    def test_chart_pages_name_no_server_but_ours(self, at_bench):
        check_in = CheckInFactory()
        page = at_bench.get(f"/instruments/{check_in.instrument.tag}/").content.decode()
        assert "plotly.min.js" in page
        assert "plot.ly" not in page
        assert "chart-studio" not in page
