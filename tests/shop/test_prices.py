"""The price list and the estimates made of it."""

from decimal import Decimal

import pytest
from django.urls import reverse

from shop.models import Price, ShopProfile
from shop.prices import JOBS, estimate, price_list

pytestmark = pytest.mark.django_db


def price(job: str, low: str, high: str) -> Price:
    return Price.objects.create(job=job, words=JOBS[job], low=Decimal(low), high=Decimal(high))


def test_an_estimate_is_the_sum_of_its_jobs():
    price("tilt", "30", "40")
    price("saddle", "45.50", "70")
    found = estimate(["tilt", "saddle"], price_list(), ShopProfile(currency="EUR"))
    assert (found.low, found.high) == (Decimal("75.50"), Decimal("110.00"))
    assert found.words == "EUR 75.50 to 110"


def test_one_price_is_one_figure():
    price("reset", "400", "400")
    assert estimate(["reset"], price_list(), ShopProfile()).words == "EUR 400"


def test_without_every_price_there_is_no_estimate():
    price("tilt", "30", "40")
    assert estimate(["tilt", "saddle"], price_list(), ShopProfile()) is None
    assert estimate([], price_list(), ShopProfile()) is None


def test_the_list_is_saved_changed_and_emptied(at_desk):
    address = reverse("prices")
    assert at_desk.post(address, {"reset_low": "350", "reset_high": "500"}).status_code == 302
    assert Price.objects.get().words == "Neck reset with set-up"
    at_desk.post(address, {"reset_low": "350", "reset_high": "500"})
    assert Price.history.count() == 1, "saving the same again changes nothing"
    at_desk.post(address, {"reset_low": "", "reset_high": ""})
    assert not Price.objects.exists()


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ("500", "350", "must not be less than"),
        ("500", "", "give both ends, or neither"),
        ("-1", "5", "-1: expected 0 or more."),
        ("1e99", "1e99", "1E+99: expected"),
        ("NaN", "5", "Enter a number"),
        ("1.999", "5", "2 decimal places"),
        ("<b>", "5", "Enter a number"),
    ],
)
def test_a_price_that_cannot_be_is_refused_and_kept(at_desk, low, high, words):
    response = at_desk.post(reverse("prices"), {"reset_low": low, "reset_high": high})
    assert response.status_code == 422
    page = response.content.decode()
    assert words in page
    assert not Price.objects.exists()
