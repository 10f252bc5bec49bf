"""Makes full pages and fragments live at one address."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from django_htmx.http import HttpResponseClientRedirect


class HtmxPages:
    """Marks answers as varying by HX-Request, and sends an ended session to the whole sign-in page.

    Without the second, a redirect to the sign-in page would be followed by the browser and its page
    would land inside whatever element asked.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        patch_vary_headers(response, ["HX-Request"])
        if request.htmx and response.status_code == 302:  # type: ignore[attr-defined]
            return HttpResponseClientRedirect(response["Location"])
        return response
