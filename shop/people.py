"""The signed-in person, typed: every view but sign-in has one."""

from typing import cast

from django.http import HttpRequest

from geometry.units import LengthUnit
from shop.models import User


def person(request: HttpRequest) -> User:
    return cast(User, request.user)


def unit_of(request: HttpRequest) -> LengthUnit:
    """The unit this person reads and types in."""
    return cast(LengthUnit, person(request).unit)
