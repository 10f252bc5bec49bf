"""Who may do what; the only place where roles are checked."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from shop.models import User

OWNER = "owner"
TECHNICIAN = "technician"
COUNTER = "counter"
ROLES = (OWNER, TECHNICIAN, COUNTER)

View = Callable[..., HttpResponse]


def roles_of(user: User) -> set[str]:
    """Names of the roles a person holds; remembered on the user for the length of a request."""
    if not hasattr(user, "_roles"):
        user._roles = set(user.groups.values_list("name", flat=True))  # type: ignore[attr-defined]
    return user._roles  # type: ignore[attr-defined]


def has_role(user: User, *roles: str) -> bool:
    return bool(roles_of(user) & set(roles))


def role_required(*roles: str) -> Callable[[View], View]:
    """Answer 403 unless the signed-in person holds one of ``roles``."""

    def decorate(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not has_role(request.user, *roles):  # type: ignore[arg-type]
                raise PermissionDenied(f"This page is for: {', '.join(roles)}.")
            return view(request, *args, **kwargs)

        return checked

    return decorate


anyone_on_staff = role_required(*ROLES)
at_the_bench = role_required(OWNER, TECHNICIAN)
owner_only = role_required(OWNER)
