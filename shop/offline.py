"""What lets the bench go on without a connection: the worker, its pages, and the outbox's pass.

The service worker (``templates/shop/worker.js``) keeps check-in forms; ``outbox.js`` keeps what is saved
in them until the server has it. The server's part is small: nothing here writes.
"""

import hashlib
import json
from functools import cache
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from shop.models import ShopProfile
from shop.people import person
from shop.roles import anyone_on_staff

OURS = Path(__file__).parent / "static"
HTMX = "django_htmx/htmx-2.min.js"
WORKER = Path(settings.BASE_DIR) / "templates" / "shop" / "worker.js"


@cache
def kept_files() -> tuple[list[str], str]:
    """Names of the static files a form needs, and a digest of them and of the worker.

    The digest names the worker's caches, so that a new release replaces what an older one kept.
    """
    names = [
        path.relative_to(OURS).as_posix()
        for path in sorted(OURS.rglob("*"))
        if path.suffix in {".js", ".css", ".svg"}
    ]
    names.append(HTMX)
    digest = hashlib.sha256(WORKER.read_bytes())
    for name in names:
        found = finders.find(name)
        digest.update(name.encode() + Path(str(found)).read_bytes())
    return names, digest.hexdigest()[:16]


@require_GET
@login_not_required
@never_cache
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker; at the top of the site, since it may answer only below its own address."""
    names, release = kept_files()
    facts = {
        "release": release,
        "files": [static(name) for name in names],
        "offline": reverse("offline"),
        "waiting": reverse("waiting"),
        "signIn": reverse("sign-in"),
        "signOut": reverse("sign-out"),
        "instrument": reverse("instrument", kwargs={"tag": "TAG"}),
        "form": reverse("check-in-add", kwargs={"tag": "TAG"}),
        "scanned": reverse("tag-scanned", kwargs={"tag": "TAG"}),
        "longestMs": settings.SESSION_COOKIE_AGE * 1000,
    }
    return render(
        request,
        "shop/worker.js",
        # None of the addresses is anyone's input, so this is safe to stand in a script.
        {"facts": mark_safe(json.dumps(facts))},  # noqa: S308
        content_type="text/javascript",
    )


@require_GET
@login_not_required
def manifest(request: HttpRequest) -> HttpResponse:
    """The shop's name and icon for a home screen."""
    icon = {"src": static("shop/icon.svg"), "sizes": "any", "type": "image/svg+xml"}
    facts = {
        "name": ShopProfile.current().name,
        "icons": [icon],
        "start_url": reverse("home"),
        "display": "standalone",
    }
    return JsonResponse(facts, content_type="application/manifest+json")


@require_GET
@login_not_required
def offline(request: HttpRequest) -> HttpResponse:
    """What stands in for a page that is not kept; the worker fetches it as nobody, so it names nobody."""
    return render(request, "shop/offline.html")


@require_GET
@anyone_on_staff
def waiting(request: HttpRequest) -> HttpResponse:
    """What waits on this device; the page is empty until ``waiting.js`` fills it from the device."""
    return render(request, "shop/waiting.html")


@require_GET
@anyone_on_staff
@never_cache
def outbox_pass(request: HttpRequest) -> HttpResponse:
    """Who is signed in, and a token with which a form kept on the device may be sent."""
    return JsonResponse({"person": str(person(request).pk), "token": get_token(request)})
