"""Where things are: the links of the header, and the page of what the shop keeps beside instruments."""

from typing import TYPE_CHECKING, NamedTuple

from django.utils.translation import gettext_lazy as _lazy

from shop.roles import COUNTER, OWNER, TECHNICIAN

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

EVERYONE = frozenset({OWNER, TECHNICIAN, COUNTER})
BENCH = frozenset({OWNER, TECHNICIAN})
OWNERS = frozenset({OWNER})


class Place(NamedTuple):
    """An address by its name, what it is called, what it is for and who may go there."""

    address: str
    words: "StrOrPromise"
    what: "StrOrPromise" = ""
    roles: frozenset[str] = EVERYONE


HEADER = (
    Place("due", _lazy("Due")),
    Place("calls", _lazy("Calls")),
    Place("today", _lazy("Today")),
    Place("instruments", _lazy("Instruments")),
    Place("customers", _lazy("Customers")),
    Place("reports", _lazy("Reports")),
    Place("the-shop", _lazy("Shop")),
    Place("preferences", _lazy("You")),
)
SHOP = (
    Place(
        "settings",
        _lazy("Settings"),
        _lazy("name and address, targets, floors, uncertainties"),
        OWNERS,
    ),
    Place("logo", _lazy("Logo"), _lazy("the picture at the head of service reports"), OWNERS),
    Place("staff", _lazy("Staff"), _lazy("who works here, and what each may do"), OWNERS),
    Place("prices", _lazy("Price list"), _lazy("for the estimate of the next job"), OWNERS),
    Place("gauges", _lazy("Gauges"), _lazy("when each was last checked")),
    Place("drift", _lazy("Drift"), _lazy("is a gauge or a pair of hands drifting?")),
    Place(
        "record",
        _lazy("The forecast's record"),
        _lazy("how well readings have followed their forecasts"),
    ),
    Place("labels", _lazy("Tag labels"), _lazy("sheets of labels with codes to scan"), BENCH),
    Place("joint-sheet-new", _lazy("Joint sheet"), _lazy("what a joint not yet built would do")),
    Place("bookings", _lazy("Bookings"), _lazy("what is expected when")),
    Place("contacts", _lazy("Who was told"), _lazy("letters and calls to customers")),
    Place("feeds", _lazy("Calendar feed"), _lazy("due dates and bookings in your own calendar")),
    Place(
        "privacy", _lazy("Privacy"), _lazy("how long customers are kept, who was erased"), OWNERS
    ),
    Place(
        "imports",
        _lazy("Old records"),
        _lazy("take in files, take everything out, undo an import"),
        OWNERS,
    ),
)


def open_to(places: tuple[Place, ...], roles: set[str]) -> list[Place]:
    """Those that somebody with some roles may go to."""
    return [place for place in places if place.roles & roles]
