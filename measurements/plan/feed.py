"""Due dates and bookings as an iCalendar feed (RFC 5545)."""

import hashlib
import secrets
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from measurements.models import Booking, Outlook, State
from measurements.words import reset_words
from shop.models import FeedToken, ShopProfile, User
from shop.trouble import note

#: Bookings stay in the feed for so long after their day.
PAST = timedelta(days=90)
#: What follows in every entry's UID. A calendar knows entries by it, so it holds nothing that changes when
#: the server moves: an address would give every entry a double.
HERE = "@saddleroom"
TOLD = (State.OVERDUE, State.BOOK, State.WATCH)


def digest_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def new_feed(owner: User) -> str:
    """Make a feed and return its token, which is kept nowhere else."""
    token = secrets.token_urlsafe(32)
    FeedToken.objects.create(owner=owner, token_digest=digest_of(token))
    return token


def open_feed(token: str) -> FeedToken | None:
    """The feed that a token opens, marked as read; None once revoked or its owner has left."""
    feed = (
        FeedToken.objects.filter(
            token_digest=digest_of(token), revoked_at=None, owner__is_active=True
        )
        .select_related("owner")
        .first()
    )
    if feed is not None:
        opened = FeedToken.objects.filter(pk=feed.pk)
        note(lambda: opened.update(read_at=timezone.now()))
    return feed


def calendar() -> bytes:
    """The feed. It names instruments by tag and nobody by name: calendars are read in many places."""
    feed = Calendar()
    feed.add("prodid", "-//Saddleroom//due dates//EN")
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("x-wr-calname", ShopProfile.current().name)
    due = Outlook.objects.filter(state__in=TOLD, reset_likely__isnull=False, out_of_date=False)
    for outlook in due.select_related("instrument").order_by("reset_likely", "pk"):
        feed.add_component(_due(outlook))
    booked = Booking.objects.standing().filter(day__gte=timezone.localdate() - PAST)
    for booking in booked.select_related("instrument"):
        feed.add_component(_booked(booking))
    return bytes(feed.to_ical())


def _all_day(uid: str, day: date, words: str, stamp: datetime, more: str = "") -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", stamp)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", words)
    if more:
        event.add("description", more)
    event.add("transp", "TRANSPARENT")
    return event


def _due(outlook: Outlook) -> Event:
    """The likely date; one that has passed stands on today, so that it is not scrolled past."""
    tag = outlook.instrument.tag
    today = timezone.localdate()
    day = max(outlook.reset_likely or today, today)
    return _all_day(
        f"due-{outlook.instrument_id}-{outlook.instrument.created_at.timestamp():.0f}{HERE}",
        day,
        _("%(tag)s: neck reset likely due") % {"tag": tag},
        outlook.computed_at,
        _("%(state)s: %(when)s. The range holds four cases in five.")
        % {"state": capfirst(outlook.get_state_display()), "when": reset_words(outlook)},
    )


def _booked(booking: Booking) -> Event:
    words = f"{booking.instrument.tag}: {booking.words}"
    return _all_day(f"{booking.uuid}{HERE}", booking.day, words, booking.booked_at)
