"""The price list, and what the next job may cost."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from shop.models import Price, ShopProfile

#: Jobs that an estimate is made of, in the order of the list.
JOBS = {
    "check": "Check-in with all readings",
    "relief": "Truss rod, relief",
    "nut": "Nut, slots lowered",
    "saddle": "Saddle lowered or replaced",
    "tilt": "Neck angle at an adjustable joint",
    "reset": "Neck reset with set-up",
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
        return (
            f"{self.currency} {low}"
            if self.low == self.high
            else f"{self.currency} {low} to {high}"
        )


def amount_words(amount: Decimal) -> str:
    return f"{amount:.0f}" if amount == amount.to_integral() else f"{amount:.2f}"


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
