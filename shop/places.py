"""Where things are: the links of the header, and the page of what the shop keeps beside instruments."""

from typing import NamedTuple

from shop.roles import COUNTER, OWNER, TECHNICIAN

EVERYONE = frozenset({OWNER, TECHNICIAN, COUNTER})
BENCH = frozenset({OWNER, TECHNICIAN})
OWNERS = frozenset({OWNER})


class Place(NamedTuple):
    """An address by its name, what it is called, what it is for and who may go there."""

    address: str
    words: str
    what: str = ""
    roles: frozenset[str] = EVERYONE


HEADER = (
    Place("due", "Due"),
    Place("calls", "Calls"),
    Place("today", "Today"),
    Place("instruments", "Instruments"),
    Place("customers", "Customers"),
    Place("reports", "Reports"),
    Place("the-shop", "Shop"),
    Place("preferences", "You"),
)
SHOP = (
    Place("settings", "Settings", "name and address, targets, floors, uncertainties", OWNERS),
    Place("logo", "Logo", "the picture at the head of service reports", OWNERS),
    Place("staff", "Staff", "who works here, and what each may do", OWNERS),
    Place("prices", "Price list", "for the estimate of the next job", OWNERS),
    Place("gauges", "Gauges", "when each was last checked"),
    Place("drift", "Drift", "is a gauge or a pair of hands drifting?"),
    Place("record", "The forecast's record", "how well readings have followed their forecasts"),
    Place("labels", "Tag labels", "sheets of labels with codes to scan", BENCH),
    Place("joint-sheet-new", "Joint sheet", "what a joint not yet built would do"),
    Place("bookings", "Bookings", "what is expected when"),
    Place("contacts", "Who was told", "letters and calls to customers"),
    Place("feeds", "Calendar feed", "due dates and bookings in your own calendar"),
    Place("privacy", "Privacy", "how long customers are kept, who was erased", OWNERS),
    Place("imports", "Old records", "take in files, take everything out, undo an import", OWNERS),
)


def open_to(places: tuple[Place, ...], roles: set[str]) -> list[Place]:
    """Those that somebody with some roles may go to."""
    return [place for place in places if place.roles & roles]
