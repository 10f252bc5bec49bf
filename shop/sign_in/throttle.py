"""Who tries to sign in, how often, and where a sign-in stands between password and code.

Failures are counted by django-axes, under a keyed digest of the account's name: what people type into the
box for the name is now and then their password. Nobody is signed in before the code is right: until then
the session only remembers whose password was.
"""

import logging
import time
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address
from typing import Any

from axes.handlers.database import AxesDatabaseHandler
from axes.handlers.proxy import AxesProxyHandler
from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth import login, logout
from django.contrib.auth.signals import user_login_failed
from django.db.models import F, Sum
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare, salted_hmac

from shop.languages import remember
from shop.models import User
from shop.roles import FACTOR

log = logging.getLogger("shop.sign_in")

WAITING = "code_waits_for"
#: When a person signed in, and was last seen, as seconds since 1970, in the session.
SINCE, SEEN = "signed_in_at", "seen_at"
#: A code has to follow its password within so many seconds.
CODE_WITHIN = 600


def address_of(request: HttpRequest) -> str | None:
    """The address that a request came from, as far as it can be trusted; None where there is none.

    Of ``X-Forwarded-For`` only as many entries count, from its end, as there are proxies of the shop's
    own (``SADDLEROOM_PROXIES``); what a client wrote before them is not looked at. A household or a
    phone has a whole /64 of IPv6, so that is one address.
    """
    given = request.META.get("REMOTE_ADDR") or ""
    if settings.PROXIES:
        hops = [hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")]
        given = hops[-settings.PROXIES] if len(hops) >= settings.PROXIES else given
    try:
        address = ip_address(given)
    except ValueError:
        return None
    if not isinstance(address, IPv6Address):
        return str(address)
    if address.ipv4_mapped:
        return str(address.ipv4_mapped)
    return str(IPv6Address(int(address) >> 64 << 64))


def account_of(request: HttpRequest, credentials: Mapping[str, Any] | None = None) -> str:
    """A keyed digest of the name that somebody tried to sign in with."""
    name = str((credentials or request.POST).get("username") or "")
    return salted_hmac("shop.sign_in.account", name, algorithm="sha256").hexdigest()


class Throttle(AxesDatabaseHandler):  # type: ignore[misc]  # the package has no types
    """Refuses an account at an address after a few failures, and an address after many."""

    def get_failures(
        self, request: HttpRequest, credentials: Mapping[str, Any] | None = None
    ) -> int:
        failures: int = super().get_failures(request, credentials)
        since = request.axes_attempt_time - settings.AXES_COOLOFF_TIME  # type: ignore[attr-defined]
        of_address = AccessAttempt.objects.filter(
            ip_address=request.axes_ip_address,  # type: ignore[attr-defined]
            attempt_time__gte=since,
        ).aggregate(sum=Sum("failures_since_start"))["sum"]
        if (of_address or 0) >= settings.SIGN_IN_FAILURES_OF_AN_ADDRESS:
            return max(failures, settings.SIGN_IN_FAILURES)
        return failures


def may_try(request: HttpRequest, user: User) -> bool:
    """Whether a password or code of this person may be tried, from where the request comes."""
    if not settings.AXES_ENABLED:
        return True
    return bool(AxesProxyHandler.is_allowed(request, {"username": user.get_username()}))


def count_failure(request: HttpRequest, user: User, what: str) -> None:
    """Count a wrong code, or a wrong password asked again, like a wrong password at the sign-in page."""
    log.warning("wrong %s for person %s", what, user.pk)
    user_login_failed.send(
        sender=__name__, credentials={"username": user.get_username()}, request=request
    )


def begin(request: HttpRequest, user: User, device: int | None) -> None:
    """Sign in a person whose password, and code where there is one, were right; the session's key changes."""
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    request.session[SINCE] = request.session[SEEN] = int(time.time())
    remember(request, user)
    if device is not None:
        request.session[FACTOR] = device
    request.session.pop(WAITING, None)
    log.info("person %s signed in %s", user.pk, "by password" if device is None else "with a code")


def end_everywhere(user: User) -> None:
    """End every sign-in of a person, here and on all other devices."""
    User.objects.filter(pk=user.pk).update(session_epoch=F("session_epoch") + 1)
    user.refresh_from_db(fields=["session_epoch"])
    log.info("all sign-ins of person %s ended", user.pk)


@dataclass(frozen=True)
class Waiting:
    """Somebody whose password was right and whose code is awaited, and where they were going."""

    user: User
    then: str


def wait_for_code(request: HttpRequest, user: User, then: str) -> None:
    """Remember in a new session whose password was right; nobody is signed in by it."""
    logout(request)
    request.session[WAITING] = {
        "person": user.pk,
        "hash": user.get_session_auth_hash(),
        "until": int(time.time()) + CODE_WITHIN,
        "then": then,
    }
    request.session.cycle_key()


def who_waits(request: HttpRequest) -> Waiting | None:
    """Who is to type a code; None once it took too long, or the password has changed meanwhile."""
    found = request.session.get(WAITING)
    if not found or found["until"] < time.time():
        return None
    user = User.objects.filter(pk=found["person"], is_active=True).first()
    if user is None or not constant_time_compare(found["hash"], user.get_session_auth_hash()):
        return None
    return Waiting(user, found["then"])
