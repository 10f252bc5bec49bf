"""What every page needs: the shop's name and what the signed-in person may do."""

from typing import Any

from django.http import HttpRequest

from shop.models import ShopProfile, User
from shop.places import HEADER, open_to
from shop.roles import OWNER, TECHNICIAN, roles_of
from shop.script_words import script_words


def shop(request: HttpRequest) -> dict[str, Any]:
    if not hasattr(request, "user"):
        return {}  # refused before anything was known of it; such a page names nothing
    if not isinstance(request.user, User):
        return {"shop": ShopProfile.current(), "unit": "mm", "script_words": script_words}
    roles = roles_of(request.user)
    return {
        "nav": open_to(HEADER, roles),
        "shop": ShopProfile.current(),
        "unit": request.user.unit,
        "script_words": script_words,
        "is_owner": OWNER in roles,
        "is_bench": bool(roles & {OWNER, TECHNICIAN}),
    }
