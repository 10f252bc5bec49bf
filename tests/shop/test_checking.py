"""Saving checked records: refused as full_clean refuses, in few queries."""

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from measurements.acts import record_check_in
from measurements.models import ActionReading, CheckIn
from shop.checking import create_checked, save_checked
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db

ACTIONS_MM = {(fret, side): 2.0 for fret in (1, 5, 7, 12) for side in ("bass", "treble")}


def test_a_whole_check_in_takes_few_queries_whatever_was_read(tech, django_assert_max_num_queries):
    instrument = InstrumentFactory()
    with django_assert_max_num_queries(10):  # 6, and a savepoint's two around each of two inserts
        record_check_in(
            instrument=instrument, measured_at=timezone.now(), by=tech, stage="received",
            actions_mm=ACTIONS_MM, humidity_pct=45.0, relief_mm=0.2, bridge_rise_mm=0.4,
        )  # fmt: skip
    assert ActionReading.objects.count() == len(ACTIONS_MM)


@pytest.mark.parametrize(
    ("facts", "named"),
    [
        ({"relief_mm": 12.0}, "relief"),
        ({"humidity_pct": 300.0}, "humidity"),
        ({"stage": "lost"}, "stage"),
        ({"gauge": "x" * 61}, "gauge"),
    ],
)
def test_what_is_impossible_is_refused_by_name_and_nothing_is_saved(facts, named, tech):
    instrument = InstrumentFactory()
    facts = {"stage": "received", **facts}
    with pytest.raises(ValidationError) as refusal:
        record_check_in(
            instrument=instrument, measured_at=timezone.now(), by=tech,
            actions_mm=ACTIONS_MM, **facts,
        )  # fmt: skip
    assert named in str(refusal.value).lower()
    assert not CheckIn.objects.exists()
    assert not ActionReading.objects.exists()


def test_one_impossible_reading_of_many_is_named_and_takes_the_check_in_with_it(tech):
    with pytest.raises(ValidationError, match=r"(?i)action"):
        record_check_in(
            instrument=InstrumentFactory(), measured_at=timezone.now(), by=tech, stage="received",
            actions_mm=ACTIONS_MM | {(12, "treble"): 99.0},
        )  # fmt: skip
    assert not CheckIn.objects.exists()


def test_nothing_to_create_asks_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert create_checked([]) == []


def test_what_only_the_database_sees_is_named_too():
    first = CheckInFactory()
    twice = CheckIn(instrument=first.instrument, measured_at=timezone.now(), uuid=first.uuid)
    with pytest.raises(ValidationError, match=r"(?i)uuid"):
        save_checked(twice, held=("instrument",))
