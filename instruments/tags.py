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


def mistyped_tag(text: str) -> bool:
    """Whether ``text`` looks like a code this shop prints, but its check character does not fit."""
    body, _, check = text.upper().partition("-")
    looks_own = (
        len(body) == BODY_LENGTH and len(check) == 1 and set(body + check) <= set(CODE_ALPHABET)
    )
    return looks_own and check_character(body) != check


def is_own_tag(text: str) -> bool:
    """Whether ``text`` has the form of a code this shop prints, with a check character that fits."""
    body, _, check = text.upper().partition("-")
    if len(body) != BODY_LENGTH or len(check) != 1:
        return False
    try:
        return check_character(body) == check
    except ValueError:
        return False
