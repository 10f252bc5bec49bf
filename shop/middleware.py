"""Makes full pages and fragments live at one address."""

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url
from django.utils.cache import patch_vary_headers
from django_htmx.http import HttpResponseClientRedirect


class HtmxPages:
    """Marks answers as varying by HX-Request, and sends an ended session to the whole sign-in page.

    Without the second, a redirect to the sign-in page would be followed by the browser and its page
    would land inside whatever element asked. After signing in the person is led back to the page they
    were on, since what asked may be no page at all.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        patch_vary_headers(response, ["HX-Request"])
        if request.htmx and response.status_code == 302:  # type: ignore[attr-defined]
            address = response["Location"]
            here = request.htmx.current_url_abs_path  # type: ignore[attr-defined]
            if here and address.startswith(resolve_url(settings.LOGIN_URL)):
                address = redirect_to_login(here)["Location"]
            return HttpResponseClientRedirect(address)
        return response
