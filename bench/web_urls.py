"""The app's addresses and the bare views, which are here alone."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path

from instruments.models import Instrument
from shop.roles import anyone_on_staff
from shop.urls import urlpatterns as of_the_shop


@login_not_required
def bare(request: HttpRequest, key: int) -> HttpResponse:
    """One query by the primary key, a line of text; through the same middleware as every page."""
    tag, maker = Instrument.objects.values_list("tag", "maker").get(pk=key)
    return HttpResponse(f"{tag} {maker}", content_type="text/plain")


@anyone_on_staff
def signed_in(request: HttpRequest, key: int) -> HttpResponse:
    """The same for a person with a session: what is paid for knowing who asks and what they may."""
    return bare(request, key)


@anyone_on_staff
def empty_page(request: HttpRequest, key: int) -> HttpResponse:
    """A page with the shop's head and foot and nothing between them: what each page has in common."""
    Instrument.objects.values_list("tag", "maker").get(pk=key)
    return render(request, "base.html")


urlpatterns = [
    path("bare/<int:key>/", bare, name="bare"),
    path("signed-in/<int:key>/", signed_in, name="signed-in"),
    path("empty-page/<int:key>/", empty_page, name="empty-page"),
    *of_the_shop,
]
