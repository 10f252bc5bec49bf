"""The price list, and what the next job may cost."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from shop.figures import localized
from shop.models import Price, ShopProfile

#: Jobs that an estimate is made of, in the order of the list; translated where they are shown.
JOBS = {
    "check": gettext_noop("Check-in with all readings"),
    "relief": gettext_noop("Truss rod, relief"),
    "nut": gettext_noop("Nut, slots lowered"),
    "saddle": gettext_noop("Saddle lowered or replaced"),
    "tilt": gettext_noop("Neck angle at an adjustable joint"),
    "reset": gettext_noop("Neck reset with set-up"),
}


@dataclass(frozen=True)
class Estimate:
    low: Decimal
    high: Decimal
    currency: str

    @property
    def words(self) -> str:
        """``EUR 350 to 500``; cents only where there are any."""
        low, high = amount_words(self.low), amount_words(self.high)
        words = {"currency": self.currency, "low": low, "high": high}
        if self.low == self.high:
            return _("%(currency)s %(low)s") % words
        return _("%(currency)s %(low)s to %(high)s") % words


def amount_words(amount: Decimal) -> str:
    return localized(f"{amount:.0f}" if amount == amount.to_integral() else f"{amount:.2f}")


def price_list() -> dict[str, Price]:
    """What is priced, by job."""
    return {price.job: price for price in Price.objects.all()}


def estimate(jobs: Iterable[str], prices: dict[str, Price], shop: ShopProfile) -> Estimate | None:
    """The sum of some jobs; None where there is no job, or one of them has no price."""
    wanted = list(jobs)
    if not wanted or any(job not in prices for job in wanted):
        return None
    return Estimate(
        low=sum((prices[job].low for job in wanted), Decimal(0)),
        high=sum((prices[job].high for job in wanted), Decimal(0)),
        currency=shop.currency,
    )
