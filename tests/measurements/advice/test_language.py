"""The advice in the reader's language: every sentence of geometry, its figures in place."""

import re
from dataclasses import replace

import pytest
from django.urls import reverse
from django.utils import translation

from geometry import why_not
from geometry.reasons import REASONS
from instruments.models import Instrument
from measurements.advice.counsel import counsel
from measurements.words import advice_words
from tests.conftest import signed_in
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db
REFUSALS = [words for name, words in vars(why_not).items() if name.isupper()]


@pytest.fixture
def measured():
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument)
    return Instrument.objects.get(pk=instrument.pk)


def said(advice, key):
    """A reason's sentence, each of its figures 1.25."""
    values = dict.fromkeys(re.findall(r"\{(\w+):", REASONS[key]), 1.25) | {"turns": 0.375}
    advice = replace(advice, reason_key=key, reason_values=values, reason_side="bass")
    return advice_words(advice, "mm", "clockwise")


@pytest.mark.parametrize("key", sorted(REASONS))
def test_figures_are_the_readers(measured, key):
    advice = counsel(measured).advice
    english = said(advice, key)
    with translation.override("de"):
        german = said(advice, key)
    for sentence, other in ((english, ","), (german, ".")):
        assert "{" not in sentence
        assert not re.search(rf"\d{re.escape(other)}\d", sentence)
    assert len(re.findall(r"\d[.,]\d", german)) == len(re.findall(r"\d[.,]\d", english))


@pytest.mark.parametrize("key", sorted(REASONS))
def test_every_reason_is_german(measured, key):
    advice = counsel(measured).advice
    with translation.override("de"):
        german = said(advice, key)
    assert not re.search(r"\b(the|and|is|brings|saddle|bass|fret)\b", german)
    if "{side}" in REASONS[key]:
        assert "Bassseite" in german
    if "{turns_text}" in REASONS[key]:
        assert "3/8 Umdrehung im Uhrzeigersinn" in german


@pytest.mark.parametrize("words", REFUSALS)
def test_every_refusal_of_an_option_is_german(words):
    with translation.override("de"):
        assert translation.gettext(words) != words


def test_the_instruments_page_has_the_persons_figures(measured, owner):
    page = signed_in(owner)
    address = reverse("instrument", kwargs={"tag": measured.tag})
    german = page.get(address, headers={"accept-language": "de"}).content.decode()
    english = page.get(address, headers={"accept-language": "en"}).content.decode()
    # A saddle of 3.00 and 2.20 mm, as the factory makes it.
    assert "3,00 mm" in german
    assert "3.00 mm" not in german
    assert "3.00 mm" in english


def test_the_instruments_page_has_the_persons_words(measured, owner):
    page = signed_in(owner)
    address = reverse("instrument", kwargs={"tag": measured.tag})
    german = page.get(address, headers={"accept-language": "de"}).content.decode()
    english = page.get(address, headers={"accept-language": "en"}).content.decode()
    assert "Was jetzt zu tun ist" in german
    assert "What to do now" not in german
    assert "What to do now" in english
