"""Every address against every role: what is not listed here fails."""

import uuid

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from PIL import Image

from instruments.models import Instrument
from measurements.models import Photo
from measurements.photos.acts import add_photo
from measurements.plan.feed import new_feed
from measurements.reports.content import issue
from measurements.reports.links import make_link
from shop.logo import set_logo
from shop.models import Customer
from shop.places import HEADER, SHOP, open_to
from tests.conftest import signed_in
from tests.factories import (
    BookingFactory,
    CheckInFactory,
    ContactFactory,
    CustomerFactory,
    DamageFactory,
    GaugeFactory,
    ImportRunFactory,
    InstrumentFactory,
    PhotoFactory,
    UserFactory,
    WorkFactory,
)
from tests.measurements.photos.pictures import encoded

STAFF = {"owner", "technician", "counter"}
BENCH = {"owner", "technician"}
#: What a customer's link opens: pages, each at the link's own token.
BY_LINK = {
    "customer-report",
    "customer-report-pdf",
    "customer-report-photo",
    "customer-report-logo",
}
OPEN = {"sign-in", "health", "ready", "calendar-feed", "offline", "worker", "manifest", *BY_LINK}
#: Before anybody is signed in; tests/shop/test_sign_in*.py say what they do.
AT_THE_DOOR = {"sign-out", "sign-in-code"}

# name of the address: who may open it (GET), who may post to it
MAY = {
    "home": (STAFF, set()),
    "due": (STAFF, set()),
    "record": (STAFF, set()),
    "today": (STAFF, set()),
    "customers": (STAFF, set()),
    "customer": (STAFF, set()),
    "customer-add": (STAFF, STAFF),
    "customer-edit": (STAFF, STAFF),
    "privacy": ({"owner"}, set()),
    "customer-privacy": ({"owner"}, set()),
    "customer-record": ({"owner"}, set()),
    "customer-erase": ({"owner"}, {"owner"}),
    "settings": ({"owner"}, {"owner"}),
    "preferences": (STAFF, STAFF),
    "waiting": (STAFF, set()),
    "outbox-pass": (STAFF, set()),
    "offline": (STAFF, set()),
    "worker": (STAFF, set()),
    "manifest": (STAFF, set()),
    "health": (STAFF, set()),
    "ready": (STAFF, set()),
    "instruments": (STAFF, set()),
    "instrument": (STAFF, set()),
    "labels": (BENCH, BENCH),
    "tag-scanned": (STAFF, set()),
    "instrument-add": (STAFF, STAFF),
    "instrument-edit": (STAFF, STAFF),
    "instrument-changes": (STAFF, set()),
    "check-in-add": (BENCH, BENCH),
    "check-in-preview": (set(), BENCH),
    "check-in": (STAFF, set()),
    "check-in-correct": (BENCH, BENCH),
    "check-in-void": (set(), BENCH),
    "work-add": (BENCH, BENCH),
    "work-measure": (set(), BENCH),
    "reset-sheet": (STAFF, set()),
    "work": (STAFF, set()),
    "work-void": (set(), BENCH),
    "photos": (BENCH, BENCH),
    "photos-describe": (set(), BENCH),
    "photo": (STAFF, set()),
    "photo-void": (set(), BENCH),
    "damage-note": (set(), BENCH),
    "damage-void": (set(), BENCH),
    "joint-sheet": (STAFF, set()),
    "joint-sheet-new": (STAFF, set()),
    "report-issue": (set(), STAFF),
    "reports": (STAFF, set()),
    "report": (STAFF, set()),
    "report-pdf": (STAFF, set()),
    "report-revision": (STAFF, set()),
    "report-revision-pdf": (STAFF, set()),
    "report-revise": (STAFF, STAFF),
    "report-mail": (STAFF, STAFF),
    "report-links": (STAFF, STAFF),
    "report-link-close": (set(), STAFF),
    **{name: (STAFF, set()) for name in sorted(BY_LINK)},
    "logo": ({"owner"}, {"owner"}),
    "shop-logo": (STAFF, set()),
    "imports": ({"owner"}, {"owner"}),
    "import-match": ({"owner"}, {"owner"}),
    "import-preview": ({"owner"}, {"owner"}),
    "import-run": ({"owner"}, set()),
    "import-undo": ({"owner"}, {"owner"}),
    "export-everything": ({"owner"}, set()),
    "password": (STAFF, STAFF),
    "the-shop": (STAFF, set()),
    "staff": ({"owner"}, set()),
    "staff-add": ({"owner"}, {"owner"}),
    "staff-edit": ({"owner"}, {"owner"}),
    "staff-password": (set(), {"owner"}),
    "prices": ({"owner"}, {"owner"}),
    "calls": (STAFF, set()),
    "letters": ({"owner"}, set()),
    "letters-send": (set(), {"owner"}),
    "contacts": (STAFF, set()),
    "contact": (STAFF, set()),
    "contact-add": (STAFF, STAFF),
    "bookings": (STAFF, set()),
    "booking-add": (STAFF, STAFF),
    "booking-cancel": (set(), STAFF),
    "gauges": (STAFF, set()),
    "gauge-add": (BENCH, BENCH),
    "gauge-edit": (BENCH, BENCH),
    "drift": (STAFF, set()),
    "feeds": (STAFF, STAFF),
    "feed-revoke": (set(), STAFF),
    "calendar-feed": (STAFF, set()),
    "sign-out": (set(), STAFF),
    "sign-out-everywhere": (set(), STAFF),
    "sign-in-code": (STAFF, STAFF),
    "second-factor": (STAFF, STAFF),
    "second-factor-set-up": (STAFF, STAFF),
    "second-factor-codes": (set(), STAFF),
    "second-factor-off": (set(), STAFF),
    "staff-factor": (set(), {"owner"}),
    "sign-in": (STAFF, STAFF),
}


def names(resolver: URLResolver) -> set[str]:
    found = set()
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            found |= names(pattern)
        elif isinstance(pattern, URLPattern) and pattern.name:
            found.add(pattern.name)
    return found


@pytest.fixture
def addresses(db) -> dict[str, str]:
    instrument = InstrumentFactory()
    check_in = CheckInFactory(instrument=instrument)
    photo, damage = PhotoFactory(check_in=check_in), DamageFactory(check_in=check_in)
    work = WorkFactory(instrument=instrument)
    person = CustomerFactory()
    logo = set_logo(encoded(Image.new("RGB", (8, 6)), "PNG"))
    kept, _ = add_photo(check_in=check_in, data=encoded(Image.new("RGB", (8, 6))), by=None)
    Photo.objects.filter(pk=kept.pk).update(in_report=True)
    report = issue(instrument, by=UserFactory())
    token = make_link(report, UserFactory())
    arguments = (
        {
            "customer": {"code": person.code},
            "customer-edit": {"code": person.code},
            "customer-privacy": {"code": person.code},
            "customer-record": {"code": person.code},
            "customer-erase": {"code": person.code},
            "check-in": {"uuid": check_in.uuid},
            "check-in-correct": {"uuid": check_in.uuid},
            "check-in-void": {"uuid": check_in.uuid},
            "photos": {"uuid": check_in.uuid},
            "photos-describe": {"uuid": check_in.uuid},
            "damage-note": {"uuid": check_in.uuid},
            "photo": {"uuid": photo.uuid},
            "photo-void": {"uuid": photo.uuid},
            "damage-void": {"uuid": damage.uuid},
            "work": {"uuid": work.uuid},
            "work-void": {"uuid": work.uuid},
            "work-add": {"tag": instrument.tag, "kind": "saddle"},
            "work-measure": {"tag": instrument.tag, "kind": "saddle"},
            "report": {"number": report.number},
            "report-pdf": {"number": report.number},
            "report-revision": {"number": report.number, "revision": 1},
            "report-revision-pdf": {"number": report.number, "revision": 1},
            "report-revise": {"number": report.number},
            "report-mail": {"number": report.number},
            "report-links": {"number": report.number},
            "report-link-close": {"number": report.number, "link": 1},
            "shop-logo": {"digest": logo.digest},
            "import-match": {"token": uuid.uuid4()},
            "import-preview": {"token": uuid.uuid4()},
            "import-run": {"uuid": ImportRunFactory().uuid},
            "import-undo": {"uuid": ImportRunFactory().uuid},
            "export-everything": {"kind": "csv"},
            "staff-edit": {"number": UserFactory().pk},
            "staff-password": {"number": UserFactory().pk},
            "staff-factor": {"number": UserFactory().pk},
            "booking-cancel": {"uuid": BookingFactory(instrument=instrument).uuid},
            "contact": {"uuid": ContactFactory(instrument=instrument).uuid},
            "gauge-edit": {"number": GaugeFactory().pk},
            "feed-revoke": {"number": 1},
            "calendar-feed": {"token": new_feed(UserFactory())},
            "customer-report-photo": {"token": token, "number": 1},
        }
        | {name: {"token": token} for name in BY_LINK - {"customer-report-photo"}}
        | {
            name: {"tag": instrument.tag}
            for name in (
                "instrument",
                "instrument-edit",
                "instrument-changes",
                "tag-scanned",
                "check-in-add",
                "check-in-preview",
                "joint-sheet",
                "report-issue",
                "reset-sheet",
                "contact-add",
                "booking-add",
            )
        }
    )
    return {name: reverse(name, kwargs=arguments.get(name)) for name in MAY}


def test_the_table_names_every_address():
    assert names(get_resolver()) == set(MAY)


@pytest.mark.parametrize("name", sorted(MAY))
def test_nobody_gets_in_without_signing_in(name, addresses):
    for method in ("get", "post"):
        response = getattr(Client(), method)(addresses[name])
        if name in OPEN:
            may_post = method == "get" or MAY[name][1]
            assert response.status_code == (200 if may_post else 405)
        else:
            assert response.status_code in (302, 405), name
            if response.status_code == 302:
                assert response["Location"].startswith(reverse("sign-in"))


def test_no_answer_to_a_stranger_holds_anything_of_the_shops_records(addresses):
    """But for who holds a link: a customer their own report, a calendar the tags that are due."""
    people = set(Customer.objects.values_list("name", flat=True))
    things = set(Instrument.objects.values_list("tag", flat=True)) | {"Tarnbeck", "Orchard"}
    for name in sorted(set(MAY) - BY_LINK):
        secrets = people if name == "calendar-feed" else people | things
        for method in ("get", "post"):
            text = getattr(Client(), method)(addresses[name]).content.decode(errors="replace")
            assert [word for word in sorted(secrets) if word in text] == [], f"{method} {name}"
    for name in sorted(BY_LINK):
        token = addresses[name].split("/")[2]
        response = Client().get(addresses[name].replace(token, "x" * len(token)))
        assert response.status_code == 404
        assert not any(word in response.content.decode() for word in people | things)


@pytest.mark.parametrize("role", [*sorted(STAFF), ""])
@pytest.mark.parametrize("name", sorted(set(MAY) - OPEN - AT_THE_DOOR))
def test_each_role_opens_what_is_its_own(name, role, addresses):
    browser = signed_in(UserFactory(role=role))
    may_get, may_post = MAY[name]
    for method, allowed in (("get", may_get), ("post", may_post)):
        status = getattr(browser, method)(addresses[name]).status_code
        if not allowed:
            assert status in (403, 405), f"{method} {name}"
        elif role in allowed:
            assert status in (200, 302, 422), f"{method} {name} as {role}"
        else:
            assert status == 403, f"{method} {name} as {role}"


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("instrument", {"tag": "NO-SUCH"}),
        ("instrument-edit", {"tag": "NO-SUCH"}),
        ("instrument-changes", {"tag": "NO-SUCH"}),
        ("joint-sheet", {"tag": "NO-SUCH"}),
        ("tag-scanned", {"tag": "NO-SUCH"}),
        ("check-in-add", {"tag": "NO-SUCH"}),
        ("customer", {"code": "NOSUCH22"}),
        ("check-in", {"uuid": uuid.uuid4()}),
        ("photos", {"uuid": uuid.uuid4()}),
        ("photo", {"uuid": uuid.uuid4()}),
        ("work", {"uuid": uuid.uuid4()}),
        ("report", {"number": 99999}),
        ("calendar-feed", {"token": "nobody-made-this"}),
        ("contact-add", {"tag": "NO-SUCH"}),
        ("booking-add", {"tag": "NO-SUCH"}),
        ("report-pdf", {"number": 99999}),
    ],
)
def test_what_does_not_exist_is_not_found(at_desk, name, arguments):
    assert at_desk.get(reverse(name, kwargs=arguments)).status_code == 404


def test_an_ended_session_sends_htmx_to_the_whole_sign_in_page(db):
    response = Client().get(reverse("today"), headers={"HX-Request": "true"})
    assert response.status_code == 200
    assert response["HX-Redirect"].startswith(reverse("sign-in"))


@pytest.mark.parametrize("role", sorted(STAFF))
def test_every_link_in_the_header_and_on_the_shops_page_opens(role, db):
    browser = signed_in(UserFactory(role=role))
    for place in open_to(HEADER + SHOP, {role}):
        assert browser.get(reverse(place.address)).status_code == 200, place
    hidden = set(HEADER + SHOP) - set(open_to(HEADER + SHOP, {role}))
    for place in hidden:
        assert browser.get(reverse(place.address)).status_code == 403, place
