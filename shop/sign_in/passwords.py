"""Words that are too near at hand in such a shop to be most of a password."""

import re

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shop.models import ShopProfile, User

#: In every language the app speaks. Beside them the shop's own name; a person's own are Django's to compare.
WORDS = (
    "saddleroom",
    "saddle",
    "guitar",
    "luthier",
    "acoustic",
    "workshop",
    "repair",
    "bridge",
    "strings",
    "fretboard",
    "owner",
    "technician",
    "counter",
    "password",
    "gitarre",
    "gitarrenbau",
    "werkstatt",
    "stegeinlage",
    "saiten",
    "inhaber",
    "techniker",
    "annahme",
    "passwort",
)
#: What else a password must hold beside such words.
LEAST_BESIDE = 5


class NoShopWords:
    """Refuses a password that is little more than words of the trade, the app or the shop's name."""

    def validate(self, password: str, user: User | None = None) -> None:
        left = re.sub(r"[\W_]", "", password.casefold())
        for word in self._words():
            left = left.replace(word, "")
        if len(left) < min(LEAST_BESIDE, len(password)):
            raise ValidationError(
                _(
                    "This password is little more than words that belong to the shop or the trade; "
                    "at least %(least)s other letters or digits make it harder to guess."
                )
                % {"least": LEAST_BESIDE},
                code="shop_words",
            )

    def get_help_text(self) -> str:
        return _(
            "Your password can’t be little more than the shop’s name or words of the trade, "
            "like “guitar” or “saddle”."
        )

    def _words(self) -> list[str]:
        own = re.findall(r"\w{4,}", ShopProfile.current().name.casefold())
        return sorted({*WORDS, *own}, key=len, reverse=True)
