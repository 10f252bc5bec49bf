"""The second factor: set up, asked for, used once, lost and taken off."""

import base64
import hashlib
import hmac
import re
from datetime import timedelta
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
import time_machine
from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django_otp.oath import totp
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from shop.models import User
from shop.sign_in import codes
from shop.sign_in.throttle import CODE_WITHIN
from shop.staff import mark_of_password, new_password
from tests.conftest import signed_in
from tests.factories import PASSWORD, InstrumentFactory, ShopProfileFactory, UserFactory
from tests.test_access import AT_THE_DOOR, MAY, OPEN, addresses  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db

SIGN_IN, CODE, TODAY = "/sign-in/", "/sign-in/code/", "/today/"
FACTOR, SET_UP = "/second-factor/", "/second-factor/set-up/"
NOON = "2026-11-25 12:00Z"
#: RFC 6238, appendix B, SHA-1: the secret, and at each moment the last six of the eight digits printed.
RFC_SECRET = b"12345678901234567890"
RFC_CODES = [
    (59, "287082"),
    (1111111109, "081804"),
    (1111111111, "050471"),
    (1234567890, "005924"),
    (2000000000, "279037"),
    (20000000000, "353130"),
]


@pytest.fixture
def clock():
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def paper(clock, tech) -> list[str]:
    """The technician has a second factor; these are the backup codes."""
    device = codes.new_factor(tech)
    found = codes.confirm(tech, shown(device))
    clock.shift(timedelta(minutes=5))
    tech.refresh_from_db()
    return found


def shown(device, steps=0) -> str:
    """What the person's device shows now, or so many half minutes later."""
    return f"{totp(device.bin_key, t0=-30 * steps):06d}"


def device_of(user) -> TOTPDevice:
    return TOTPDevice.objects.get(user=user, confirmed=True)


def half_way(**more) -> Client:
    """A browser in which the right password was typed."""
    browser = Client()
    response = browser.post(SIGN_IN, {"username": "tech", "password": PASSWORD, **more})
    assert response["Location"] == CODE
    return browser


def type_code(browser, code):
    return browser.post(CODE, {"code": code})


@pytest.mark.parametrize(("moment", "code"), RFC_CODES)
def test_codes_are_those_of_the_published_algorithm(tech, moment, code):
    device = TOTPDevice.objects.create(user=tech, key=RFC_SECRET.hex(), name="x")
    with time_machine.travel(moment, tick=False):
        assert device.verify_token(code)


class TestRequired:
    @pytest.fixture(autouse=True)
    def _required(self, settings):
        settings.SECOND_FACTOR_REQUIRED = True

    def test_where_it_is_required_nothing_opens_before_it_is_set_up(self, addresses, owner):  # noqa: F811
        browser = signed_in(owner)
        leading_there = {"second-factor", "second-factor-set-up"}
        alone = {"password", "sign-out-everywhere", "sign-in"}
        for name in sorted(set(MAY) - OPEN - AT_THE_DOOR - leading_there - alone):
            for method in ("get", "post"):
                response = getattr(browser, method)(addresses[name])
                assert response.status_code in (302, 405), f"{method} {name}"
                assert response.get("Location", FACTOR) == FACTOR, f"{method} {name}"
        assert "asks everybody for a second factor" in browser.get(FACTOR).text

    def test_set_up_it_opens_the_rest(self, at_bench, tech):
        assert at_bench.get(TODAY)["Location"] == FACTOR
        at_bench.post(FACTOR, {"password": PASSWORD})
        type_set_up = {"code": shown(codes.unconfirmed(tech))}
        assert at_bench.post("/second-factor/set-up/", type_set_up).status_code == 200
        assert at_bench.get(TODAY).status_code == 200

    def test_a_first_password_is_changed_before(self, tech):
        first = new_password(tech, seen=mark_of_password(tech))
        browser = Client()
        assert browser.login(username="tech", password=first)
        assert browser.get(TODAY)["Location"] == "/password/"
        assert browser.get("/password/").status_code == 200


class TestSetUp:
    def begin(self, browser, password=PASSWORD):
        return browser.post(FACTOR, {"password": password})

    def test_the_password_is_asked_first(self, at_bench, tech):
        assert at_bench.get(SET_UP)["Location"] == FACTOR
        wrong = self.begin(at_bench, "guess")
        assert wrong.status_code == 422
        assert not TOTPDevice.objects.exists()
        assert self.begin(at_bench)["Location"] == SET_UP

    def test_the_secret_stands_as_a_picture_and_in_text(self, at_bench, tech):
        ShopProfileFactory(name="Strings: & “More”")
        self.begin(at_bench)
        page = at_bench.get(SET_UP).content.decode()
        assert 'src="data:image/svg+xml' in page
        secret = re.search(r'<code class="secret">([A-Z2-7 ]+)</code>', page)[1].replace(" ", "")
        assert base64.b32decode(secret) == TOTPDevice.objects.get().bin_key
        address = urlsplit(codes.key_address(TOTPDevice.objects.get()))
        assert address.scheme == "otpauth"
        assert unquote(address.path) == "/Strings & “More”:tech"
        asked = parse_qs(address.query)
        assert asked["secret"] == [secret]
        assert asked["issuer"] == ["Strings & “More”"]
        assert (asked["digits"], asked["period"]) == (["6"], ["30"])

    def test_a_wrong_code_sets_nothing_up(self, at_bench, tech):
        self.begin(at_bench)
        assert at_bench.post(SET_UP, {"code": "000000"}).status_code == 422
        assert codes.factor_of(tech) is None
        assert at_bench.get(TODAY).status_code == 200

    def test_confirmed_it_shows_backup_codes_once_and_ends_other_sign_ins(self, at_bench, tech):
        elsewhere = signed_in(tech)
        self.begin(at_bench)
        page = at_bench.post(SET_UP, {"code": shown(TOTPDevice.objects.get())})
        assert page["Cache-Control"] == "no-store"
        paper = re.findall(r"<li><code>([0-9A-Z-]+)</code>", page.content.decode())
        assert len(set(paper)) == codes.BACKUP_CODES
        assert at_bench.get(TODAY).status_code == 200
        assert elsewhere.get(TODAY).status_code == 302
        assert paper[0] not in at_bench.get(FACTOR).content.decode()

    def test_backup_codes_are_kept_as_digests(self, paper):
        kept = set(StaticToken.objects.values_list("token", flat=True))
        assert len(kept) == codes.BACKUP_CODES
        plain = {code.replace("-", "") for code in paper}
        assert not kept & (plain | set(paper))

    def test_another_sign_in_does_not_see_a_secret_being_set_up(self, at_bench, tech):
        self.begin(at_bench)
        assert signed_in(tech).get(SET_UP)["Location"] == FACTOR

    def test_what_is_set_up_too_slowly_is_begun_anew(self, tech):
        with time_machine.travel(NOON, tick=False) as clock:
            browser = signed_in(tech)
            self.begin(browser)
            clock.shift(timedelta(seconds=CODE_WITHIN + 1))
            assert browser.get(SET_UP)["Location"] == FACTOR

    def test_begun_twice_only_the_newest_counts(self, at_bench, tech):
        self.begin(at_bench)
        first = TOTPDevice.objects.get()
        self.begin(at_bench)
        assert TOTPDevice.objects.get().pk != first.pk

    def test_a_new_device_takes_the_olds_place(self, paper, clock, tech):
        browser = half_way()
        type_code(browser, shown(device_of(tech)))
        old = device_of(tech)
        self.begin(browser)
        assert codes.factor_of(tech) == old
        browser.post(SET_UP, {"code": shown(codes.unconfirmed(tech))})
        assert device_of(tech) != old
        assert browser.get(TODAY).status_code == 200


@pytest.mark.usefixtures("paper")
class TestSignIn:
    def test_password_then_code(self, tech):
        browser = half_way(next="/customers/")
        assert "backup codes" in browser.get(CODE).content.decode()
        assert type_code(browser, shown(device_of(tech)))["Location"] == "/customers/"
        assert browser.get(TODAY).status_code == 200

    def test_half_way_in_nothing_opens_but_the_page_for_the_code(self, addresses):  # noqa: F811
        browser = half_way()
        for name in sorted(set(MAY) - OPEN - AT_THE_DOOR):
            for method in ("get", "post"):
                response = getattr(browser, method)(addresses[name])
                assert response.status_code in (302, 405), f"{method} {name}"
                assert response.get("Location", SIGN_IN).startswith(SIGN_IN), f"{method} {name}"
        page = browser.get(CODE).content.decode()
        assert "data-person" not in page
        assert "Sign out" not in page

    def test_signed_in_past_the_sign_in_page_nothing_opens_either(self, addresses, tech):  # noqa: F811
        browser = signed_in(tech)  # as no page of ours does
        for name in sorted(set(MAY) - OPEN - AT_THE_DOOR):
            for method in ("get", "post"):
                response = getattr(browser, method)(addresses[name])
                assert response.status_code in (302, 405), f"{method} {name}"
                assert response.get("Location", SIGN_IN).startswith(SIGN_IN), f"{method} {name}"

    def test_signing_out_half_way_forgets_the_password(self):
        browser = half_way()
        browser.post(reverse("sign-out"))
        assert browser.get(CODE)["Location"] == SIGN_IN

    def test_the_code_page_is_nothing_without_a_password(self):
        assert Client().get(CODE)["Location"] == SIGN_IN
        assert Client().post(CODE, {"code": "123456"})["Location"] == SIGN_IN

    def test_the_code_has_to_follow_soon(self, clock, tech):
        browser = half_way()
        clock.shift(timedelta(seconds=CODE_WITHIN + 1))
        assert type_code(browser, shown(device_of(tech)))["Location"] == SIGN_IN

    def test_a_password_changed_meanwhile_ends_the_wait(self, tech):
        browser = half_way()
        tech.set_password("sliding-spruce-88")
        tech.save()
        assert type_code(browser, shown(device_of(tech)))["Location"] == SIGN_IN

    def test_a_code_opens_once(self, tech):
        code = shown(device_of(tech))
        assert type_code(half_way(), code).status_code == 302
        again = type_code(half_way(), code)
        assert again.status_code == 422
        assert "used already" in again.content.decode()

    @pytest.mark.parametrize(("steps", "taken"), [(-1, True), (1, True), (-2, False), (2, False)])
    def test_a_clock_may_be_half_a_minute_off(self, tech, steps, taken):
        status = type_code(half_way(), shown(device_of(tech), steps)).status_code
        assert status == (302 if taken else 422)

    def test_a_clock_that_drifts_is_followed(self, clock, tech):
        device = device_of(tech)
        for steps in (1, 2, 3):
            clock.shift(timedelta(minutes=10))
            assert type_code(half_way(), shown(device, steps)).status_code == 302

    def test_a_backup_code_opens_once_in_any_spelling(self, paper):
        assert type_code(half_way(), f" {paper[0].lower()} ").status_code == 302
        assert type_code(half_way(), paper[0]).status_code == 422
        assert StaticToken.objects.count() == codes.BACKUP_CODES - 1

    def test_a_code_printed_by_an_earlier_release_still_opens(self, paper, tech, settings):
        """What is kept is made here as it always was: RFC 2104 with SHA-256, 96 bits in base 64."""
        device = StaticToken.objects.first().device
        key = hashlib.sha256(f"shop.sign_in.backup{settings.SECRET_KEY}".encode()).digest()
        mac = hmac.new(key, f"{tech.pk}:BCDFGHJKMN".encode(), "sha256").digest()
        kept = base64.urlsafe_b64encode(mac)[:16].decode()
        StaticToken.objects.create(device=device, token=kept)
        assert codes.check(tech, "BCDFG-HJKMN")

    def test_a_backup_code_is_its_owners_only(self, paper, clock):
        other = UserFactory(username="other")
        codes.confirm(other, shown(codes.new_factor(other)))
        assert not codes.check(other, paper[0])

    @pytest.mark.parametrize(
        "code", ["", "0", "12345", "1234567", "-12345", "١٢٣٤٥٦", "1e5", "x" * 41, "\0", "0" * 10]
    )
    def test_what_is_no_code_is_refused(self, code):
        assert type_code(half_way(), code).status_code == 422

    def test_wrong_codes_make_one_wait_ever_longer(self, clock, tech):
        browser = half_way()
        for wait in (1, 2, 4, 8):
            assert "not the code" in type_code(browser, "000000").content.decode()
            right = type_code(browser, shown(device_of(tech)))
            assert f"Wait {wait} seconds" in right.content.decode()
            clock.shift(timedelta(seconds=wait))
        assert type_code(browser, shown(device_of(tech))).status_code == 302

    def test_wrong_codes_count_like_wrong_passwords(self, clock, settings, tech):
        settings.AXES_ENABLED = True
        browser = half_way()
        for _ in range(5):
            answer = type_code(browser, "000000")
            clock.shift(timedelta(minutes=1))
        assert answer.status_code == 429
        assert type_code(browser, shown(device_of(tech))).status_code == 429
        assert Client().post(SIGN_IN, {"username": "tech", "password": PASSWORD}).status_code == 429
        assert browser.get(TODAY).status_code == 302

    def test_the_right_password_alone_forgets_no_failures(self, clock, settings):
        settings.AXES_ENABLED = True
        for _ in range(5):
            answer = type_code(half_way(), "000000")
            clock.shift(timedelta(minutes=1))
        assert answer.status_code == 429

    def test_the_key_changes_at_each_step(self, tech):
        browser = half_way()
        before = browser.session.session_key
        type_code(browser, shown(device_of(tech)))
        assert browser.session.session_key != before
        assert not Session.objects.filter(pk=before).exists()

    def test_somebody_signed_in_before_is_signed_out_by_anothers_password(self, owner):
        browser = signed_in(owner)
        browser.post(SIGN_IN, {"username": "tech", "password": PASSWORD})
        assert browser.get(TODAY)["Location"].startswith(SIGN_IN)

    def test_it_costs_no_query_of_its_own(self, tech, django_assert_num_queries):
        browser = half_way()
        type_code(browser, shown(device_of(tech)))
        with django_assert_num_queries(3):  # session, person, roles
            browser.get(reverse("outbox-pass"))


@pytest.mark.usefixtures("paper")
class TestKeepingIt:
    @pytest.fixture
    def inside(self, tech, clock) -> Client:
        found = half_way()
        type_code(found, shown(device_of(tech)))
        clock.shift(timedelta(minutes=1))
        return found

    @pytest.mark.parametrize("by", ["password", "code", "paper"])
    def test_switched_off_by_password_or_code(self, inside, tech, paper, by):
        elsewhere = half_way()
        proof = {"password": PASSWORD, "code": shown(device_of(tech)), "paper": paper[3]}[by]
        assert inside.post("/second-factor/off/", {"proof": proof})["Location"] == FACTOR
        assert codes.factor_of(tech) is None
        assert inside.get(TODAY).status_code == 200
        assert elsewhere.get(CODE)["Location"] == SIGN_IN
        assert Client().post(SIGN_IN, {"username": "tech", "password": PASSWORD})["Location"] == "/"

    @pytest.mark.parametrize("address", ["/second-factor/off/", "/second-factor/codes/"])
    @pytest.mark.parametrize("proof", ["", "guess", "000000", "y" * 4000])
    def test_not_without_proof(self, inside, tech, address, proof):
        assert inside.post(address, {"proof": proof}).status_code == 422
        assert codes.factor_of(tech)
        assert codes.backup_codes_left(tech) == codes.BACKUP_CODES

    @pytest.mark.parametrize("proof", ["guess", "y" * 41])
    def test_guessing_the_password_there_is_counted_while_codes_wait_too(
        self, inside, settings, proof
    ):
        settings.AXES_ENABLED = True
        off = "/second-factor/off/"
        answers = [inside.post(off, {"proof": proof}).status_code for _ in range(6)]
        assert answers == [422, 422, 422, 422, 429, 429]
        assert proof not in str(AccessAttempt.objects.values().get())

    def test_new_backup_codes_replace_the_old(self, inside, tech, paper):
        page = inside.post("/second-factor/codes/", {"proof": PASSWORD}).content.decode()
        new = re.findall(r"<li><code>([0-9A-Z-]+)</code>", page)
        assert not codes.check(tech, paper[0])
        assert codes.check(tech, new[0]) is False  # one wrong one makes every one wait a second
        codes.StaticDevice.objects.update(throttling_failure_count=0)
        assert codes.check(tech, new[0])

    def test_there_is_nothing_to_switch_off_without_one(self, at_desk):
        assert at_desk.post("/second-factor/off/", {"proof": PASSWORD})["Location"] == FACTOR

    def test_a_new_first_password_leaves_it_on(self, tech, at_desk):
        address = reverse("staff-password", kwargs={"number": tech.pk})
        at_desk.post(address, {"seen": mark_of_password(tech)})
        tech.refresh_from_db()
        assert tech.first_password_until is not None
        assert codes.factor_of(tech)

    def test_an_owner_takes_it_off_somebody_who_lost_it(self, inside, tech, at_desk):
        page = at_desk.get(reverse("staff-edit", kwargs={"number": tech.pk})).content.decode()
        assert "Take the second factor off" in page
        at_desk.post(reverse("staff-factor", kwargs={"number": tech.pk}))
        assert codes.factor_of(tech) is None
        assert inside.get(TODAY).status_code == 302

    def test_an_owner_proves_who_it_is_for_the_own_one(self, owner, at_desk):
        device = codes.new_factor(owner)
        address = reverse("staff-factor", kwargs={"number": owner.pk})
        assert at_desk.post(address)["Location"] == FACTOR
        assert TOTPDevice.objects.filter(pk=device.pk).exists()

    def test_the_server_takes_it_off_an_owner_who_lost_all(self, tech, capsys):
        call_command("reset_second_factor", "tech")
        assert codes.factor_of(tech) is None
        with pytest.raises(CommandError, match="nobody named who"):
            call_command("reset_second_factor", "who")


def test_outbox_and_htmx_are_sent_to_the_sign_in_page(paper, tech):
    browser = signed_in(tech)
    answer = browser.get(TODAY, headers={"HX-Request": "true"})
    assert answer["HX-Redirect"].startswith(SIGN_IN)
    form = reverse("check-in-add", kwargs={"tag": InstrumentFactory().tag})
    sent = browser.post(form, headers={"X-Outbox": "1"})
    assert sent.status_code == 302
    assert sent["Location"].startswith(SIGN_IN)
    assert User.objects.get(pk=tech.pk).session_epoch == 1
