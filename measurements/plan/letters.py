"""What a customer is told about an instrument: the same sentences as the report's, in their unit."""

from dataclasses import dataclass

from geometry.units import LengthUnit
from measurements.plan.calls import BOOK, OVERDUE, REMEASURE, Call
from measurements.reports.words import outlook_words
from shop.models import ShopProfile


@dataclass(frozen=True)
class Letter:
    to: str
    subject: str
    body: str


def letter_for(call: Call, shop: ShopProfile) -> Letter:
    """An e-mail, or what to say on the telephone. Nothing in it comes from anyone but the shop."""
    name = instrument_name(call)
    unit: LengthUnit = "in" if call.customer.unit == "in" else "mm"
    paragraphs = [
        f"Dear {one_line(call.customer.name)},",
        f"We look after your instrument, {name} (tag {call.instrument.tag}). {_why(call)}",
        " ".join(outlook_words(call.outlook, unit)),
        "This is an estimate from readings, not a promise; measuring again makes it sharper. Until then "
        "keep the instrument at 45 to 55 % relative humidity, and please do not turn any bolt or rod "
        "of the neck yourself while the strings are under tension.",
        f"Please tell us when you would like to bring it in. {_how_to_reach(shop)}",
        "If you would rather not be reminded, tell us and we shall not write again.",
        f"With kind regards\n{shop.name}",
    ]
    return Letter(
        to=call.customer.email,
        subject=one_line(f"{_subject(call)}: {name}")[:200],
        body="\n\n".join(paragraph.strip() for paragraph in paragraphs),
    )


def instrument_name(call: Call) -> str:
    parts = (call.instrument.maker, call.instrument.model)
    return one_line(" ".join(part for part in parts if part)) or "your guitar"


def one_line(text: str) -> str:
    """Without line breaks or other control characters: nothing a header could be made of."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _subject(call: Call) -> str:
    return {
        OVERDUE: "A neck reset is due",
        BOOK: "A neck reset is near",
        REMEASURE: "May we measure again",
    }.get(call.reason, "Time to measure again")


def _why(call: Call) -> str:
    return {
        OVERDUE: "By our measurements its neck needs to be set at a new angle.",
        BOOK: "By our measurements its neck will need to be set at a new angle before long.",
        REMEASURE: "Our newest measurements do not fit the earlier ones, and we should like to take "
        "them again, to be sure that nothing has come loose. It costs a few minutes.",
    }.get(call.reason, "We have not measured it for a year, and its room is getting less.")


def _how_to_reach(shop: ShopProfile) -> str:
    ways = [way for way in (shop.phone, shop.email) if way]
    return f"You reach us at {' or '.join(ways)}." if ways else ""
