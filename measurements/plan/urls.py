"""Addresses of what the shop plans: calls, letters, bookings, gauges and the calendar feed."""

from django.urls import path

from measurements.gauges import views as gauge_views
from measurements.plan import booking_views, contact_views, feed_views

urlpatterns = [
    path("calls/", contact_views.calls_to_make, name="calls"),
    path("calls/letters/", contact_views.letters, name="letters"),
    path("calls/letters/send/", contact_views.send_letters, name="letters-send"),
    path("contacts/", contact_views.contacts, name="contacts"),
    path("contacts/<uuid:uuid>/", contact_views.contact, name="contact"),
    path("instruments/<tag:tag>/contact/", contact_views.add_contact, name="contact-add"),
    path("bookings/", booking_views.bookings, name="bookings"),
    path("instruments/<tag:tag>/book/", booking_views.add_booking, name="booking-add"),
    path("bookings/<uuid:uuid>/cancel/", booking_views.cancel_booking, name="booking-cancel"),
    path("gauges/", gauge_views.gauges, name="gauges"),
    path("gauges/add/", gauge_views.add_gauge, name="gauge-add"),
    path("gauges/<int:number>/", gauge_views.edit_gauge, name="gauge-edit"),
    path("drift/", gauge_views.drift, name="drift"),
    path("feeds/", feed_views.feeds, name="feeds"),
    path("feeds/<int:number>/revoke/", feed_views.revoke_feed, name="feed-revoke"),
    path("feed/<slug:token>.ics", feed_views.calendar_feed, name="calendar-feed"),
]
