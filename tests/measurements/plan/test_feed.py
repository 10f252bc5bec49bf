"""The calendar feed, read back by a reference library."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from measurements.models import State
from measurements.plan.feed import new_feed
from measurements.words import reset_words
from shop.models import FeedToken, ShopProfile
from tests.conftest import signed_in
from tests.factories import BookingFactory, OutlookFactory, UserFactory

pytestmark = pytest.mark.django_db


def read(token: str) -> Calendar:
    response = Client().get(reverse("calendar-feed", kwargs={"token": token}))
    assert response.status_code == 200
    assert response["Content-Type"] == "text/calendar"
    assert response["Cache-Control"] == "private, no-store"
    return Calendar.from_ical(response.content)


def events(token: str) -> dict[str, object]:
    return {str(event["SUMMARY"]): event for event in read(token).walk("VEVENT")}


def test_due_dates_and_bookings_are_in_it(owner):
    outlook = OutlookFactory(instrument__tag="K7M4Q-X", state=State.BOOK)
    day = timezone.localdate() + timedelta(days=30)
    booking = BookingFactory(instrument=outlook.instrument, day=day, words="reset; new saddle, nut")
    found = events(new_feed(owner))
    due = found["K7M4Q-X: neck reset likely due"]
    assert due.decoded("DTSTART") == outlook.reset_likely
    assert due.decoded("DTEND") == outlook.reset_likely + timedelta(days=1)
    assert reset_words(outlook) in str(due["DESCRIPTION"])
    booked = found["K7M4Q-X: reset; new saddle, nut"]
    assert booked.decoded("DTSTART") == day
    assert str(booked["UID"]).startswith(str(booking.uuid))


def test_a_date_that_has_passed_stands_on_today(owner):
    OutlookFactory(state=State.OVERDUE, reset_likely=date(2020, 1, 1))
    (event,) = events(new_feed(owner)).values()
    assert event.decoded("DTSTART") == timezone.localdate()


def test_no_customer_is_named_and_what_has_room_is_left_out(owner):
    OutlookFactory(state=State.WATCH, instrument__customer__name="Mara Garrow")
    OutlookFactory(state=State.ROOM)
    response = Client().get(reverse("calendar-feed", kwargs={"token": new_feed(owner)}))
    text = response.content.decode()
    assert "Garrow" not in text
    assert text.count("BEGIN:VEVENT") == 1


@pytest.mark.parametrize(
    ("own", "shops", "month"), [("de", "", "Mai"), ("", "de", "Mai"), ("en-gb", "de", "May")]
)
def test_it_is_in_the_language_of_whose_feed_it_is_else_the_shops(own, shops, month, time_machine):
    time_machine.move_to(datetime(2026, 11, 2, 12, tzinfo=UTC), tick=False)
    profile = ShopProfile.current()
    profile.language = shops
    profile.save()
    day = date(2027, 5, 4)
    OutlookFactory(state=State.BOOK, reset_early=day, reset_likely=day, reset_late=day)
    (event,) = events(new_feed(UserFactory(language=own))).values()
    assert f"{month} 2027" in event["DESCRIPTION"]


def test_a_tag_cannot_break_out_of_its_line(owner):
    booking = BookingFactory(words="x\r\nATTACH:evil", day=timezone.localdate())
    (event,) = read(new_feed(owner)).walk("VEVENT")
    assert "ATTACH" not in event
    assert str(booking.uuid) in str(event["UID"])


def test_identifiers_do_not_change_from_one_reading_to_the_next(owner):
    OutlookFactory(state=State.BOOK)
    token = new_feed(owner)
    first, second = ({str(e["UID"]) for e in read(token).walk("VEVENT")} for _ in range(2))
    assert first == second


def test_only_the_digest_is_kept_and_reading_is_noted(owner):
    token = new_feed(owner)
    feed = FeedToken.objects.get()
    assert token not in feed.token_digest
    read(token)
    feed.refresh_from_db()
    assert feed.read_at is not None


def test_a_revoked_feed_opens_nothing(owner, at_desk):
    page = at_desk.post(reverse("feeds")).content.decode()
    address = page.split('<code class="address">')[1].split("</code>")[0]
    assert Client().get(address).status_code == 200
    number = FeedToken.objects.get().pk
    signed_in(UserFactory()).post(reverse("feed-revoke", kwargs={"number": number}))
    assert Client().get(address).status_code == 200, "it is not theirs to close"
    at_desk.post(reverse("feed-revoke", kwargs={"number": number}))
    assert Client().get(address).status_code == 404
    assert address not in at_desk.get(reverse("feeds")).content.decode()


def test_whoever_has_left_takes_the_feed_along(owner):
    token = new_feed(owner)
    owner.is_active = False
    owner.save()
    assert Client().get(reverse("calendar-feed", kwargs={"token": token})).status_code == 404
