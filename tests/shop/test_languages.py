"""Whose language a page is in, and that what stands apart from a page (scripts, troubles) has it too.

Sentences of Django's own say here which language a page is in: its German is there in any case.
"""

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.template.loader import render_to_string
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import translation

from shop.script_words import script_words
from shop.trouble import FULL, answer, not_understood
from tests.conftest import signed_in
from tests.factories import PASSWORD, UserFactory

SCRIPTS = Path(__file__).parent.parent.parent / "shop" / "static" / "shop"
GERMAN, ENGLISH = '<html lang="de">', '<html lang="en-gb">'


def preferences(**changes: str) -> dict[str, str]:
    return {"first_name": "Ida", "last_name": "", "unit": "mm", "language": ""} | changes


def sign_in(user, language: str = "en") -> Client:
    client = Client(headers={"accept-language": language})
    answered = client.post(
        reverse("sign-in"), {"username": user.username, "password": PASSWORD}, follow=True
    )
    assert answered.status_code == 200
    return client


def page(client: Client, name: str, **kwargs: object) -> str:
    return client.get(reverse(name, kwargs=kwargs)).content.decode()


class TestAPersonsOwnLanguage:
    def test_from_the_next_page_on_every_page_has_it(self, at_bench):
        assert ENGLISH in page(at_bench, "customers")
        at_bench.post(reverse("preferences"), preferences(language="de"))
        assert GERMAN in page(at_bench, "customers")
        assert GERMAN in page(at_bench, "preferences")

    def test_days_are_written_in_it(self, at_desk):
        UserFactory(username="gone", last_login=datetime(2026, 5, 4, 12, tzinfo=UTC))
        assert ">4 May 2026<" in page(at_desk, "staff")
        at_desk.post(reverse("preferences"), preferences(language="de"))
        assert ">4. Mai 2026<" in page(at_desk, "staff")

    def test_another_sign_in_of_the_person_has_it_whatever_its_browser_asks_for(self, tech):
        tech_client = signed_in(tech)
        tech_client.post(reverse("preferences"), preferences(language="de"))
        assert GERMAN in page(sign_in(tech, "en"), "customers")

    def test_a_sign_in_that_is_open_elsewhere_has_it_from_its_next_page_on(self, tech):
        here, there = sign_in(tech, "en"), sign_in(tech, "en")
        assert ENGLISH in page(there, "customers")
        here.post(reverse("preferences"), preferences(language="de"))
        assert GERMAN in page(there, "customers")
        assert GERMAN in page(there, "sign-in")
        here.post(reverse("preferences"), preferences(language=""))
        assert ENGLISH in page(there, "customers")

    def test_nobody_else_has_it(self, tech):
        signed_in(tech).post(reverse("preferences"), preferences(language="de"))
        other = UserFactory(username="other", role="technician")
        assert ENGLISH in page(sign_in(other, "en"), "customers")

    def test_without_a_choice_it_is_the_browsers(self, tech):
        client = sign_in(tech, "de-AT,de;q=0.9,en;q=0.5")
        assert GERMAN in page(client, "customers")
        client.post(reverse("preferences"), preferences(language="en-gb"))
        assert ENGLISH in page(client, "customers")
        client.post(reverse("preferences"), preferences(language=""))
        assert GERMAN in page(client, "customers")

    def test_a_language_that_there_is_not_is_refused(self, at_bench):
        refused = at_bench.post(reverse("preferences"), preferences(language="tlh"))
        assert refused.status_code == 422
        assert ENGLISH in page(at_bench, "customers")


@pytest.mark.django_db
class TestTheSignInPage:
    @pytest.mark.parametrize(
        ("asked", "html", "word"),
        [
            ("de", GERMAN, "Passwort"),
            ("de-CH,fr;q=0.8", GERMAN, "Passwort"),
            ("en-US,en;q=0.9", ENGLISH, "Password"),
            ("tlh,eo;q=0.5", ENGLISH, "Password"),
            ("", ENGLISH, "Password"),
        ],
    )
    def test_it_is_in_the_language_of_the_browser(self, asked, html, word):
        found = Client(headers={"accept-language": asked}).get(reverse("sign-in"))
        assert html in found.content.decode()
        assert f">{word}" in found.content.decode()
        assert "Accept-Language" in found["Vary"]

    def test_it_is_so_again_after_signing_out(self, tech):
        tech.language = "de"
        tech.save()
        client = sign_in(tech, "en")
        assert GERMAN in page(client, "customers")
        client.post(reverse("sign-out"))
        assert ENGLISH in page(client, "sign-in")


class TestPagesThatStandAlone:
    """What is asked before the language was made out may find that of the request before."""

    def request(self, language: str):
        return RequestFactory().get("/", headers={"accept-language": language})

    @pytest.mark.parametrize("left_over", ["de", "en-gb", None])
    @pytest.mark.parametrize(("language", "html"), [("de", GERMAN), ("en", ENGLISH)])
    def test_they_follow_the_browser_whatever_is_active(self, left_over, language, html):
        with translation.override(left_over):
            told = not_understood(self.request(language), ValueError())
        assert told.status_code == 400
        assert html in told.content.decode()

    @pytest.mark.parametrize("left_over", ["de", "en-gb", None])
    @pytest.mark.parametrize(("language", "html"), [("de", GERMAN), ("en", ENGLISH)])
    def test_a_fault_of_ours_does_too(self, left_over, language, html):
        with translation.override(left_over):
            told = self.answer_to(ValueError("ours"), language)
        assert told.status_code == 500
        assert html in told.content.decode()

    @pytest.mark.parametrize("left_over", ["de", "en-gb", None])
    @pytest.mark.parametrize(("language", "html"), [("de", GERMAN), ("en", ENGLISH)])
    def test_a_full_disk_does_too(self, left_over, language, html):
        with translation.override(left_over):
            told = self.answer_to(OSError(28, "No space left on device"), language)
        assert told.status_code == FULL.status
        assert html in told.content.decode()

    def answer_to(self, error: Exception, language: str):
        request = self.request(language)
        try:
            raise error
        except type(error):
            return answer(request)

    def test_the_persons_own_language_goes_before_the_browsers(self):
        request = self.request("en")
        request.LANGUAGE_CODE = "de"
        assert GERMAN in not_understood(request, ValueError()).content.decode()

    @pytest.mark.parametrize("name", ["400.html", "500.html"])
    def test_they_are_made_with_no_language_at_all(self, name):
        with translation.override(None):
            assert "<h1>" in render_to_string(name)


def said_by(script: Path) -> set[str]:
    """Every sentence that a script asks for, each written out where it is asked."""
    text = script.read_text(encoding="utf-8")
    string = r'"((?:[^"\\]|\\.)*)"'
    one_by_one = re.findall(rf"\bsay\({string}", text)
    counted = re.findall(rf"\bsayCount\(\s*[^,]+,\s*{string},\s*{string}", text)
    calls = len(re.findall(r"(?<!const )\bsay\((?!n ===)|(?<!const )\bsayCount\(", text))
    assert len(one_by_one) + len(counted) == calls, script.name
    return {*one_by_one, *(sentence for pair in counted for sentence in pair)}


class TestTheScriptsWords:
    def test_the_table_holds_what_the_scripts_say_and_nothing_else(self):
        asked = set().union(*(said_by(script) for script in SCRIPTS.glob("*.js")))
        assert asked
        with translation.override("de"):
            assert set(script_words()) == asked

    def test_no_placeholder_is_lost(self):
        with translation.override("de"):
            for ours, theirs in script_words().items():
                assert set(re.findall(r"%\(\w+\)s", ours)) == set(re.findall(r"%\(\w+\)s", theirs))

    def test_an_english_page_carries_none(self, at_bench):
        with translation.override("en-gb"):
            assert script_words() == {}
        assert "script-words" not in page(at_bench, "customers")

    @pytest.mark.parametrize("name", ["customers", "waiting", "offline"])
    def test_a_page_of_another_language_carries_them(self, at_bench, name):
        at_bench.post(reverse("preferences"), preferences(language="de"))
        block = re.search(
            r'<script id="script-words" type="application/json">(.*?)</script>',
            page(at_bench, name),
        )
        with translation.override("de"):
            assert json.loads(block[1]) == script_words()
