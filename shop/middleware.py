"""What holds for every page: headers, how long a sign-in lasts, fragments at a page's own address."""

import logging
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.views import redirect_to_login
from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import resolve_url
from django.utils.cache import patch_vary_headers
from django_htmx.http import HttpResponseClientRedirect

from shop.sign_in.throttle import SEEN, SINCE
from shop.trouble import trouble_behind

log = logging.getLogger(__name__)

Answer = Callable[[HttpRequest], HttpResponse]

#: What the app never asks a browser for; photos come by a file field, which needs no permission.
NEVER_ASKED = (
    "accelerometer",
    "camera",
    "display-capture",
    "geolocation",
    "gyroscope",
    "magnetometer",
    "microphone",
    "midi",
    "payment",
    "usb",
)
#: Seconds by which the server's clock may be set back under a sign-in.
SET_BACK = 86_400
PERMISSIONS = ", ".join(f"{name}=()" for name in NEVER_ASKED)


#: What grows small; pictures, PDF files and archives are small already.
COMPRESSED = ("text/", "application/json", "application/manifest+json", "image/svg+xml")


class Compressed(GZipMiddleware):
    """Text is sent compressed, pages too.

    A page may hold what was searched for beside its CSRF token, and the size of a compressed page can
    betray what it shares with a guess (the BREACH attack). Three things stand against that: the token is
    masked anew in every answer, Django adds up to 100 random bytes to each (both since long before this
    version), and the session's cookie is ``SameSite=Lax``, so that another site's page cannot ask for
    ours again and again unseen: only a page that opens in front of the person is theirs. The keys of
    links, feeds and second factors stand on pages that repeat nothing of their address.
    """

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        partial = response.status_code == 206 or response.has_header("Content-Range")
        if partial or not response.get("Content-Type", "").startswith(COMPRESSED):
            return response
        return super().process_response(request, response)


class EveryAnswer:
    """Headers on whatever is answered, files and refusals too.

    Nothing is kept by a browser or a proxy unless its view says for how long. Others are written by
    Django, by the content policy's middleware and by the settings.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response


class Sessions(SessionMiddleware):
    """Django's sessions; but that one cannot be written takes no page and no saved entry back.

    A page may note in the session that it was used, or that a message was read, and reading must go on
    where the database cannot write.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        try:
            return super().process_response(request, response)
        except (DatabaseError, SessionInterrupted) as error:
            trouble = trouble_behind(error)
            if trouble is None:  # signed out meanwhile, in another tab
                raise
            log.warning("a session was not saved: the database is %s", trouble.kind)
            return response


class SignInsEnd:
    """Ends a sign-in at its greatest age, and keeps one alive that is in use.

    A session lapses when it has not been used for ``SESSION_COOKIE_AGE``; to know that, its use is noted
    at most a few dozen times in that span.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        if not getattr(view, "login_required", True):
            return
        since = request.session.get(SINCE)
        if since is None:
            return
        now = int(time.time())
        # A clock set back a little ends nothing; one that was years ahead must not make it last.
        if not -SET_BACK < now - since < settings.SIGN_IN_AGE:
            logout(request)
        elif now - request.session.get(SEEN, since) > settings.SESSION_COOKIE_AGE // 50:
            request.session[SEEN] = now


class HtmxPages:
    """Marks answers as varying by HX-Request, and sends an ended session to the whole sign-in page.

    Without the second, a redirect to the sign-in page would be followed by the browser and its page
    would land inside whatever element asked. After signing in the person is led back to the page they
    were on, since what asked may be no page at all.
    """

    def __init__(self, get_response: Answer) -> None:
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
