"""``manage.py export_outlooks``: one row an instrument, the same figures as the stored outlooks."""

import csv
from datetime import UTC, date, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command

from measurements.forecast import refreshing
from measurements.models import Outlook
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db
HEADER = (
    "tag,readings,bridge_rise_mm,saddle_room_mm,joint_room_mm,saddle_spent_early,saddle_spent_likely,"
    "saddle_spent_late,reset_early,reset_likely,reset_late,state"
)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(datetime(2026, 11, 25, 15, 0, tzinfo=UTC), tick=False):
        yield


def exported(*options):
    out = StringIO()
    call_command("export_outlooks", *options, stdout=out)
    return out.getvalue()


def table(*options):
    return {row["tag"]: row for row in csv.DictReader(StringIO(exported(*options)))}


def rising(tag, *, rises_mm, first=datetime(2016, 5, 2, 12, 0, tzinfo=UTC), **instrument):
    """An instrument read once a year."""
    made = InstrumentFactory(tag=tag, **instrument)
    for year, rise in enumerate(rises_mm):
        CheckInFactory(
            instrument=made, measured_at=first + timedelta(days=365 * year), bridge_rise_mm=rise
        )
    return made


def test_an_empty_shop_gives_the_column_names_alone():
    assert exported() == HEADER + "\n"


def test_one_row_an_instrument_in_order_of_tags():
    for tag in ("b-2", "Z9", "A10", "A9", "É1"):
        InstrumentFactory(tag=tag)
    assert list(table()) == ["A10", "A9", "Z9", "b-2", "É1"]


def test_figures_are_those_of_the_stored_outlook():
    made = rising("K7", rises_mm=[-0.9, -0.7, -0.6, -0.5, -0.35], built_year=2010)
    refreshing.refresh([made.pk])
    stored = Outlook.objects.get()
    row = table()["K7"]
    assert exported().startswith(HEADER + "\n")
    assert row["readings"] == "5"
    assert row["bridge_rise_mm"] == "-0.350"
    assert row["saddle_room_mm"] == f"{stored.saddle_room_mm:.3f}"
    assert row["joint_room_mm"] == "0.000"
    assert row["reset_early"] == stored.reset_early.isoformat()
    assert row["reset_likely"] == stored.reset_likely.isoformat()
    assert row["state"] == stored.get_state_display()
    assert row["saddle_spent_early"] <= row["saddle_spent_likely"]


def test_what_cannot_be_said_is_empty():
    InstrumentFactory(tag="NEW", joint__tilting=True)
    row = table()["NEW"]
    assert row.pop("readings") == "0"
    assert row.pop("state") == "not enough readings"
    assert row.pop("tag") == "NEW"
    assert set(row.values()) == {""}


def test_as_of_an_earlier_day_knows_no_later_reading():
    rising("K7", rises_mm=[-0.9, -0.7, -0.6, -0.5, -0.35], built_year=2010)
    row = table("--as-of", "2018-12-31")["K7"]
    assert (row["readings"], row["bridge_rise_mm"]) == ("3", "-0.600")
    assert table("--as-of", "2010-01-01")["K7"]["readings"] == "0"


def test_it_stores_nothing():
    rising("K7", rises_mm=[-0.9, -0.7])
    exported("--as-of", "2018-12-31")
    assert not Outlook.objects.exists()


def test_without_a_day_it_is_today():
    rising("K7", rises_mm=[-0.9, -0.7, -0.6])
    assert exported() == exported("--as-of", date(2026, 11, 25).isoformat())


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("31/12/2018", "'31/12/2018' is no date; write it as 2026-03-31"),
        ("2018-02-30", "'2018-02-30' is no date"),
        ("1066-10-14", "1066-10-14 is not between 1900-01-01 and 2200-12-31"),
    ],
)
def test_it_refuses_what_is_no_day(text, message):
    with pytest.raises(CommandError, match=message):
        exported("--as-of", text)


def test_many_instruments_take_no_more_queries_than_one(django_assert_num_queries):
    rising("K7", rises_mm=[-0.9, -0.7])
    exported()
    with django_assert_num_queries(7):
        exported()
    for number in range(5):
        rising(f"M{number}", rises_mm=[-0.9, -0.7])
    with django_assert_num_queries(7):
        exported()
