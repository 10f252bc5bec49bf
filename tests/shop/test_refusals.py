"""geometry's sentences in the reader's language: all of them, and put together from translated parts."""

from contextlib import contextmanager

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from geometry.refusals import OutOfRangeError, Phrase, RefusedTextError, Sentence
from geometry.repeats import parse_lengths
from geometry.units import parse_length, parse_quantity
from shop import refusals
from tests.catalogue import catalogue

GATHERED = {entry.msgid for entry in catalogue()}

#: A text for each sentence, and what reads it.
TEXTS = {
    Sentence.NOTHING: ("", parse_length),
    Sentence.TOO_LONG: ("1" * 200, parse_length),
    Sentence.CONTROL: ("2.4\x00mm", parse_length),
    Sentence.TWO_UNITS: ("2.4 mm in", parse_length),
    Sentence.NO_NUMBER: ("nan", parse_length),
    Sentence.NOT_ONE_NUMBER: ("2.4 2.5", parse_length),
    Sentence.UNKNOWN_UNIT: ("2.4 cm", parse_length),
    Sentence.BY_ZERO: ("1/0", parse_length),
    Sentence.AMBIGUOUS: ("1,234", parse_length),
    Sentence.IMPROPER: ("1 9/8", parse_length),
    Sentence.FRACTION: ("1/2", lambda text: parse_quantity(text, "humidity")),
    Sentence.OVER_LENGTH: ("99999999", parse_length),
    Sentence.NO_HUMIDITY: ("101", lambda text: parse_quantity(text, "humidity")),
    Sentence.NO_TEMPERATURE: ("900", lambda text: parse_quantity(text, "temperature")),
    Sentence.NO_TURNS: ("900", lambda text: parse_quantity(text, "turns")),
    Sentence.NO_ANGLE: ("900", lambda text: parse_quantity(text, "angle")),
    Sentence.SPACES_AND_SEMICOLONS: ("2.4 2.5; 2.6", parse_lengths),
    Sentence.TOO_MANY: ("1 " * 21, parse_lengths),
    Sentence.UNIT_FIRST: ("mm 2.4 2.5", parse_lengths),
    Sentence.STRAY_SPACE: ("2, 4", parse_lengths),
    Sentence.MIXED_NUMBERS: ("1 1/64 2 3", parse_lengths),
    Sentence.INCHES_AND_MM: ("2.4; 3/32 mm", parse_lengths),
    Sentence.SOME_UNITS: ("0.094 in 2.4", parse_lengths),
}


@contextmanager
def suppress_refused():
    """Gives the list of the sentences in which what follows is refused."""
    said = []
    try:
        yield said
    except RefusedTextError as refused:
        said.append(refused.pattern)


def test_the_catalogue_has_every_sentence_and_phrase():
    assert {*Sentence, *Phrase} <= GATHERED
    assert set(TEXTS) == set(Sentence)


@pytest.mark.parametrize("sentence", Sentence, ids=lambda sentence: sentence.name)
def test_each_sentence_is_said_of_its_text(sentence):
    text, read = TEXTS[sentence]
    with pytest.raises(RefusedTextError) as refused:
        read(text)
    assert refused.value.pattern is sentence
    assert isinstance(refused.value.parts["example"], Phrase)
    assert str(refused.value) == refusals.in_words(refused.value)
    assert isinstance(refused.value, OutOfRangeError) == sentence.name.startswith("NO_") & (
        "outside" in sentence
    )


READS = [
    parse_length,
    parse_lengths,
    *(
        lambda text, kind=kind: parse_quantity(text, kind)
        for kind in ("humidity", "temperature", "turns", "angle")
    ),
]


@given(st.text(st.sampled_from("0123456789.,/+-; \"'½%°CFRHcimnturdeg\t\x00²"), max_size=30))
def test_whatever_is_refused_is_refused_in_a_sentence_of_the_catalogue(text):
    for read in READS:
        with suppress_refused() as said:
            read(text)
        assert set(said) <= GATHERED


def test_sentence_and_example_are_both_translated(monkeypatch):
    german = {
        Sentence.UNKNOWN_UNIT: "„%(typed)s“ hat die Einheit %(unit)s; schreiben Sie %(example)s.",
        Phrase.LENGTH: "eine Zahl wie 2,4 mm",
    }
    monkeypatch.setattr(refusals, "_", german.__getitem__)
    with pytest.raises(RefusedTextError) as refused:
        parse_length("2,4 cm")
    assert refusals.in_words(refused.value) == (
        "„2,4 cm“ hat die Einheit cm; schreiben Sie eine Zahl wie 2,4 mm."
    )


def test_another_error_is_said_as_it_stands():
    with translation.override("de"):
        assert refusals.in_words(ValueError("Turns 9: too far.")) == "Turns 9: too far."
