"""Signing in and out: throttled, told nothing by a refusal, a new key each time, ended everywhere at once."""

from datetime import timedelta
from ipaddress import ip_address

import pytest
import time_machine
from axes.helpers import cleanse_parameters
from axes.models import AccessAttempt
from django.contrib.auth.hashers import MD5PasswordHasher
from django.contrib.sessions.models import Session
from django.forms import Form, PasswordInput
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone

from shop import settings as ours  # without what the tests change
from shop.logs import logging_of
from shop.models import User
from shop.sign_in import forms
from shop.sign_in.throttle import address_of
from shop.staff import FIRST_PASSWORD_LASTS, add_staff, change_staff
from shop.trouble import SECRET
from tests.conftest import signed_in
from tests.factories import PASSWORD, InstrumentFactory, ShopProfileFactory, UserFactory

pytestmark = pytest.mark.django_db

SIGN_IN, TODAY, YOU = "/sign-in/", "/today/", "/preferences/"
ELSEWHERE = "203.0.113.7"  # RFC 5737: for documentation
HERE = "198.51.100.20"


@pytest.fixture
def throttled(settings):
    settings.AXES_ENABLED = True


def try_to(browser, username="tech", password=PASSWORD, address=HERE, **more):
    data = {"username": username, "password": password, **more}
    return browser.post(SIGN_IN, data, REMOTE_ADDR=address)


def fail(times, username="tech", address=HERE):
    return [try_to(Client(), username, "wrong", address) for _ in range(times)][-1]


@pytest.mark.usefixtures("throttled", "tech")
class TestThrottle:
    def test_the_fifth_failure_locks_out_and_says_what_to_do(self):
        assert fail(4).status_code == 200
        page = fail(1)
        assert page.status_code == 429
        assert page["Retry-After"] == "900"
        words = page.content.decode()
        assert "15 minutes" in words
        assert "owner makes a new first one" in words

    def test_even_the_right_password_is_refused_then(self):
        fail(5)
        assert try_to(Client()).status_code == 429
        assert not Session.objects.exists()

    def test_it_is_over_after_a_quarter_of_an_hour_whatever_was_tried_meanwhile(self):
        with time_machine.travel("2026-11-25 10:00Z", tick=False) as clock:
            fail(5)
            clock.shift(timedelta(minutes=14))
            assert fail(3).status_code == 429
            clock.shift(timedelta(minutes=1, seconds=1))
            assert try_to(Client()).status_code == 302

    def test_somebody_else_at_that_address_and_that_account_elsewhere_are_let_in(self):
        UserFactory(username="other")
        fail(5)
        assert try_to(Client(), "other").status_code == 302
        assert try_to(Client(), address=ELSEWHERE).status_code == 302

    def test_one_address_that_tries_many_accounts_is_locked_out(self, settings):
        for number in range(settings.SIGN_IN_FAILURES_OF_AN_ADDRESS // 5):
            for _ in range(5):
                if try_to(Client(), f"name{number}", "wrong").status_code == 429:
                    break
        assert try_to(Client()).status_code == 429
        assert try_to(Client(), address=ELSEWHERE).status_code == 302

    def test_a_success_forgets_the_failures(self):
        for _ in range(3):
            assert fail(4).status_code == 200
            assert try_to(Client()).status_code == 302

    def test_own_successes_do_not_help_to_guess_anothers(self):
        UserFactory(username="other")
        for _ in range(4):
            fail(1)
            try_to(Client(), "other")
        assert fail(1).status_code == 429

    def test_other_browsers_are_no_way_around(self):
        for number in range(5):
            page = Client(headers={"User-Agent": f"browser {number}"}).post(
                SIGN_IN, {"username": "tech", "password": "wrong"}, REMOTE_ADDR=HERE
            )
        assert page.status_code == 429

    def test_whoever_is_signed_in_works_on(self, tech):
        browser = signed_in(tech)
        fail(5)
        assert browser.get(TODAY, REMOTE_ADDR=HERE).status_code == 200
        assert browser.get(reverse("outbox-pass"), REMOTE_ADDR=HERE).status_code == 200

    def test_no_name_and_nothing_typed_is_kept(self):
        try_to(Client(), "my secret typed into the wrong box", "wrong", next="/today/")
        row = AccessAttempt.objects.values().get()
        assert "secret" not in str(row)
        assert "today" not in str(row)
        assert len(row["username"]) == 64

    def test_no_password_typed_into_any_form_is_kept(self, tech):
        wish = {
            "old_password": "nearly mine",
            "new_password1": "my next",
            "new_password2": "my next",
        }
        signed_in(tech).post("/password/", wish)
        row = AccessAttempt.objects.values().get()
        assert not [value for value in wish.values() if value in str(row)]
        known = [
            form
            for form in vars(forms).values()
            if isinstance(form, type) and issubclass(form, Form)
        ]
        hidden = {
            name
            for form in known
            for name, field in form.base_fields.items()
            if isinstance(field.widget, PasswordInput)
        }
        assert {"old_password", "new_password1", "password", "proof"} <= hidden
        assert hidden <= set(cleanse_parameters(dict.fromkeys(hidden, "x")))
        assert "x" not in cleanse_parameters(dict.fromkeys(hidden, "x")).values()
        assert [name for name in hidden if not SECRET.search(name)] == []

    def test_hostile_names_are_refused_and_do_no_harm(self):
        for name in ("\0", "x" * 100_000, "‮tech", "' OR 1=1 --", "", "𝔱𝔢𝔠𝔥 "):
            assert try_to(Client(), name, "wrong").status_code in (200, 429)

    def test_guessing_the_old_password_of_an_open_sign_in_is_counted(self, tech):
        browser = signed_in(tech)
        data = {"old_password": "guess", "new_password1": "x", "new_password2": "x"}
        answers = [browser.post("/password/", data).status_code for _ in range(6)]
        assert answers == [422, 422, 422, 422, 429, 429]


class TestNobodyIsNamed:
    @pytest.fixture(autouse=True)
    def _people(self, tech):
        UserFactory(username="gone", is_active=False)

    @pytest.mark.usefixtures("throttled")
    def test_the_answer_is_the_same_for_known_unknown_and_closed_accounts(self):
        def pages(name):
            answers = [try_to(Client(), name, "wrong") for _ in range(6)]
            return [(page.status_code, without_tokens(page, name)) for page in answers]

        assert pages("tech") == pages("nobody") == pages("gone")

    def test_a_closed_account_is_not_told_from_a_wrong_password(self):
        right, wrong = try_to(Client(), "gone"), try_to(Client(), "gone", "wrong")
        assert without_tokens(right, "gone") == without_tokens(wrong, "gone")

    @pytest.mark.parametrize("name", ["tech", "nobody", "gone"])
    def test_a_password_is_hashed_as_often_whoever_is_named(self, name, monkeypatch):
        hashed = []
        encode = MD5PasswordHasher.encode
        monkeypatch.setattr(
            MD5PasswordHasher,
            "encode",
            lambda self, password, salt: hashed.append(1) or encode(self, password, salt),
        )
        try_to(Client(), name, "wrong")
        assert len(hashed) == 1


def without_tokens(page, name) -> str:
    text = page.content.decode().replace(name, "NAME")
    for part in text.split('csrfmiddlewaretoken" value="')[1:]:
        text = text.replace(part[:64], "")
    for part in text.split('X-CSRFToken": "')[1:]:
        text = text.replace(part[:64], "")
    return text


class TestAddress:
    @pytest.mark.parametrize(
        ("proxies", "forwarded", "expected"),
        [
            (0, "1.2.3.4", HERE),  # not believed without a proxy
            (1, "1.2.3.4", "1.2.3.4"),
            (1, "6.6.6.6, 1.2.3.4", "1.2.3.4"),  # what the client wrote stands first
            (2, "6.6.6.6, 1.2.3.4, 10.0.0.1", "1.2.3.4"),
            (2, "1.2.3.4", HERE),  # fewer entries than proxies: somebody came past them
            (1, "", None),
            (1, "not an address", None),
            (1, "::ffff:1.2.3.4", "1.2.3.4"),
        ],
    )
    def test_only_our_own_proxies_are_believed(self, settings, proxies, forwarded, expected):
        settings.PROXIES = proxies
        request = RequestFactory().get("/", REMOTE_ADDR=HERE, HTTP_X_FORWARDED_FOR=forwarded)
        assert address_of(request) == expected

    def test_a_whole_network_of_version_6_is_one_address(self):
        found = {
            address_of(RequestFactory().get("/", REMOTE_ADDR=f"2001:db8:1:2::{host}"))
            for host in ("1", "ffff", "a:b:c")
        }
        assert found == {str(ip_address("2001:db8:1:2::"))}

    def test_a_socket_has_no_address(self):
        assert address_of(RequestFactory().get("/", REMOTE_ADDR="")) is None

    @pytest.mark.usefixtures("throttled", "tech")
    def test_lockout_works_where_there_is_no_address(self):
        assert fail(5, address="").status_code == 429
        assert try_to(Client(), address=ELSEWHERE).status_code == 302


class TestSession:
    def test_signing_in_changes_the_sessions_key(self, tech):
        browser = Client()
        browser.get(SIGN_IN)
        session = browser.session
        session["kept"] = 1
        session.save()
        browser.cookies["sessionid"] = session.session_key
        try_to(browser)
        assert browser.session.session_key != session.session_key
        assert not Session.objects.filter(pk=session.session_key).exists()

    def test_a_new_password_keeps_this_sign_in_under_a_new_key_and_ends_others(self, tech):
        here, there = signed_in(tech), signed_in(tech)
        before = here.session.session_key
        data = {
            "old_password": PASSWORD,
            "new_password1": "sliding-spruce-88",
            "new_password2": "sliding-spruce-88",
        }
        assert here.post("/password/", data).status_code == 302
        assert here.session.session_key != before
        assert here.get(TODAY).status_code == 200
        assert there.get(TODAY).status_code == 302

    def test_sign_out_everywhere_ends_all_of_ones_own_and_nobody_elses(self, tech, owner):
        here, there, other = signed_in(tech), signed_in(tech), signed_in(owner)
        assert "Sign out everywhere" in here.get(YOU).content.decode()
        response = here.post(reverse("sign-out-everywhere"))
        assert response["Location"] == SIGN_IN
        assert here.get(TODAY).status_code == there.get(TODAY).status_code == 302
        assert other.get(TODAY).status_code == 200
        assert try_to(Client()).status_code == 302

    def test_it_is_no_link_that_a_picture_could_follow(self, at_bench):
        assert at_bench.get(reverse("sign-out-everywhere")).status_code == 405
        assert at_bench.get(reverse("sign-out")).status_code == 405

    def test_a_session_signed_out_of_opens_nothing(self, tech):
        browser = Client()
        try_to(browser)
        stolen = Client()
        stolen.cookies["sessionid"] = browser.cookies["sessionid"].value
        assert stolen.get(TODAY).status_code == 200
        browser.post(reverse("sign-out"))
        assert stolen.get(TODAY).status_code == 302

    def test_signing_out_over_https_drops_what_the_browser_cached(self, at_bench):
        response = at_bench.post(reverse("sign-out"), secure=True)
        assert response["Clear-Site-Data"] == '"cache"'  # the outbox's storage stays

    def test_a_sign_in_that_is_not_used_ends(self, tech):
        with time_machine.travel("2026-11-25 10:00Z", tick=False) as clock:
            browser = Client()
            try_to(browser)
            clock.shift(timedelta(days=13))
            assert browser.get(TODAY).status_code == 200
            clock.shift(timedelta(days=13))  # its use 13 days ago kept it alive
            assert browser.get(TODAY).status_code == 200
            clock.shift(timedelta(days=15))
            assert browser.get(TODAY).status_code == 302

    def test_a_sign_in_in_daily_use_ends_at_its_greatest_age(self, tech):
        with time_machine.travel("2026-06-01 10:00Z", tick=False) as clock:
            browser = Client()
            try_to(browser)
            for _ in range(9):
                clock.shift(timedelta(days=9, hours=20))
                assert browser.get(TODAY).status_code == 200
            clock.shift(timedelta(days=9))
            assert browser.get(TODAY).status_code == 302

    @pytest.mark.parametrize(
        ("by", "lasts"), [(timedelta(minutes=5), True), (timedelta(days=400), False)]
    )
    def test_a_clock_set_back_a_little_ends_no_sign_in(self, tech, by, lasts):
        with time_machine.travel("2026-06-01 10:00Z", tick=False) as clock:
            browser = Client()
            try_to(browser)
            clock.shift(-by)
            assert browser.get(TODAY).status_code == (200 if lasts else 302)

    def test_a_use_is_noted_now_and_then_and_not_each_time(self, tech, django_assert_num_queries):
        browser = Client()
        try_to(browser)
        address = reverse("outbox-pass")
        with django_assert_num_queries(3):  # session, person, roles
            browser.get(address)

    @pytest.mark.parametrize("then", ["//evil.example/", "https://evil.example/", "javascript:x"])
    def test_nobody_is_led_elsewhere(self, tech, then):
        assert try_to(Client(), next=then)["Location"] == reverse("home")

    def test_one_is_led_to_where_one_was_going(self, tech):
        assert try_to(Client(), next="/customers/")["Location"] == "/customers/"


class TestPasswords:
    def test_argon2_first(self):
        assert ours.PASSWORD_HASHERS[0].endswith("Argon2PasswordHasher")

    @pytest.mark.parametrize(
        ("password", "words"),
        [
            ("short7", "at least 8 characters"),
            ("basketball", "too common"),
            ("8461937205", "entirely numeric"),
            ("Person-77", "too similar"),
            ("Guitar-Saddle-12", "words that belong to the shop"),
            ("QuaysideString1", "words that belong to the shop"),
            ("Gitarre-Werkstatt-12", "words that belong to the shop"),
        ],
    )
    def test_easy_ones_are_refused_with_a_reason(self, at_bench, password, words):
        ShopProfileFactory()
        data = {"old_password": PASSWORD, "new_password1": password, "new_password2": password}
        response = at_bench.post("/password/", data)
        assert response.status_code == 422
        assert words in response.content.decode().replace("&#x27;", "'")

    @pytest.mark.parametrize(
        "password",
        ["p" * 8 + "qvz", "å∂ƒ©˙∆˚ ¬… and a space ", "x9" * 64, "guitar of my aunt Odile"],
    )
    def test_any_letters_and_any_length_are_taken_as_they_are(self, tech, password):
        browser = signed_in(tech)
        data = {"old_password": PASSWORD, "new_password1": password, "new_password2": password}
        assert browser.post("/password/", data).status_code == 302
        assert try_to(Client(), password=password).status_code == 302
        assert try_to(Client(), password=password.strip() + "!").status_code == 200

    def test_the_old_one_is_needed_and_is_no_new_one(self, at_bench):
        new = {"new_password1": "sliding-spruce-88", "new_password2": "sliding-spruce-88"}
        assert at_bench.post("/password/", new).status_code == 422
        same = {"old_password": PASSWORD, "new_password1": PASSWORD, "new_password2": PASSWORD}
        assert "is the old one" in at_bench.post("/password/", same).content.decode()

    def test_boxes_hide_it_and_let_managers_fill_it(self, at_bench):
        for page in (Client().get(SIGN_IN), at_bench.get("/password/")):
            text = page.content.decode()
            assert 'autocomplete="current-password"' in text
            assert text.count('type="password"') == text.count('-password"')


class TestFirstPassword:
    @pytest.fixture
    def password(self, db) -> str:
        return add_staff(username="ilse", role="technician")

    def test_it_opens_only_the_page_to_change_it(self, password):
        browser = Client()
        assert try_to(browser, "ilse", password).status_code == 302
        tag = InstrumentFactory().tag
        for address in (TODAY, YOU, "/second-factor/", f"/instruments/{tag}/", "/waiting/pass/"):
            assert browser.get(address)["Location"] == "/password/"
        assert "opens only this page" in browser.get("/password/").content.decode()
        new = "sliding-spruce-88"
        data = {"old_password": password, "new_password1": new, "new_password2": new}
        assert browser.post("/password/", data).status_code == 302
        assert browser.get(TODAY).status_code == 200
        assert User.objects.get(username="ilse").first_password_until is None

    def test_it_runs_out(self, password):
        with time_machine.travel(timezone.now() + FIRST_PASSWORD_LASTS + timedelta(minutes=1)):
            page = try_to(Client(), "ilse", password)
        assert "has run out" in page.content.decode()
        assert not Session.objects.exists()

    def test_that_it_ran_out_is_told_only_to_who_knows_it(self, password):
        with time_machine.travel(timezone.now() + FIRST_PASSWORD_LASTS + timedelta(minutes=1)):
            assert "run out" not in try_to(Client(), "ilse", "wrong").content.decode()


def test_closing_an_account_ends_its_sign_ins(tech):
    browser = signed_in(tech)
    change_staff(tech, role="technician", active=False)
    assert browser.get(TODAY).status_code == 302


def test_signing_in_is_on_the_log_by_number_and_not_by_name(tech, caplog):
    caplog.set_level("INFO", logger="shop.sign_in")
    browser = Client()
    try_to(browser, password="wrong-one")
    try_to(browser)
    browser.post(reverse("sign-out-everywhere"))
    said = [record.getMessage() for record in caplog.records if record.name == "shop.sign_in"]
    assert said == [
        "a sign-in was refused",
        f"person {tech.pk} signed in by password",
        f"all sign-ins of person {tech.pk} ended",
    ]
    assert "tech" not in caplog.text.replace("technician", "")
    assert "wrong-one" not in caplog.text


def test_the_log_of_production_holds_sign_ins():
    assert logging_of("json")["loggers"]["shop.sign_in"]["level"] == "INFO"
