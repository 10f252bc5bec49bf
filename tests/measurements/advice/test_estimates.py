"""What the next job may cost: from the price list, said as an estimate, frozen with the report."""

from datetime import timedelta
from decimal import Decimal

import pytest

from measurements.advice.counsel import counsel
from measurements.advice.estimates import NOT_AN_OFFER, next_estimate, option_estimates
from measurements.models import Outlook, State
from measurements.reports.content import issue
from shop.models import Price, ShopProfile
from tests.factories import CheckInFactory, InstrumentFactory, ShopProfileFactory, WorkFactory
from tests.measurements.reports.test_content import make_visit, shown

pytestmark = pytest.mark.django_db
LIST = {
    "check": (0, 30),
    "relief": (20, 40),
    "saddle": (60, 110),
    "tilt": (40, 70),
    "reset": (350, 500),
}


@pytest.fixture
def prices():
    ShopProfileFactory(shows_estimates=True, currency="EUR")
    for job, (low, high) in LIST.items():
        Price.objects.create(job=job, words=job, low=Decimal(low), high=Decimal(high))


def said(instrument, state=State.ROOM):
    return next_estimate(counsel(instrument), Outlook(instrument=instrument, state=state))


def test_each_option_sums_its_jobs(prices):
    assert option_estimates(ShopProfile.current()) == {
        "saddle": "about EUR 60 to 110",
        "tilt": "about EUR 40 to 70",
        "tilt_and_saddle": "about EUR 100 to 180",
        "reset": "about EUR 350 to 500",
    }


def test_an_option_with_a_job_that_is_not_priced_has_none(prices):
    Price.objects.filter(job="tilt").delete()
    assert set(option_estimates(ShopProfile.current())) == {"saddle", "reset"}


def test_the_page_shows_it_beside_each_option_whatever_the_reports_do(prices, at_bench):
    ShopProfile.objects.update(shows_estimates=False)
    instrument = CheckInFactory().instrument
    page = at_bench.get(f"/instruments/{instrument.tag}/").content.decode()
    assert "<dt>estimate</dt><dd>about EUR 60 to 110</dd>" in page
    assert "about EUR 350 to 500" in page
    Price.objects.all().delete()
    page = at_bench.get(f"/instruments/{instrument.tag}/").content.decode()
    assert "<dt>estimate</dt>" not in page


def test_the_report_says_it_if_the_shop_wants_it_and_freezes_it(prices, owner):
    report = issue(make_visit(), owner)
    words = " ".join(report.content["estimate"])
    assert words.endswith(NOT_AN_OFFER)
    assert words in shown(report)
    Price.objects.update(high=Decimal(999))
    assert words in shown(report)
    ShopProfile.objects.update(shows_estimates=False)
    assert issue(make_visit(), owner).content["estimate"] == []


def test_it_is_of_the_job_that_the_next_step_names(prices):
    bowed = CheckInFactory(relief_mm=0.6).instrument
    assert counsel(bowed).advice.first_step == "relief"
    assert said(bowed) == ["Truss rod, relief: about EUR 20 to 40.", NOT_AN_OFFER]
    high = CheckInFactory(
        instrument__joint__tilting=True,
        # The factory's agreeing readings with a saddle 0.8 mm taller: half of it at fret 12 (2 : 1).
        saddle_bass_mm=3.8,
        saddle_treble_mm=3.0,
        actions_mm={
            (1, "bass"): 0.545,
            (1, "treble"): 0.395,
            (12, "bass"): 2.74,
            (12, "treble"): 2.28,
        },
    ).instrument
    now = counsel(high)
    assert now.advice.first_step == "height"
    wanted = {
        "tilt": "Neck angle at an adjustable joint: about EUR 40 to 70.",
        "saddle": "Saddle lowered or replaced: about EUR 60 to 110.",
        "tilt_and_saddle": "Neck angle at an adjustable joint, and saddle lowered or replaced: about "
        "EUR 100 to 180.",
    }
    assert said(high)[0] == wanted[now.recommended.key]


def test_a_reset_that_is_near_is_estimated_too(prices):
    fine = CheckInFactory(
        actions_mm={(1, "bass"): 0.58, (1, "treble"): 0.33, (12, "bass"): 2.4, (12, "treble"): 1.6}
    ).instrument
    reset = "Neck reset with set-up: about EUR 350 to 500."
    assert said(fine, State.BOOK)[-2:] == [reset, NOT_AN_OFFER]
    assert reset not in said(fine, State.ROOM)


def test_after_work_it_is_the_check_in(prices):
    read = CheckInFactory()
    instrument = read.instrument
    WorkFactory(instrument=instrument, done_at=read.measured_at + timedelta(hours=1))
    assert said(instrument)[0] == "Check-in with all readings: about EUR 0 to 30."


def test_without_prices_nothing_is_said(owner):
    ShopProfileFactory(shows_estimates=True)
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument)
    assert issue(instrument, owner).content["estimate"] == []
