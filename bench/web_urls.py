"""The app's addresses and the bare view, which is here alone."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.urls import path

from instruments.models import Instrument
from shop.urls import urlpatterns as of_the_shop


@login_not_required
def bare(request: HttpRequest, key: int) -> HttpResponse:
    """One query by the primary key, a line of text; through the same middleware as every page."""
    tag, maker = Instrument.objects.values_list("tag", "maker").get(pk=key)
    return HttpResponse(f"{tag} {maker}", content_type="text/plain")


urlpatterns = [path("bare/<int:key>/", bare, name="bare"), *of_the_shop]
