"""Every page asked for with parameters and paths that nobody would type: an answer, never a fault."""

import re
import uuid
from html import unescape
from urllib.parse import quote, unquote_plus

import pytest
from django.test import Client
from django.urls import reverse

from measurements.plan.letters import one_line
from tests.conftest import signed_in
from tests.factories import (
    CheckInFactory,
    ContactFactory,
    CustomerFactory,
    InstrumentFactory,
    UserFactory,
)
from tests.hostile.forms import forms_of
from tests.hostile.values import ELEMENT, HEADER, MARKUP, VALUES
from tests.test_access import MAY, addresses  # noqa: F401  a fixture

#: The names of all parameters that any page reads; "nobody" is one that none does.
NAMES = (
    "q", "page", "sort", "state", "joint", "bench", "unseen", "tag", "customer", "paper", "size",
    "sheet", "replaces", "then", "strings", "next", "nobody",
)  # fmt: skip
OPENED = sorted(name for name, (may_get, _) in MAY.items() if may_get)
SLOWLY = ("nul", "lone surrogate", "path")  # enough for pages that take a second each
ANSWERS = (200, 302, 400, 404, 422)


@pytest.fixture
def walker(db):
    return signed_in(UserFactory(role="owner", username="walker"))


def ask(client: Client, address: str, value: str, names: set[str]):
    query = "&".join(f"{name}={quote(value, safe='', errors='surrogatepass')}" for name in names)
    return client.get(f"{address}?{query}")


def searched_by(client: Client, address: str) -> set[str]:
    """The boxes of a page's own search or question."""
    page = client.get(address)
    if page.streaming or "html" not in page.get("Content-Type", ""):
        return set()
    asked = [form for form in forms_of(page.content.decode()) if form.method == "get"]
    return {name for form in asked for name in form.names}


def test_every_parameter_that_a_view_reads_is_walked():
    """The source itself says which there are."""
    from tests.test_imports import modules

    read = set()
    for app in ("shop", "instruments", "measurements"):
        for path in modules(app):
            text = path.read_text(encoding="utf-8")
            read |= set(re.findall(r'\bGET\.get(?:list)?\("(\w+)"', text))
    assert read <= set(NAMES) | {"done"}


@pytest.mark.parametrize("name", OPENED)
def test_hostile_parameters_are_answered(name, addresses, walker):  # noqa: F811
    names = {*NAMES, *searched_by(walker, addresses[name])}
    slow = name.endswith("pdf")
    for what in SLOWLY if slow else VALUES:
        answer = ask(walker, addresses[name], VALUES[what][: 50_000 // len(names)], names)
        assert answer.status_code in ANSWERS, what
        if not answer.streaming and what in ("markup", "template"):
            assert f"<{ELEMENT}".encode() not in answer.content, what
            assert b"15838" not in answer.content, what


PATHS = [
    "/instruments/{}/", "/customers/{}/", "/t/{}/", "/check-ins/{}/", "/reports/{}/", "/r/{}/",
    "/r/{}/pdf/", "/feed/{}.ics", "/works/{}/", "/photos/{}/", "/logo/{}/", "/old-records/{}/",
    "/static/{}", "/{}",
]  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_hostile_paths_lead_nowhere(path, walker):
    for what, value in VALUES.items():
        address = path.format(quote(value[:500], safe="", errors="surrogatepass"))
        assert walker.get(address).status_code in (301, 302, 400, 404), what
        raw = path.format(value[:500].encode("utf-8", "surrogatepass").hex())
        assert walker.get(raw).status_code in (301, 302, 400, 404), what


@pytest.mark.parametrize(
    "path",
    ["/static/../manage.py", "/static/..%2f..%2fmanage.py", "/static/%2e%2e/shop/settings.py",
     "/photos/../../var/secret-key", "//example.org/", "/\\example.org", "/reports/1001%00/"],
)  # fmt: skip
def test_no_path_leads_out_of_the_house(path, walker):
    answer = walker.get(path)
    assert answer.status_code in (301, 302, 400, 404)
    assert not answer.get("Location", "/").startswith(("//", "http", "/\\"))


@pytest.mark.parametrize(
    "header",
    ["HX-Current-URL", "HX-Target", "HX-Request", "Referer", "User-Agent", "Accept-Language",
     "X-Forwarded-For", "X-Forwarded-Host", "If-Modified-Since", "Range", "Cookie"],
)  # fmt: skip
def test_hostile_headers_are_answered(header, db):
    for value in (MARKUP, "\x80\xff", "x" * 8000, "=" * 300, "-1", HEADER.replace("\r\n", " ")):
        for client in (Client(), signed_in(UserFactory(role="owner"))):
            given = {header: value} if header != "Cookie" else {}
            if not given:
                client.cookies["sessionid"] = "x\x01'"[:3]
                client.cookies["messages"] = MARKUP.replace("\n", "")
            answer = client.get(reverse("due"), headers={"HX-Request": "true"} | given)
            assert answer.status_code in (200, 302), value


def test_keys_of_others_open_nothing_more_than_ones_own(db):
    """A feed is revoked, and an uploaded file seen, by whose it is only."""
    from measurements.plan.feed import new_feed
    from shop.models import FeedToken

    token = new_feed(UserFactory(role="counter"))
    key = FeedToken.objects.get().pk
    stranger = signed_in(UserFactory(role="owner"))
    stranger.post(reverse("feed-revoke", kwargs={"number": key}))
    assert Client().get(reverse("calendar-feed", kwargs={"token": token})).status_code == 200

    first = signed_in(UserFactory(role="owner"))
    from django.core.files.uploadedfile import SimpleUploadedFile

    data = b"tag,checked_in_on,bridge_rise_mm\nK7,2020-02-03,0.4\n"
    sent = first.post(reverse("imports"), {"file": SimpleUploadedFile("log.csv", data)})
    assert first.get(sent["Location"]).status_code == 200
    assert stranger.get(sent["Location"])["Location"] == reverse("imports")
    assert first.get(reverse("import-match", kwargs={"token": uuid.uuid4()})).status_code == 302


def test_no_address_of_ours_holds_anything_of_a_person(walker, addresses):  # noqa: F811
    """Walks every page of a shop whose one customer has a name, telephone and address like no other."""
    person = CustomerFactory(
        name="Ottoline Vane",
        phone="01632 960777",
        email="ottoline@example.org",
        address="Mole Lane",
    )
    instrument = InstrumentFactory(customer=person, tag="OV-1", serial="Z-9")
    CheckInFactory(instrument=instrument)
    ContactFactory(instrument=instrument, to="ottoline@example.org")
    pages = [addresses[name] for name in OPENED]
    pages += [
        reverse("customer", kwargs={"code": person.code}),
        reverse("customer-erase", kwargs={"code": person.code}),
        reverse("instrument", kwargs={"tag": "OV-1"}),
    ]
    seen = 0
    for page in pages:
        answer = walker.get(page)
        if answer.streaming or "html" not in answer.get("Content-Type", ""):
            continue
        text = answer.content.decode()
        seen += "Ottoline" in text
        found = re.findall(r'(?:href|action|src|hx-get|hx-post)="([^"]*)"', text)
        own = [
            unquote_plus(unescape(link))
            for link in found
            if not link.startswith(("tel:", "mailto:"))
        ]
        leaks = [link for link in own if re.search(r"ottoline|vane|960777|mole lane", link, re.I)]
        assert leaks == [], page
    assert seen > 3


def test_a_letters_head_holds_one_line():
    assert "\n" not in one_line(HEADER)
    assert one_line("A\u202eB\0C") == "A B C"
