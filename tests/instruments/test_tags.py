"""Tag codes: a mistyped one never reads as another."""

import random

import pytest

from instruments.tags import check_character, is_own_tag, new_tag
from shop.models import CODE_ALPHABET


def test_a_new_tag_carries_its_check_character():
    for _ in range(200):
        assert is_own_tag(new_tag())


def test_every_single_wrong_character_shows():
    body = "K7M4Q"
    tag = f"{body}-{check_character(body)}"
    for place in range(len(body)):
        for letter in set(CODE_ALPHABET) - {body[place]}:
            assert not is_own_tag(tag[:place] + letter + tag[place + 1 :])
    for letter in set(CODE_ALPHABET) - {tag[-1]}:
        assert not is_own_tag(f"{body}-{letter}")


def test_every_swap_of_neighbours_shows():
    pick = random.Random(7)
    for _ in range(500):
        body = "".join(pick.choice(CODE_ALPHABET) for _ in range(5))
        tag = f"{body}-{check_character(body)}"
        for place in range(4):
            swapped = list(tag)
            swapped[place], swapped[place + 1] = swapped[place + 1], swapped[place]
            assert is_own_tag("".join(swapped)) == (tag[place] == tag[place + 1])


@pytest.mark.parametrize("text", ["", "K7M4Q", "K7M4Q-", "O0O0O-2", "K7M4QQ-2", "K7M4Q-22"])
def test_what_has_not_the_form_is_none_of_ours(text):
    assert not is_own_tag(text)
