"""Tag codes: short, unambiguous, with a check character.

The alphabet has 31 characters, a prime, and position i carries weight i, so every single wrong
character and every swap of two characters changes the sum modulo 31. A shop may also give tags of its
own making; those have no check character, and only their exact text finds them.
"""

import re
import secrets
from urllib.parse import unquote

from django.utils.translation import gettext as _

from shop.models import CODE_ALPHABET

BODY_LENGTH = 5
#: Characters that no code has, and what may have been read for them.
LOOKALIKES = {"0": "DQCG", "O": "DQCG", "1": "LJ7T", "I": "LJ7T", "U": "V"}
_LABEL = re.compile(r"https?://[^/\s]+/t/([^/\s]+)/?", re.IGNORECASE)
_GAPS = re.compile(r"[\s\-‐‑‒–—−_.]+")


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


def _bare(text: str) -> str:
    return _GAPS.sub("", text).upper()


def scanned(text: str) -> str:
    """The tag in a label's address, which a scanner that types puts into the search box; else ``text``."""
    address = _LABEL.fullmatch(text)
    return unquote(address[1]) if address else text


def read_code(text: str) -> str | None:
    """The code meant by ``text``, whatever its case, spaces and hyphens; None where it is none that fits."""
    bare = _bare(text)
    code = f"{bare[:BODY_LENGTH]}-{bare[BODY_LENGTH:]}"
    return code if is_own_tag(code) else None


def trouble_with(text: str) -> str:
    """What is wrong with ``text`` as a code of this shop, in words; empty where it was not meant as one."""
    bare = _bare(text)
    shown = f"{bare[:BODY_LENGTH]}-{bare[BODY_LENGTH:]}"
    if len(bare) != BODY_LENGTH + 1 or not bare.isalnum() or not _meant_as_code(text, bare):
        return ""
    strange = [letter for letter in bare if letter not in CODE_ALPHABET]
    if strange:
        return (
            _(
                "%(tag)s cannot be one of the shop's tags: they never hold 0, O, 1, I or U. Look "
                "again whether it is D or Q, L or J, or V."
            )
            % {"tag": shown}
            if set(strange) <= set(LOOKALIKES)
            else ""
        )
    if read_code(bare) is None:
        return _(
            "%(tag)s looks like one of the shop's tags with a character mistyped: its check "
            "character does not fit the others."
        ) % {"tag": shown}
    return ""


def _meant_as_code(text: str, bare: str) -> bool:
    """A hyphen before the last character, or figures among letters: no name or number has these."""
    mixed = any(letter.isdigit() for letter in bare) and any(letter.isalpha() for letter in bare)
    return mixed or text.strip()[-2:-1] == "-"


def likely_code(text: str) -> str | None:
    """The one code that ``text`` can be if its single 0, O, 1, I or U was misread, to be asked about."""
    bare = _bare(text)
    places = [place for place, letter in enumerate(bare) if letter in LOOKALIKES]
    if len(bare) != BODY_LENGTH + 1 or len(places) != 1:
        return None
    place = places[0]
    codes = [read_code(bare[:place] + like + bare[place + 1 :]) for like in LOOKALIKES[bare[place]]]
    fitting = [code for code in codes if code is not None]
    return fitting[0] if fitting else None  # the check character leaves one at most
