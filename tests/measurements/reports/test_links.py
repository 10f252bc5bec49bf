"""Links for customers: unguessable, for a while, revocable, and nothing else behind them."""

import re
from datetime import timedelta
from html.parser import HTMLParser

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from measurements.models import Photo, ReportLink, Stage
from measurements.photos.acts import add_photo, describe_photos
from measurements.photos.reads import jpeg_of
from measurements.reports.content import issue
from measurements.reports.links import make_link, open_link
from measurements.reports.revisions import revise
from shop.logo import set_logo
from shop.models import ShopProfile
from tests.conftest import signed_in
from tests.factories import ShopProfileFactory, UserFactory
from tests.measurements.photos.pictures import another, encoded
from tests.measurements.reports.test_content import HOSTILE, make_visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def report(owner):
    ShopProfileFactory(link_days=30)
    set_logo(encoded(Image.new("RGB", (90, 30), "navy"), "PNG"))
    instrument = make_visit()
    came = instrument.check_ins.filter(stage=Stage.RECEIVED).last()
    for n, chosen in ((1, True), (2, False)):
        photo, _ = add_photo(check_in=came, data=another(n), by=owner)
        describe_photos(check_in=came, said={photo.uuid: (f"photo number {n}", chosen)})
    return issue(instrument, owner)


@pytest.fixture
def token(report, owner):
    return make_link(report, owner)


class Addresses(HTMLParser):
    """Every address that a page names in any attribute that a browser follows."""

    FOLLOWED = {"href", "src", "action", "data", "poster", "srcset", "formaction", "xlink:href"}

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.tags: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        followed = self.FOLLOWED | {f"hx-{verb}" for verb in ("get", "post", "put", "delete")}
        self.found |= {value for name, value in attrs if name in followed and value}


def test_a_customer_reads_the_report_without_signing_in(report, token):
    answer = Client().get(f"/r/{token}/")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert f"Service report {report.number}" in page
    assert "photo number 1" in page
    assert not answer.cookies


def test_nothing_is_reachable_from_it_but_itself(token):
    seen = Addresses(Client().get(f"/r/{token}/").content.decode())
    inside = {address for address in seen.found if address.startswith(f"/r/{token}/")}
    outside = {address for address in seen.found - inside if not address.startswith("#")}
    assert inside == {
        f"/r/{token}/logo/",
        f"/r/{token}/pdf/",
        f"/r/{token}/pdf/?paper=Letter",
        f"/r/{token}/photos/1/",
        f"/r/{token}/photos/1/?size=small",
    }
    assert all(address.startswith("/static/") for address in outside), outside
    assert not seen.tags & {"script", "form", "nav", "iframe", "object", "base"}


def test_nobody_keeps_finds_or_passes_on_the_address(token):
    for address in (f"/r/{token}/", f"/r/{token}/pdf/", f"/r/{token}/photos/1/", "/r/wrong/"):
        answer = Client().get(address)
        assert answer["Cache-Control"] == "private, no-store"
        assert answer["X-Robots-Tag"] == "noindex"
        assert answer["Referrer-Policy"] == "no-referrer"


def test_pictures_and_paper_come_through_the_link(report, token):
    stranger = Client()
    photo = stranger.get(f"/r/{token}/photos/1/")
    assert photo["Content-Type"] == "image/jpeg"
    assert photo.content == jpeg_of(Photo.objects.get(in_report=True))
    small = stranger.get(f"/r/{token}/photos/1/?size=small")
    assert small.content.startswith(b"\xff\xd8")
    logo = stranger.get(f"/r/{token}/logo/")
    assert (logo["Content-Type"], logo.content[:4]) == ("image/png", b"\x89PNG")
    paper = stranger.get(f"/r/{token}/pdf/")
    assert paper.content.startswith(b"%PDF")
    assert f"service-report-{report.number}.pdf" in paper["Content-Disposition"]


@pytest.mark.parametrize("number", [0, 2, 10**25])
def test_a_photo_that_the_report_does_not_show_is_not_there(token, number):
    assert Client().get(f"/r/{token}/photos/{number}/").status_code == 404


@pytest.mark.parametrize("how", ["wrong", "revoked", "expired"])
def test_wrong_expired_and_revoked_look_alike(report, owner, token, how):
    moment = timezone.now()
    other = token
    if how == "wrong":
        other = token[::-1]
    elif how == "revoked":
        ReportLink.objects.update(revoked_at=moment)
    else:
        moment += timedelta(days=30, seconds=1)
    with time_machine.travel(moment, tick=False):
        for rest in ("", "pdf/", "photos/1/", "logo/"):
            answer = Client().get(f"/r/{other}/{rest}")
            page = answer.content.decode()
            assert answer.status_code == 404
            assert "Nothing is open here" in page
            assert str(report.number) not in page
            assert report.instrument.tag not in page
            assert Addresses(page).found == {"/static/shop/icon.svg", "/static/shop/app.css"}


def test_it_is_open_until_its_time_is_over(report, owner):
    with time_machine.travel("2026-06-01T12:00:00Z", tick=False):
        token = make_link(report, owner)
    with time_machine.travel("2026-07-01T11:59:59Z", tick=False):
        assert open_link(token) is not None
    with time_machine.travel("2026-07-01T12:00:00Z", tick=False):
        assert open_link(token) is None


def test_only_a_digest_is_kept_and_no_two_are_alike(report, owner):
    tokens = {make_link(report, owner) for _ in range(20)}
    assert len(tokens) == 20
    assert all(len(token) >= 43 for token in tokens)  # 32 random bytes in base 64
    kept = set(ReportLink.objects.values_list("token_digest", flat=True))
    assert all(re.fullmatch("[0-9a-f]{64}", digest) for digest in kept)
    assert not kept & tokens


def test_a_link_opens_the_newest_revision_and_says_so(report, owner, token):
    assert "This is revision" not in Client().get(f"/r/{token}/").content.decode()
    revise(report, owner, why="a slip in the saddle")
    page = Client().get(f"/r/{token}/").content.decode()
    assert "This is revision 2, the newest. The link was made for the report of" in page
    assert "a slip in the saddle" in page
    seen = Addresses(page)
    assert all(a.startswith((f"/r/{token}/", "/static/")) for a in seen.found)


def test_it_opens_no_other_report_of_the_same_instrument(report, owner, token):
    other = issue(report.instrument, owner)
    page = Client().get(f"/r/{token}/").content.decode()
    assert str(report.number) in page
    assert str(other.number) not in page


def test_the_link_signs_nobody_in(report, token):
    stranger = Client()
    stranger.get(f"/r/{token}/")
    for address in (f"/reports/{report.number}/", "/", f"/instruments/{report.instrument.tag}/"):
        assert stranger.get(address)["Location"].startswith("/sign-in/")
    assert stranger.post(f"/r/{token}/").status_code == 405


def test_hostile_words_are_only_words(report, owner, token):
    report.content["customer"]["name"] = HOSTILE
    report.content["shop"]["name"] = HOSTILE
    report.save()
    page = Client().get(f"/r/{token}/").content.decode()
    assert "<script>" not in page
    assert "x.invalid" not in str(Addresses(page).found)


# Staff


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_staff_make_a_link_see_it_once_and_close_it(report, role):
    client = signed_in(UserFactory(role=role))
    address = reverse("report-links", kwargs={"number": report.number})
    made = client.post(address)
    shown = re.search(r"http://testserver(/r/[\w-]{43}/)", made.content.decode())
    assert shown
    assert made["Cache-Control"] == "no-store"
    assert "/r/" not in client.get(address).content.decode()
    assert "never" in client.get(address).content.decode()
    assert Client().get(shown[1]).status_code == 200
    link = ReportLink.objects.get()
    assert link.opened_at is not None
    assert (link.expires_at - link.created_at).days in (29, 30)
    closing = reverse("report-link-close", kwargs={"number": report.number, "link": link.pk})
    for _ in range(2):  # twice is as good as once
        assert client.post(closing)["Location"] == address
    assert "closed on" in client.get(address).content.decode()
    assert Client().get(shown[1]).status_code == 404


def test_a_link_is_closed_only_from_its_own_report(report, owner, token):
    other = issue(report.instrument, owner)
    key = ReportLink.objects.get().pk
    signed_in(owner).post(f"/reports/{other.number}/links/{key}/close/")
    assert open_link(token) is not None


def test_looking_makes_no_link(report, owner):
    signed_in(owner).get(f"/reports/{report.number}/links/")
    assert not ReportLink.objects.exists()


def test_days_are_those_of_the_shop(report, owner):
    ShopProfile.objects.update(link_days=2)
    make_link(report, owner)
    link = ReportLink.objects.get()
    assert timedelta(days=1.9) < link.expires_at - link.created_at < timedelta(days=2.1)
