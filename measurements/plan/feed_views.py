"""The calendar feed, and making and revoking the addresses that open it."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from measurements.plan import feed
from shop.languages import language_for, written_in
from shop.models import FeedToken, ShopProfile
from shop.people import person
from shop.roles import anyone_on_staff
from shop.site import absolute
from shop.views import form_view


@require_GET
@login_not_required
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """Due dates and bookings, for whoever holds the address; in the language of whose feed it is."""
    found = feed.open_feed(token)
    if found is None:
        raise Http404("No such feed, or it was revoked.")
    with written_in(language_for(found.owner, ShopProfile.current())):
        events = feed.calendar()
    response = HttpResponse(events, content_type="text/calendar")
    response["Cache-Control"] = "private, no-store"
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "no-referrer"
    return response


@form_view
@anyone_on_staff
def feeds(request: HttpRequest) -> HttpResponse:
    """A person's own feeds; making one shows its address this once."""
    address = ""
    if request.method == "POST":
        token = feed.new_feed(person(request))
        address = absolute(request, reverse("calendar-feed", kwargs={"token": token}))
    context = {"feeds": person(request).feeds.filter(revoked_at=None), "address": address}
    response = render(request, "measurements/plan/feeds.html", context)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@anyone_on_staff
def revoke_feed(request: HttpRequest, number: int) -> HttpResponse:
    """Close one of one's own feeds; anybody else's is left alone, and twice is as good as once."""
    mine = FeedToken.objects.filter(pk=number, owner=person(request), revoked_at=None)
    if mine.update(revoked_at=timezone.now()):
        messages.success(request, _("The feed is revoked: its address opens nothing any more."))
    return redirect("feeds")
