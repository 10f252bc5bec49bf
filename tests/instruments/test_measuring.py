"""The order of measuring: the trade's usual one, or an instrument's own in words."""

import re
from html import unescape

import pytest
from django.urls import reverse

from instruments import measuring
from instruments.measuring import (
    USUAL_ORDER,
    OrderField,
    groups_in_order,
    parse_order,
    places_in_order,
)
from tests.factories import InstrumentFactory


def test_without_words_the_order_is_the_usual_one():
    assert groups_in_order([]) == USUAL_ORDER
    assert places_in_order([], [1, 12]) == [
        [(1, "bass"), (1, "treble")],
        [(12, "bass"), (12, "treble")],
    ]


def test_what_is_named_comes_first_and_the_rest_follows():
    order = groups_in_order(["bridge rise", "margins"])
    assert order[:2] == ("bridge rise", "margins")
    assert order[2:] == ("relief", "action", "saddle", "humidity", "temperature")


def test_treble_first_and_along_each_string():
    assert places_in_order(["treble first", "along each string"], [1, 12]) == [
        [(1, "treble"), (12, "treble")],
        [(1, "bass"), (12, "bass")],
    ]


def test_words_no_longer_known_do_no_harm():
    assert groups_in_order(["tuners", "saddle", "saddle"])[0] == "saddle"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", []),
        (" , ;", []),
        ("Saddle,  Bridge   rise; treble FIRST", ["saddle", "bridge rise", "treble first"]),
        ("relief\r\nsaddle", ["relief", "saddle"]),
    ],
)
def test_it_reads_words_with_commas(text, words):
    assert parse_order(text) == words


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("sadle", "“sadle” is not known here. Did you mean saddle? Known: relief, action,"),
        ("relief saddle", "“relief saddle” is not known here"),
        ("relief, relief", "“relief” stands twice"),
        ("x" * 500, "“" + "x" * 40 + "…” is not known here"),
        ("<script>", "“<script>” is not known here"),
    ],
)
def test_it_refuses_other_words_by_name(text, why):
    with pytest.raises(ValueError, match=r"known here|twice") as refused:
        parse_order(text)
    assert why in str(refused.value)


class TestInAnotherLanguage:
    """Whatever the words are called, what is kept is one and the same."""

    @pytest.fixture(autouse=True)
    def _words(self, monkeypatch):
        theirs = {"saddle": "Stegeinlage", "treble first": "Diskant zuerst"}
        monkeypatch.setattr(measuring, "_", lambda text: theirs.get(text, text))

    @pytest.mark.parametrize("text", ["STEGEINLAGE, Diskant  zuerst", "saddle; Diskant zuerst"])
    def test_it_reads_its_words_and_those_that_are_kept(self, text):
        assert parse_order(text) == ["saddle", "treble first"]

    def test_it_shows_its_words(self):
        assert OrderField().prepare_value(["saddle", "relief"]) == "Stegeinlage, relief"

    def test_one_thing_by_two_names_stands_twice(self):
        with pytest.raises(ValueError, match="“saddle” stands twice"):
            parse_order("Stegeinlage, saddle")

    def test_it_asks_in_its_words(self):
        with pytest.raises(ValueError, match=r"Did you mean Stegeinlage\?.*Diskant zuerst"):
            parse_order("stegeinlge")


@pytest.mark.django_db
class TestTheInstrumentsForm:
    def fields(self, at_bench, instrument) -> dict[str, object]:
        page = at_bench.get(reverse("instrument-edit", kwargs={"tag": instrument.tag}))
        forms = [page.context["form"], page.context["joint_form"]]
        values = {box.html_name: box.value() for form in forms for box in form}
        hidden = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.content.decode())
        values |= {name: unescape(value) for name, value in hidden}
        return {name: value for name, value in values.items() if value not in (None, False)}

    def test_it_keeps_the_order(self, at_bench):
        instrument = InstrumentFactory()
        address = reverse("instrument-edit", kwargs={"tag": instrument.tag})
        fields = self.fields(at_bench, instrument)
        response = at_bench.post(address, fields | {"measuring_order": "Saddle, treble first"})
        assert response.status_code == 302, response.context["form"].errors
        instrument.refresh_from_db()
        assert instrument.measuring_order == ["saddle", "treble first"]
        assert self.fields(at_bench, instrument)["measuring_order"] == "saddle, treble first"

    def test_it_refuses_an_unknown_word_and_keeps_it(self, at_bench):
        instrument = InstrumentFactory()
        address = reverse("instrument-edit", kwargs={"tag": instrument.tag})
        fields = self.fields(at_bench, instrument)
        response = at_bench.post(address, fields | {"measuring_order": "sadle"})
        assert response.status_code == 422
        assert "Did you mean saddle?" in response.content.decode()
        assert "\nsadle</textarea>" in response.content.decode()
