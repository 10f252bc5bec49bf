"""Whether a gauge or a pair of hands drifts, seen from how well readings agree."""

from datetime import timedelta

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from measurements.drawings.hands_svg import drift_picture
from measurements.gauges.hands import LEAST, drifting
from tests.factories import (
    AGREEING_ACTIONS_MM,
    CheckInFactory,
    GaugeFactory,
    InstrumentFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db
START = timezone.now() - timedelta(days=700)


def measure(instruments, person, count, *, first=0, high_mm=0.0, gauge="", seed=1):
    """Check-ins every other week whose action at 12 reads ``high_mm`` too high, with the gauge's scatter."""
    rng = np.random.default_rng(seed)
    for place in range(first, first + count):
        off = high_mm + rng.normal(0.0, 0.08)
        actions = {
            (fret, side): mm + (off if fret == 12 else 0.0)
            for (fret, side), mm in AGREEING_ACTIONS_MM.items()
        }
        CheckInFactory(
            instrument=instruments[place % len(instruments)],
            measured_at=START + timedelta(days=14 * place),
            measured_by=person,
            gauge=gauge,
            actions_mm=actions,
        )


@pytest.fixture
def instruments():
    return InstrumentFactory.create_batch(6)


def test_steady_hands_stay_within_the_limits(instruments):
    measure(instruments, UserFactory(first_name="steady", last_name=""), 40)
    (hand,) = drifting("person")
    assert (hand.name, hand.since) == ("steady", None)
    assert not hand.chart.beyond.any()


def test_hands_that_begin_to_read_high_are_found_and_dated(instruments):
    measure(instruments, UserFactory(first_name="steady", last_name=""), 30)
    person = UserFactory(first_name="drifts", last_name="")
    measure(instruments, person, 12, first=0, seed=2)
    measure(instruments, person, 12, first=30, high_mm=0.45, seed=3)
    first, second = drifting("person")
    assert (first.name, second.name) == ("drifts", "steady")
    assert second.since is None
    assert first.since > START + timedelta(days=14 * 30)
    assert first.reads_high


def test_an_instrument_whose_dimensions_are_off_accuses_nobody():
    """A wrong scale makes every reading of one instrument disagree alike, whoever reads it."""
    odd = InstrumentFactory(half_spread_saddle_mm=34.0, half_spread_nut_mm=24.0)
    measure([odd], UserFactory(), 20)
    (hand,) = drifting("person")
    assert hand.since is None


def test_one_misread_figure_is_no_drift(instruments):
    person = UserFactory()
    measure(instruments, person, 30)
    measure(instruments, person, 1, first=30, high_mm=2.1)
    (hand,) = drifting("person")
    assert hand.since is None


def test_gauges_are_told_apart_by_their_name(instruments):
    person = UserFactory()
    measure(instruments, person, 25, gauge="old rule")
    measure(instruments, person, 10, first=25, gauge="new dial", high_mm=-0.5, seed=4)
    measure(instruments, person, 10, first=35, seed=5)
    new, old = drifting("gauge")
    assert (new.name, new.reads_high) == ("new dial", False)
    assert (old.name, old.since) == ("old rule", None)


def test_too_few_readings_make_no_chart(instruments):
    measure(instruments, UserFactory(), LEAST - 1)
    assert drifting("person") == []


def test_nothing_measured_is_no_fault():
    assert drifting("person") == []
    assert drifting("gauge") == []


def test_the_number_of_queries_does_not_grow(instruments, django_assert_num_queries):
    measure(instruments, UserFactory(), 12)
    with django_assert_num_queries(5):
        drifting("person")


def test_the_picture_keeps_the_limits_in_it(instruments):
    measure(instruments, UserFactory(first_name="x", last_name=""), 20, high_mm=0.0)
    picture = drift_picture(drifting("person")[0])
    low, high = picture.limits
    assert high.y1 < picture.centre.y1 < low.y1
    assert all(0 <= y <= picture.height for _, y in picture.dots + picture.beyond)
    assert "within the limits" in picture.title


class TestPages:
    def test_the_drift_page_says_who_and_since_when(self, at_counter, instruments):
        measure(instruments, UserFactory(first_name="steady", last_name=""), 20)
        page = at_counter.get(reverse("drift")).content.decode()
        assert "Within the limits." in page
        assert page.index("reads too high") < page.index("reads too low")
        assert "that name the gauge" in page

    def test_a_gauge_has_one_name_however_it_is_written(self, at_bench):
        gauge = GaugeFactory(name="bench 1: feelers")
        data = {"name": "Bench 1: Feelers", "kind": gauge.kind, "check_every_months": 12}
        answer = at_bench.post(reverse("gauge-add"), data)
        assert answer.status_code == 422
        assert "There is a gauge named “bench 1: feelers” already." in answer.content.decode()
        own = reverse("gauge-edit", kwargs={"number": gauge.pk})
        assert at_bench.post(own, data).status_code == 302  # its own name may be written anew

    def test_a_gauge_is_added_and_its_check_falls_due(self, at_bench):
        data = {"name": "feelers", "kind": "relief", "check_every_months": "12"}
        assert at_bench.post(reverse("gauge-add"), data).status_code == 302
        assert "▲ now" in at_bench.get(reverse("gauges")).content.decode()
        gauge = GaugeFactory(checked_on=timezone.localdate())
        page = at_bench.get(reverse("gauges")).content.decode()
        assert page.count("▲ now") == 1
        address = reverse("gauge-edit", kwargs={"number": gauge.pk})
        assert at_bench.post(address, data | {"name": "LONG FEELERS"}).status_code == 302

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"name": ""}, "required"),
            ({"kind": "weight"}, "not one of the available choices"),
            ({"checked_on": "2999-01-01"}, "lies ahead"),
            ({"check_every_months": "0"}, "0: expected 1 or more."),
            ({"name": "taken"}, "named “taken” already"),
        ],
    )
    def test_what_cannot_be_is_refused(self, at_bench, change, words):
        GaugeFactory(name="taken")
        data = {"name": "feelers", "kind": "relief", "check_every_months": "12"} | change
        response = at_bench.post(reverse("gauge-add"), data)
        assert response.status_code == 422
        assert words in response.content.decode()
