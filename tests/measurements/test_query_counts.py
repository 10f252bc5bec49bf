"""Every page that a shop opens all day takes the same number of queries, however much there is."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from measurements.forecast.refreshing import refresh
from tests.factories import (
    CheckInFactory,
    ContactFactory,
    InstrumentFactory,
    PhotoFactory,
    ServiceReportFactory,
    WorkFactory,
)

pytestmark = pytest.mark.django_db

PAGES = {
    "due": {},
    "today": {},
    "calls": {},
    "instruments": {},
    "customers": {},
    "contacts": {},
    "reports": {},
    "record": {},
    "instrument": {"tag": "FIRST"},
    "check-in-add": {"tag": "FIRST"},
    "instrument-changes": {"tag": "FIRST"},
}


def add_some(count: int) -> None:
    """So many instruments more with a history each, and so much more history of the first one."""
    now = timezone.now()
    first = InstrumentFactory._meta.model.objects.filter(tag="FIRST").first()
    for _ in range(count):
        first = first or InstrumentFactory(tag="FIRST")
        for instrument in (first, InstrumentFactory()):
            for days in (900, 500, 1):
                check_in = CheckInFactory(
                    instrument=instrument,
                    measured_at=now - timedelta(days=days),
                    bridge_rise_mm=1.0 - days / 1500,
                )
            PhotoFactory(check_in=check_in)
            WorkFactory(instrument=instrument, done_at=now - timedelta(days=450))
            ContactFactory(instrument=instrument)
            ServiceReportFactory(instrument=instrument)
    refresh()


@pytest.mark.parametrize("name", PAGES)
def test_the_number_of_queries_does_not_grow(name, at_desk):
    address = reverse(name, kwargs=PAGES[name] or None)

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert at_desk.get(address).status_code == 200
        return len(queries)

    add_some(2)
    asked()  # fills what is compiled once
    before = asked()
    add_some(4)
    assert asked() == before


def test_saving_a_check_in_takes_the_same_queries_after_many(at_bench):
    add_some(2)
    address = reverse("check-in-add", kwargs={"tag": "FIRST"})

    def asked(number: int) -> int:
        data = {
            "uuid": f"{number:032x}", "day": timezone.localdate().isoformat(), "stage": "received",
            "at_pitch": "on", "saddle_bass_mm": "3.0", "relief_press": "1-joint",
        }  # fmt: skip
        with CaptureQueriesContext(connection) as queries:
            assert at_bench.post(address, data).status_code == 302
        return len(queries)

    asked(1)
    before = asked(2)
    add_some(4)
    assert asked(3) == before
