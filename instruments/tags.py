"""Tag codes: short, unambiguous, with a check character.

The alphabet has 31 characters, a prime, and position i carries weight i, so every single wrong
character and every swap of two characters changes the sum modulo 31.
"""

import secrets

from shop.models import CODE_ALPHABET

BODY_LENGTH = 5


def check_character(body: str) -> str:
    """Check character for a code's body; raises ``ValueError`` on a character outside the alphabet."""
    total = sum(place * CODE_ALPHABET.index(letter) for place, letter in enumerate(body, start=1))
    return CODE_ALPHABET[total % len(CODE_ALPHABET)]


def new_tag() -> str:
    """A random tag such as ``K7M4Q-2``: five characters and their check character."""
    body = "".join(secrets.choice(CODE_ALPHABET) for _ in range(BODY_LENGTH))
    return f"{body}-{check_character(body)}"


def _check_fits(text: str) -> bool | None:
    """Whether the check character fits; None where ``text`` has not the form of this shop's codes."""
    body, _, check = text.upper().partition("-")
    if len(body) != BODY_LENGTH or len(check) != 1 or not set(body + check) <= set(CODE_ALPHABET):
        return None
    return check_character(body) == check


def mistyped_tag(text: str) -> bool:
    """Whether ``text`` looks like a code this shop prints, but its check character does not fit."""
    return _check_fits(text) is False


def is_own_tag(text: str) -> bool:
    """Whether ``text`` has the form of a code this shop prints, with a check character that fits."""
    return _check_fits(text) is True
