"""Who may do what; the only place where roles, and the second factor of a sign-in, are checked."""

from collections.abc import Callable
from functools import cache, wraps
from typing import Any

from django.conf import settings
from django.contrib.auth.models import Group
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.db.models import BigIntegerField, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django_otp.plugins.otp_totp.models import TOTPDevice

from shop.models import User
from shop.statements import Slot, Statement

OWNER = gettext_noop("owner")
TECHNICIAN = gettext_noop("technician")
COUNTER = gettext_noop("counter")
ROLES = (OWNER, TECHNICIAN, COUNTER)

#: In the session: the key of the device by whose code it was signed in.
FACTOR = "second_factor"

View = Callable[..., HttpResponse]
#: What is decorated may be a class's view, whose answer is of a wider type.
AnyView = Callable[..., Any]


def roles_of(user: User) -> set[str]:
    """Names of the roles a person holds; remembered on the user for the length of a request."""
    if not hasattr(user, "_roles"):
        _ask(user)
    roles: set[str] = user._roles  # type: ignore[attr-defined]
    return roles


def _ask(user: User) -> None:
    """Roles and second factor, by one query."""
    rows = _roles_and_factor(connection.vendor).fetch(user=user.pk)
    user._roles = {name for name, _ in rows}  # type: ignore[attr-defined]
    user._factor = rows[0][1] if rows else None  # type: ignore[attr-defined]


@cache
def _roles_and_factor(vendor: str) -> Statement:
    """Asked for every page, so compiled once."""
    user = Slot("user", BigIntegerField())
    factor = TOTPDevice.objects.filter(user=user, confirmed=True).order_by("pk").values("pk")
    return Statement.of(Group.objects.filter(user=user).values_list("name", Subquery(factor[:1])))


def has_role(user: User, *roles: str) -> bool:
    return bool(roles_of(user) & set(roles))


def role_required(
    *roles: str, first_password: bool = False, without_factor: bool = False
) -> Callable[[AnyView], View]:
    """Answer 403 unless the signed-in person holds one of ``roles``.

    A sign-in without the code of a person's second factor opens nothing. One with a first password opens
    only what ``first_password`` says: the page to change it. Where the settings ask everybody for a second
    factor, a sign-in without one opens that page and what ``without_factor`` says: the pages to set it up.
    """

    def decorate(view: AnyView) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            user: Any = request.user
            may = has_role(user, *roles)
            if user._factor is not None and request.session.get(FACTOR) != user._factor:
                return redirect_to_login(request.get_full_path())
            if not may:
                named = ", ".join(_(role) for role in roles)
                raise PermissionDenied(_("This page is for: %(roles)s.") % {"roles": named})
            if user.first_password_until is not None and not first_password:
                return redirect("password")
            lacks = settings.SECOND_FACTOR_REQUIRED and user._factor is None
            if lacks and not (without_factor or first_password):
                return redirect("second-factor")
            answer: HttpResponse = view(request, *args, **kwargs)
            return answer

        return checked

    return decorate


anyone_on_staff = role_required(*ROLES)
anyone_without_a_second_factor = role_required(*ROLES, without_factor=True)
anyone_with_a_first_password = role_required(*ROLES, first_password=True)
at_the_bench = role_required(OWNER, TECHNICIAN)
owner_only = role_required(OWNER)
