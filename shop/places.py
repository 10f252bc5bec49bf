"""Where things are: the links of the header, and the page of what the shop keeps beside instruments."""

from typing import TYPE_CHECKING, NamedTuple

from django.utils.translation import gettext_lazy

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
    Place("due", gettext_lazy("Due")),
    Place("calls", gettext_lazy("Calls")),
    Place("today", gettext_lazy("Today")),
    Place("instruments", gettext_lazy("Instruments")),
    Place("customers", gettext_lazy("Customers")),
    Place("reports", gettext_lazy("Reports")),
    Place("the-shop", gettext_lazy("Shop")),
    Place("preferences", gettext_lazy("You")),
)
SHOP = (
    Place(
        "settings",
        gettext_lazy("Settings"),
        gettext_lazy("name and address, targets, floors, uncertainties"),
        OWNERS,
    ),
    Place(
        "logo",
        gettext_lazy("Logo"),
        gettext_lazy("the picture at the head of service reports"),
        OWNERS,
    ),
    Place(
        "staff", gettext_lazy("Staff"), gettext_lazy("who works here, and what each may do"), OWNERS
    ),
    Place(
        "prices",
        gettext_lazy("Price list"),
        gettext_lazy("for the estimate of the next job"),
        OWNERS,
    ),
    Place("gauges", gettext_lazy("Gauges"), gettext_lazy("when each was last checked")),
    Place("drift", gettext_lazy("Drift"), gettext_lazy("is a gauge or a pair of hands drifting?")),
    Place(
        "record",
        gettext_lazy("The forecast's record"),
        gettext_lazy("how well readings have followed their forecasts"),
    ),
    Place(
        "labels",
        gettext_lazy("Tag labels"),
        gettext_lazy("sheets of labels with codes to scan"),
        BENCH,
    ),
    Place(
        "joint-sheet-new",
        gettext_lazy("Joint sheet"),
        gettext_lazy("what a joint not yet built would do"),
    ),
    Place("bookings", gettext_lazy("Bookings"), gettext_lazy("what is expected when")),
    Place("contacts", gettext_lazy("Who was told"), gettext_lazy("letters and calls to customers")),
    Place(
        "feeds",
        gettext_lazy("Calendar feed"),
        gettext_lazy("due dates and bookings in your own calendar"),
    ),
    Place(
        "privacy",
        gettext_lazy("Privacy"),
        gettext_lazy("how long customers are kept, who was erased"),
        OWNERS,
    ),
    Place(
        "imports",
        gettext_lazy("Old records"),
        gettext_lazy("take in files, take everything out, undo an import"),
        OWNERS,
    ),
)


def open_to(places: tuple[Place, ...], roles: set[str]) -> list[Place]:
    """Those that somebody with some roles may go to."""
    return [place for place in places if place.roles & roles]
