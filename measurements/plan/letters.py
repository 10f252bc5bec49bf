"""What a customer is told about an instrument: the same sentences as the report's, in their unit."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.units import LengthUnit
from measurements.plan.calls import BOOK, OVERDUE, REMEASURE, UNSEEN, Call
from measurements.reports.words import outlook_words
from shop.languages import language_for, tag_of, written_in
from shop.models import ShopProfile


@dataclass(frozen=True)
class Letter:
    to: str
    subject: str
    body: str
    language: str  # as a page names it


def letter_for(call: Call, shop: ShopProfile) -> Letter:
    """An e-mail, or what to say on the telephone, in the customer's language.

    Nothing in it comes from anyone but the shop.
    """
    language = language_for(call.customer, shop)
    with written_in(language):
        return Letter(
            to=call.customer.email,
            subject=one_line(f"{_subject(call)}: {instrument_name(call)}")[:200],
            body="\n\n".join(paragraph.strip() for paragraph in _paragraphs(call, shop)),
            language=tag_of(language),
        )


def _paragraphs(call: Call, shop: ShopProfile) -> list[str]:
    unit = cast(LengthUnit, call.customer.unit)
    about = _("We look after your instrument, %(name)s (tag %(tag)s).") % {
        "name": instrument_name(call),
        "tag": call.instrument.tag,
    }
    bring_it = _("Please tell us when you would like to bring it in.")
    return [
        salutation(call.customer.name),
        f"{about} {_why(call)}",
        " ".join(outlook_words(call.outlook, unit)),
        _(
            "This is an estimate from readings, not a promise; measuring again makes it sharper. "
            "Until then keep the instrument at 45 to 55 % relative humidity, and please do not turn "
            "any bolt or rod of the neck yourself while the strings are under tension."
        ),
        f"{bring_it} {_how_to_reach(shop)}",
        _("If you would rather not be reminded, tell us and we shall not write again."),
        farewell(shop.name),
    ]


def salutation(name: str) -> str:
    name = one_line(name)
    return _("Dear %(name)s,") % {"name": name} if name else _("Good day,")


def farewell(shop: str) -> str:
    return _("With kind regards\n%(shop)s") % {"shop": one_line(shop)}


def either(ways: Sequence[str]) -> str:
    """``0113 …`` or ``0113 … or shop@…``."""
    if len(ways) < 2:
        return "".join(ways)
    return _("%(first)s or %(second)s") % {"first": ways[0], "second": ways[1]}


def instrument_name(call: Call) -> str:
    parts = (call.instrument.maker, call.instrument.model)
    return one_line(" ".join(part for part in parts if part)) or _("your guitar")


def one_line(text: str) -> str:
    """Without line breaks or other control characters: nothing a header could be made of."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


SUBJECTS = {
    OVERDUE: gettext_noop("A neck reset is due"),
    BOOK: gettext_noop("A neck reset is near"),
    REMEASURE: gettext_noop("May we measure again"),
    UNSEEN: gettext_noop("Time to measure again"),
}
WHY = {
    OVERDUE: gettext_noop("By our measurements its neck needs to be set at a new angle."),
    BOOK: gettext_noop(
        "By our measurements its neck will need to be set at a new angle before long."
    ),
    REMEASURE: gettext_noop(
        "Our newest measurements do not fit the earlier ones, and we should like to take them again, "
        "to be sure that nothing has come loose. It costs a few minutes."
    ),
    UNSEEN: gettext_noop("We have not measured it for a year, and its room is getting less."),
}


def _subject(call: Call) -> str:
    return _(SUBJECTS[call.reason])


def _why(call: Call) -> str:
    return _(WHY[call.reason])


def _how_to_reach(shop: ShopProfile) -> str:
    ways = [way for way in (shop.phone, shop.email) if way]
    return _("You reach us at %(ways)s.") % {"ways": either(ways)} if ways else ""
