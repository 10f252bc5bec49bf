"""How the check-in form answers the outbox, which sends what was saved on a device, perhaps days later."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.contrib.messages import get_messages

from measurements.models import CheckIn
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory
from tests.measurements.check_ins.test_views import address, typed

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 5, 7, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOON, tick=False):
        yield


def send(browser, instrument, form, *, seconds_ago: object = 0):
    headers = {"X-Outbox": "1", "X-Saved-Seconds-Ago": str(seconds_ago)}
    return browser.post(address(instrument), form, headers=headers)


def test_what_is_saved_is_said_with_its_address(at_bench):
    instrument = InstrumentFactory()
    response = send(at_bench, instrument, typed())
    assert response.status_code == 200
    assert response.json() == {"saved": f"/instruments/{instrument.tag}/"}
    assert [str(m) for m in get_messages(response.wsgi_request)] == [
        "Check-in as received is saved."
    ]


def test_one_sent_later_leaves_no_message_for_another_page(at_bench):
    response = send(at_bench, InstrumentFactory(), typed(), seconds_ago=3600)
    assert list(get_messages(response.wsgi_request)) == []


def test_a_refusal_says_each_thing_with_its_field(at_bench):
    form = typed(relief_mm="2.4", stage="neither", action_12_bass_mm="far")
    response = send(at_bench, InstrumentFactory(), form)
    assert response.status_code == 422
    words = response.json()["errors"]
    assert any("did you mean 0.24 mm?" in word for word in words)
    assert any(word.startswith("Stage: ") for word in words)
    assert any(word.startswith("Action at 12, bass") for word in words)
    assert CheckIn.objects.count() == 0


def test_the_same_form_twice_is_one_check_in(at_bench):
    instrument, form = InstrumentFactory(), typed()
    assert send(at_bench, instrument, form).status_code == 200
    assert send(at_bench, instrument, form, seconds_ago=600).status_code == 200
    assert CheckIn.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"relief_mm": "0.21"}, "Relief"),
        ({"notes": "buzzes at 3"}, "Notes"),
        ({"action_12_treble_mm": ""}, "Action at 12, treble"),
        ({"day": "2026-05-06"}, "Date"),
    ],
)
@pytest.mark.parametrize("by_script", [True, False])
def test_a_changed_form_under_the_same_number_is_not_swallowed(at_bench, change, named, by_script):
    instrument, form = InstrumentFactory(), typed()
    at_bench.post(address(instrument), form)
    post = send if by_script else (lambda browser, *rest: browser.post(address(rest[0]), rest[1]))
    response = post(at_bench, instrument, {**form, **change})
    assert response.status_code == 422
    assert f"this one differs in: {named}." in response.content.decode()
    assert CheckIn.objects.count() == 1


def test_it_was_measured_when_it_was_saved_on_the_device_not_when_it_came(at_bench):
    instrument = InstrumentFactory()
    work = WorkFactory(instrument=instrument, done_at=datetime(2026, 5, 7, 11, tzinfo=UTC))
    send(at_bench, instrument, typed(), seconds_ago=2 * 3600)
    check_in = CheckIn.objects.get()
    assert check_in.measured_at == datetime(2026, 5, 7, 10, tzinfo=UTC)
    assert check_in.measured_at < work.done_at


def test_one_sent_on_a_later_day_keeps_its_day_and_moment(at_bench):
    send(at_bench, InstrumentFactory(), typed(day="2026-05-05"), seconds_ago=47 * 3600)
    assert CheckIn.objects.get().measured_at == datetime(2026, 5, 5, 13, tzinfo=UTC)


@pytest.mark.parametrize("nonsense", ["-5", "soon", "1e99", "9" * 400, ""])
def test_a_nonsensical_age_is_no_age(at_bench, nonsense):
    send(at_bench, InstrumentFactory(), typed(), seconds_ago=nonsense)
    assert CheckIn.objects.get().measured_at == NOON


def test_a_day_typed_by_hand_goes_before_the_devices_clock(at_bench):
    send(at_bench, InstrumentFactory(), typed(day="2026-04-01"), seconds_ago=3600)
    assert CheckIn.objects.get().measured_at.date() == date(2026, 4, 1)


def test_a_correction_of_what_was_replaced_meanwhile_is_refused(at_bench):
    wrong = CheckInFactory()
    correct = f"/check-ins/{wrong.uuid}/correct/"
    form = typed(day="2026-05-07", reason="slipped")
    assert at_bench.post(correct, form).status_code == 302
    headers = {"X-Outbox": "1"}
    assert at_bench.post(correct, form, headers=headers).json()["saved"]
    other = at_bench.post(correct, typed(reason="slipped"), headers=headers)
    assert other.status_code == 422
    assert "voided before" in other.json()["errors"][0]


def test_two_who_correct_one_check_in_lose_nothing_typed(at_bench):
    wrong = CheckInFactory()
    correct = f"/check-ins/{wrong.uuid}/correct/"
    assert at_bench.post(correct, typed(day="2026-05-07", reason="slipped")).status_code == 302
    mine = typed(day="2026-05-07", reason="read it upside down")
    refused = at_bench.post(correct, mine)
    assert refused.status_code == 422
    assert "was voided before" in refused.text
    for value in mine.values():
        assert str(value) in refused.text
    assert CheckIn.objects.filter(replaces=wrong).count() == 1
