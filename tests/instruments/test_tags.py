"""Tag codes: a mistyped one never reads as another, and never opens another instrument.

A code is right where the sum of one number for each place, each given by that place's character alone,
is 0 modulo 31 (the first test). What an error changes of that sum is then a matter of the characters at
the places that it touches, whatever stands at the others: going through every pair of characters there
is going through every code.
"""

from itertools import pairwise, product

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from instruments.tags import (
    BODY_LENGTH,
    check_character,
    is_own_tag,
    likely_code,
    mistyped_tag,
    new_tag,
    read_code,
    trouble_with,
)
from shop.models import CODE_ALPHABET
from tests.factories import InstrumentFactory

ZERO = CODE_ALPHABET[0]
PLACES = range(BODY_LENGTH + 1)  # the last is the check character's
BODY = st.text(alphabet=CODE_ALPHABET, min_size=BODY_LENGTH, max_size=BODY_LENGTH)
# Every letter and figure at least once in every place.
RESTS = [CODE_ALPHABET[k:] + CODE_ALPHABET[:k] for k in range(0, 31, 5)]


def value(letter: str) -> int:
    return CODE_ALPHABET.index(letter)


def share(place: int, letter: str) -> int:
    """What a character adds to the sum at its place, all other places holding the first character."""
    if place == BODY_LENGTH:
        return -value(letter)
    body = [ZERO] * BODY_LENGTH
    body[place] = letter
    return value(check_character("".join(body)))


def hyphened(letters: str) -> str:
    return f"{letters[:BODY_LENGTH]}-{letters[BODY_LENGTH:]}"


@given(BODY, st.sampled_from(CODE_ALPHABET))
def test_a_code_is_right_where_the_shares_of_its_places_sum_to_nothing(body, check):
    total = sum(share(place, letter) for place, letter in enumerate(body + check))
    assert is_own_tag(f"{body}-{check}") == (total % 31 == 0)


@pytest.mark.parametrize("place", PLACES)
def test_every_single_wrong_character_changes_the_sum(place):
    for right, wrong in product(CODE_ALPHABET, repeat=2):
        changed = (share(place, wrong) - share(place, right)) % 31
        assert (changed == 0) == (right == wrong)


@pytest.mark.parametrize(("place", "after"), pairwise(PLACES))
def test_every_swap_of_neighbours_changes_the_sum_also_across_the_hyphen(place, after):
    for first, second in product(CODE_ALPHABET, repeat=2):
        before = share(place, first) + share(after, second)
        swapped = share(place, second) + share(after, first)
        assert ((swapped - before) % 31 == 0) == (first == second)


@pytest.mark.parametrize("rest", RESTS)
def test_errors_show_in_whole_codes(rest):
    """The same said without the sum: every pair of characters, at every place of whole codes."""
    for place, letter in product(range(BODY_LENGTH), CODE_ALPHABET):
        body = rest[:place] + letter + rest[place + 1 : BODY_LENGTH]
        code = body + check_character(body)
        assert is_own_tag(hyphened(code))
        for wrong_place, wrong in product(PLACES, CODE_ALPHABET):
            mistyped = code[:wrong_place] + wrong + code[wrong_place + 1 :]
            assert is_own_tag(hyphened(mistyped)) == (mistyped == code)
            assert mistyped_tag(hyphened(mistyped)) == (mistyped != code)
        for swapped in swaps(code):
            assert is_own_tag(hyphened(swapped)) == (swapped == code)


def swaps(code: str) -> list[str]:
    return [code[:k] + code[k + 1] + code[k] + code[k + 2 :] for k in range(len(code) - 1)]


def test_a_new_tag_carries_its_check_character():
    for _ in range(200):
        assert is_own_tag(new_tag())


@pytest.mark.parametrize("text", ["", "K7M4Q", "K7M4Q-", "O0O0O-2", "K7M4QQ-2", "K7M4Q-22"])
def test_what_has_not_the_form_is_none_of_ours(text):
    assert not is_own_tag(text)
    assert not mistyped_tag(text)


# K7M4Q: 17·1 + 5·2 + 19·3 + 2·4 + 22·5 = 202 = 6·31 + 16, and the character numbered 16 is J.
@pytest.mark.parametrize(
    "text",
    ["K7M4Q-J", "k7m4q-j", " k7m4qj ", "K7M 4Q J", "K7M4Q J", "K7M4-QJ", "K7M4Q–J", "k7m4q.j"],
)
def test_case_gaps_and_hyphens_do_not_matter(text):
    assert read_code(text) == "K7M4Q-J"
    assert trouble_with(text) == ""


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("K7M4Q-E", "its check character does not fit"),
        ("k7m4qe", "K7M4Q-E looks like one of the shop's tags"),
        ("7KM4Q-J", "its check character does not fit"),
        ("K7M40-J", "they never hold 0, O, 1, I or U"),
        ("K7M4Q-0", "they never hold 0, O, 1, I or U"),
        ("orchard", ""),  # a model, a maker, a shop's own tag, a serial number, nothing
        ("marten", ""),
        ("orchid", ""),
        ("B-17", ""),
        ("99-3141", ""),
        ("", ""),
    ],
)
def test_it_says_what_is_wrong_with_what_was_meant_as_a_code(text, words):
    assert words in trouble_with(text)
    assert bool(words) == bool(trouble_with(text))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("K7M40-J", "K7M4Q-J"),  # 0 for Q
        ("k7m4oj", "K7M4Q-J"),
        ("K7M4Q-1", "K7M4Q-J"),
        ("K1M4Q-J", "K7M4Q-J"),
        ("1K7M4-0", None),  # two misread: the check character tells one only
        ("K70 4Q-J", None),  # M is nothing that one reads as 0
        ("K7M4Q-E", None),
    ],
)
def test_one_misread_character_is_found_by_the_check_character(text, code):
    assert likely_code(text) == code


def errors_of(code: str) -> set[str]:
    """Every single wrong character and every swap of neighbours, the hyphen's included."""
    bare = code.replace("-", "")
    typed = {hyphened(bare[:k] + wrong + bare[k + 1 :]) for k in PLACES for wrong in CODE_ALPHABET}
    typed |= {hyphened(swapped) for swapped in swaps(bare)}
    typed |= {code[:k] + wrong + code[k + 1 :] for k in range(len(code)) for wrong in "0O1IU"}
    return typed - {code}


@pytest.mark.django_db
class TestOpening:
    CODE = "K7M4Q-J"

    @pytest.fixture(autouse=True)
    def shop_full_of_neighbours(self):
        """The instrument, and one for every code that differs from its in one character of the body."""
        near = {
            body + "-" + check_character(body)
            for k in range(BODY_LENGTH)
            for letter in CODE_ALPHABET
            for body in [self.CODE[:k] + letter + self.CODE[k + 1 : BODY_LENGTH]]
        }
        assert len(near) == 151
        for tag in near:
            InstrumentFactory(tag=tag, customer=None)

    def test_no_mistyped_code_opens_an_instrument(self, at_bench):
        for typed in errors_of(self.CODE):
            for text in (typed, typed.replace("-", "").lower()):
                answer = at_bench.get(reverse("instruments"), {"q": text})
                assert answer.status_code == 200, text
            for name in ("instrument", "check-in-add", "instrument-edit", "tag-scanned"):
                address = reverse(name, kwargs={"tag": typed})
                assert at_bench.get(address).status_code == 404, address

    @pytest.mark.parametrize("text", ["k7m4qj", " K7M4 Q-J ", "K7M4-QJ"])
    def test_the_code_itself_does_however_it_is_spaced(self, at_bench, text):
        answer = at_bench.get(reverse("instruments"), {"q": text})
        assert answer["Location"] == "/instruments/K7M4Q-J/"

    @pytest.mark.parametrize("text", ["https://bench.example/t/K7M4Q-J/", "HTTP://H:80/T/k7m4q-j"])
    def test_a_scanner_that_types_the_labels_address_opens_it_too(self, at_bench, text):
        answer = at_bench.get(reverse("instruments"), {"q": text})
        assert answer["Location"] == "/instruments/K7M4Q-J/"

    def test_part_of_a_tag_lists_and_opens_nothing(self, at_bench):
        for text in ("K7M4Q", "m4q-j"):
            assert at_bench.get(reverse("instruments"), {"q": text}).status_code == 200

    def test_a_misread_character_is_asked_about(self, at_bench):
        page = at_bench.get(reverse("instruments"), {"q": "K7M40-J"}).content.decode()
        assert "they never hold 0, O, 1, I or U" in page
        assert 'href="/instruments/K7M4Q-J/"' in page

    def test_a_mistyped_tag_of_the_shops_own_is_told(self, at_bench):
        page = at_bench.get(reverse("instruments"), {"q": "K7M4Q-E"}).content.decode()
        assert "its check character does not fit" in page


@pytest.mark.django_db
class TestScanning:
    def test_it_opens_the_check_in_at_the_bench(self, at_bench):
        InstrumentFactory(tag="K7M4Q-J")
        assert at_bench.get("/t/K7M4Q-J/")["Location"] == "/instruments/K7M4Q-J/check-in/"

    def test_it_opens_the_instrument_at_the_counter(self, at_counter):
        InstrumentFactory(tag="Old tag 7")
        assert at_counter.get("/t/Old%20tag%207/")["Location"] == "/instruments/Old%20tag%207/"

    def test_it_goes_on_after_signing_in(self, client, tech):
        InstrumentFactory(tag="K7M4Q-J")
        asked = client.get("/t/K7M4Q-J/")
        data = {"username": "tech", "password": "saddle-demo"}
        assert client.post(asked["Location"], data)["Location"] == "/t/K7M4Q-J/"

    def test_an_unknown_tag_says_so_and_offers_the_search(self, at_bench):
        answer = at_bench.get("/t/K7M4Q-E/")
        page = answer.content.decode()
        assert answer.status_code == 404
        assert "No instrument has the tag K7M4Q-E" in page
        assert "its check character does not fit" in page
        assert 'type="search"' in page
