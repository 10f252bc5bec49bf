"""How many resets the quarters will bring, checked against the exact count of independent chances."""

from datetime import date

import numpy as np
import pytest
from django.urls import reverse

from instruments.models import Instrument
from measurements.drawings.load_svg import load_pictures, load_words
from measurements.forecast.load import (
    chance_days,
    expected_resets,
    quarter,
    quarter_start,
    quarters_after,
)
from measurements.models import CHANCES
from tests.factories import BookingFactory, OutlookFactory

TODAY = date(2026, 11, 25)


def exact_counts(chances: np.ndarray) -> np.ndarray:
    """Probability of each count of independent events (the Poisson-binomial law), by convolution."""
    law = np.ones(1)
    for chance in chances:
        law = np.convolve(law, [1.0 - chance, chance])
    return law


@pytest.mark.parametrize("seed", range(12))
def test_the_range_holds_the_number_in_at_least_three_cases_in_four(seed):
    rng = np.random.default_rng(seed)
    chances = rng.beta(0.3, 4.0, rng.integers(3, 400))
    found = quarter(TODAY, float(chances.sum()), float((chances * (1 - chances)).sum()))
    law = exact_counts(chances)
    assert found.expected == pytest.approx(float(np.arange(len(law)) @ law))
    assert law[found.low : found.high + 1].sum() >= 0.75
    # nor is it much wider than it need be: with one count less at each end it holds less than 90 %
    assert law[found.low + 1 : found.high].sum() < 0.9


def test_what_is_certain_has_no_range():
    assert (quarter(TODAY, 4.0, 0.0).low, quarter(TODAY, 4.0, 0.0).high) == (4, 4)


def test_quarters_follow_the_calendar():
    assert quarter_start(date(2026, 12, 31)) == date(2026, 10, 1)
    assert quarters_after(date(2026, 10, 1), 1) == date(2027, 1, 1)
    assert quarters_after(date(2026, 10, 1), -4) == date(2025, 10, 1)
    days = chance_days(TODAY)
    assert len(days) == len(CHANCES)
    assert days[:3] == [TODAY, date(2026, 12, 31), date(2027, 3, 31)]
    assert days[-1] == date(2028, 12, 31)


def outlook_with(chances: list[float], **facts):
    return OutlookFactory(**dict(zip(CHANCES, chances, strict=True)), **facts)


@pytest.mark.django_db
class TestExpectedResets:
    def test_chances_add_up_quarter_by_quarter(self):
        for start in (0.0, 0.5):
            outlook_with([start + 0.05 * place for place in range(10)], as_of=TODAY)
        OutlookFactory()  # without chances: nothing is known of it
        quarters = expected_resets(Instrument.objects.all(), TODAY)
        assert [q.start for q in quarters[:3]] == [None, date(2026, 10, 1), date(2027, 1, 1)]
        assert [q.expected for q in quarters] == pytest.approx([0.5] + [0.1] * 9)

    def test_an_older_outlook_counts_for_the_same_quarters(self):
        """Made two quarters ago: what it expected until this quarter is due already."""
        outlook_with([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0], as_of=date(2026, 4, 2))
        quarters = expected_resets(Instrument.objects.all(), TODAY)
        assert quarters[0].expected == pytest.approx(0.3)
        assert [q.expected for q in quarters[1:8]] == pytest.approx([0.1] * 7)
        assert [q.expected for q in quarters[8:]] == [0.0, 0.0]

    def test_only_the_instruments_asked_for(self):
        outlook_with([0.5] * 10, instrument__tag="A")
        outlook_with([0.25] * 10, instrument__tag="B")
        found = expected_resets(Instrument.objects.filter(tag="B"), TODAY)
        assert found[0].expected == pytest.approx(0.25)

    def test_bookings_stand_in_their_quarter_and_voided_ones_do_not(self, owner):
        kept = BookingFactory(day=date(2027, 2, 1))
        BookingFactory(day=date(2027, 3, 1), instrument=kept.instrument)
        from measurements.acts import void

        void(BookingFactory(day=date(2027, 2, 2)), by=owner, reason="cancelled")
        quarters = expected_resets(Instrument.objects.all(), TODAY)
        assert [q.booked for q in quarters[:4]] == [0, 0, 2, 0]

    def test_the_board_shows_them_with_two_queries_more_whatever_the_number(
        self, at_desk, django_assert_max_num_queries
    ):
        for _ in range(6):
            outlook_with([0.5, 0.7, *[0.9] * 8])
        with django_assert_max_num_queries(12):
            page = at_desk.get(reverse("due")).content.decode()
        assert "What the quarters will bring" in page
        assert "Due already: about 3.0 (" in page
        assert "Only those shown here are counted." not in page
        some = at_desk.get(reverse("due"), {"unseen": "1"}).content.decode()
        assert "Only those shown here are counted." in some


def test_the_picture_is_to_scale_and_says_what_it_shows():
    quarters = [quarter(None, 2.0, 1.0), *(quarter(TODAY, 6.0, 2.0, booked=3) for _ in range(9))]
    narrow, wide = load_pictures(quarters, 4)
    assert (narrow.width, wide.width) == (340, 720)
    first, second = wide.bars[:2]
    assert second.height == pytest.approx(3 * first.height, rel=0.02)
    assert wide.frame.y1 - wide.capacity.y1 == pytest.approx(2 * first.height, rel=0.02)
    assert second.reach.y2 < second.y < second.reach.y1
    assert first.booked is None
    assert second.booked is not None
    assert "More than there is room for: 2026 Q4" in wide.words
    assert load_words(quarters, 10).endswith("against room for 10 a quarter.")


def test_nothing_expected_draws_nothing():
    assert load_pictures([quarter(None, 0.0, 0.0)] * 10, 4) == ()
