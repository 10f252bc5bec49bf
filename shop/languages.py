"""Which language: of the screens, a person's own; of what a customer reads, theirs, else the shop's."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.middleware.locale import LocaleMiddleware
from django.utils import translation

from shop.models import Customer, ShopProfile, User

#: In the session: the language the signed-in person chose, if any.
CHOSEN = "language"


class Language(LocaleMiddleware):
    """The signed-in person's own language; for everybody else what their browser asks for."""

    def process_request(self, request: HttpRequest) -> None:
        super().process_request(request)
        chosen = request.session.get(CHOSEN, "")
        if chosen:
            translation.activate(chosen)
            request.LANGUAGE_CODE = translation.get_language()

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        """Once the person is known: it may have been chosen anew on another device meanwhile."""
        if not getattr(view, "login_required", True):
            return
        chosen = getattr(request.user, "language", "")
        if chosen != request.session.get(CHOSEN, "") and isinstance(request.user, User):
            remember(request, request.user)
            self.process_request(request)


def asked_for(request: HttpRequest) -> str:
    """The language of a page that stands alone: this request's, else, so early on, the browser's.

    What is active then may be left from the request before.
    """
    known = getattr(request, "LANGUAGE_CODE", None)
    return known or translation.get_language_from_request(request)


def remember(request: HttpRequest, user: User) -> None:
    """From the next page on, this sign-in reads the language that the person chose."""
    request.session[CHOSEN] = user.language


def language_for(reader: Customer | User | None, profile: ShopProfile) -> str:
    """The language of what is written to somebody: their own, else the shop's."""
    own = reader.language if reader else ""
    return own or profile.language or settings.LANGUAGE_CODE


def written_in(language: str) -> Any:
    """Within it, sentences, days and figures are of that language."""
    return translation.override(language)


def tag_of(language: str) -> str:
    """A language as pages and papers name theirs: ``en-GB``, ``de``."""
    name, _, region = language.partition("-")
    return f"{name}-{region.upper()}" if region else name
