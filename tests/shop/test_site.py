"""Links that are read elsewhere stand on the shop's own address, whatever port a page was asked by."""

import pytest
from django.test import RequestFactory
from django.urls import reverse
from icalendar import Calendar

from measurements.plan.feed import new_feed
from shop.site import absolute, site_of
from tests.factories import BookingFactory, OutlookFactory, ServiceReportFactory

SITE = "https://shop.example"
ODD = "localhost:9999"


@pytest.mark.parametrize(
    ("setting", "site"),
    [
        ("", ""),
        (" https://Shop.example/ ", SITE),
        ("http://192.0.2.7:8000", "http://192.0.2.7:8000"),
        ("http://[2001:db8::1]", "http://[2001:db8::1]"),
    ],
)
def test_an_address_is_scheme_host_and_port(setting, site):
    assert site_of(setting, secure=False) == site


@pytest.mark.parametrize(
    "setting",
    [
        "shop.example", "ftp://shop.example", "https://", "https://shop.example/app", "https://a b",
        "https://me@shop.example", "https://shop.example:x", "https://shop.example?x", "//x",
    ],
)  # fmt: skip
def test_anything_else_is_refused_with_an_example(setting):
    with pytest.raises(ValueError, match=r"an address like http://shop\.example"):
        site_of(setting, secure=False)


def test_plain_http_is_refused_where_https_is_asked_for():
    with pytest.raises(ValueError, match=r"an address like https://shop\.example"):
        site_of("http://shop.example", secure=True)


def test_without_the_setting_a_request_says_where_it_came(settings):
    settings.SITE = ""
    request = RequestFactory().get("/", headers={"host": ODD})
    assert absolute(request, "/x/") == f"http://{ODD}/x/"


@pytest.mark.django_db
def test_no_link_that_is_read_elsewhere_depends_on_the_port_asked_by(settings, at_desk, owner):
    settings.SITE = SITE
    OutlookFactory()
    report = ServiceReportFactory()
    odd = {"headers": {"host": ODD}}
    made = at_desk.post(reverse("report-links", kwargs={"number": report.number}), **odd).text
    fed = at_desk.post(reverse("feeds"), **odd).text
    for page, path in ((made, "/r/"), (fed, "/feed/")):
        assert f"{SITE}{path}" in page
        assert ODD not in page


@pytest.mark.django_db
def test_a_calendar_knows_its_entries_again_after_the_server_has_moved(settings, at_desk, owner):
    OutlookFactory()
    BookingFactory()
    address = reverse("calendar-feed", kwargs={"token": new_feed(owner)})
    found = []
    for site, host in (
        ("", ODD),
        ("", "127.0.0.1:8000"),
        (SITE, ODD),
        ("https://new.example", ODD),
    ):
        settings.SITE = site
        feed = at_desk.get(address, headers={"host": host}).content
        found.append([str(event["UID"]) for event in Calendar.from_ical(feed).walk("VEVENT")])
    assert len(set(found[0])) == 2
    assert found == [found[0]] * 4
