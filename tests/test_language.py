"""German is complete: every word is in the catalogue, every page is in one language."""

import os
import re
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import polib
import pytest
from django.apps import apps
from django.conf import settings
from django.db import models
from django.test import Client
from django.utils import translation

from tests.catalogue import PLACE, catalogue
from tests.conftest import signed_in
from tests.test_access import addresses  # noqa: F401  a fixture

ROOT = Path(__file__).parent.parent
#: What a sentence leaves open: ``%(name)s`` and, in a count, ``%s``.
SLOT = re.compile(r"%\(\w+\)[sd]|%[sd]")
#: In the language of the customer it is for, whoever looks.
FOR_CUSTOMERS = {"report", "report-revision", "report-mail", "customer-report"}
#: Shown alike in both languages: names, signs, examples to type, words of programs.
ALIKE = re.compile(
    r"Saddleroom|English|Deutsch|manage|py|[a-z]+_[a-z_]+|backup|[A-Z]{1,4}|mm|in|lbf"
    r"|Bass|Instrument|Name|Person|Logo|Nov"
)


BETWEEN = re.compile(r"[\s/.,;:()“”–-]+")


class Shown(HTMLParser):
    """The texts of a page that a person reads or hears."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: set[str] = set()
        self.silent = 0
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.silent += tag in ("script", "style")
        for name, value in attrs:
            if name in ("title", "aria-label", "alt", "placeholder", "data-label") and value:
                self.texts.add(" ".join(value.split()))

    def handle_endtag(self, tag):
        self.silent -= tag in ("script", "style")

    def handle_data(self, data):
        if not self.silent and data.strip():
            self.texts.add(" ".join(data.split()))


def keys(entries) -> set[tuple[str | None, str]]:
    return {(entry.msgctxt, entry.msgid) for entry in entries}


def test_every_message_has_its_german():
    assert [entry.msgid for entry in catalogue() if not entry.translated() or entry.fuzzy] == []


def test_german_leaves_open_what_english_does():
    wrong = [
        entry.msgid
        for entry in catalogue()
        for english, german in (
            [(entry.msgid_plural, entry.msgstr_plural[1])]
            if entry.msgid_plural
            else [(entry.msgid, entry.msgstr)]
        )
        if sorted(set(SLOT.findall(english))) != sorted(set(SLOT.findall(german)))
    ]
    assert wrong == []


def test_what_the_app_reads_was_made_of_the_catalogue():
    made = polib.mofile(str(PLACE.with_suffix(".mo")))
    said = {(entry.msgctxt, entry.msgid): (entry.msgstr, entry.msgstr_plural) for entry in made}
    assert said == {
        (entry.msgctxt, entry.msgid): (entry.msgstr, entry.msgstr_plural) for entry in catalogue()
    }, "Run make words."


def test_the_catalogue_holds_every_word_of_the_app_and_no_other(tmp_path):
    if shutil.which("xgettext") is None:
        if os.environ.get("CI"):
            pytest.fail("xgettext is missing; .ci/run installs gettext.")
        pytest.skip("needs Debian's gettext")
    here = tmp_path / "copy"
    names = ("shop", "instruments", "measurements", "geometry", "templates", "manage.py")
    for name in names:
        of = ROOT / name
        copy = shutil.copytree if of.is_dir() else shutil.copy
        (here / name).parent.mkdir(parents=True, exist_ok=True)
        copy(of, here / name)
    words = "makemessages -l de --no-obsolete --no-wrap --add-location file -e html,py,svg -v 0"
    subprocess.run(
        [sys.executable, "manage.py", *words.split()],
        cwd=here, check=True, capture_output=True,
    )  # fmt: skip
    found = polib.pofile(str(here / PLACE.relative_to(ROOT)))
    assert keys(found) == keys(catalogue()), "Run make words."


def test_languages_differ_in_days_and_decimals():
    from datetime import date

    from shop.figures import day_words, decimal, length_words, month_words

    day = date(2026, 3, 4)
    with translation.override("en-gb"):
        assert (day_words(day), length_words(2.4)) == ("4 March 2026", "2.40 mm")
    with translation.override("de"):  # DIN 5008 and DIN 1333: day with a point, decimal comma
        assert (day_words(day), month_words(day)) == ("4. März 2026", "März 2026")
        assert (length_words(2.4), length_words(2.4, "in")) == ("2,40 mm", "0,094 in")
        assert decimal(-0.5, 1) == "−0,5"


def texts(client: Client, address: str, language: str) -> set[str] | None:
    answer = client.get(address, headers={"accept-language": language})
    if answer.status_code != 200 or "text/html" not in answer.get("Content-Type", ""):
        return None
    return Shown(b"".join(answer).decode()).texts


def kept_in_the_database() -> set[str]:
    """Every text and word that somebody typed, which no language changes."""
    found: set[str] = set()
    for model in apps.get_models():
        fields = [
            field.name
            for field in model._meta.fields
            if isinstance(field, models.CharField | models.TextField)
        ]
        if fields and model._meta.app_label in ("shop", "instruments", "measurements"):
            for row in model._default_manager.values_list(*fields):
                for value in filter(None, map(str, row)):
                    found |= {" ".join(value.split()), *BETWEEN.split(value)}
    return found


def test_no_page_mixes_languages(addresses, owner):  # noqa: F811
    client = signed_in(owner)
    said: dict[str, list[str]] = {}
    for name, address in addresses.items():
        if name in FOR_CUSTOMERS:
            continue
        english, german = texts(client, address, "en"), texts(client, address, "de")
        if english and german:
            for text in english & german:
                said.setdefault(text, []).append(name)
    typed = kept_in_the_database()
    same = {
        text: names
        for text, names in said.items()
        if not all(
            word in typed or ALIKE.fullmatch(word) or not re.search(r"[A-Za-z]{2}", word)
            for word in BETWEEN.split(text)
        )
    }
    assert same == {}


def test_every_language_has_a_catalogue_or_is_the_source():
    held = {path.name for path in (ROOT / "shop" / "locale").iterdir()}
    assert {code for code, _ in settings.LANGUAGES} - {settings.LANGUAGE_CODE} == held
