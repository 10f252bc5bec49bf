"""What is answered when the database cannot write or does not answer: what happened, and what to do.

What was being saved was not, since every act is one transaction. What was typed is not lost: the page
holds it and sends it again; a form's UUID makes a repeat one entry. A device's own draft stays too.
"""

import errno
import logging
import re
import sqlite3
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db import DatabaseError, InterfaceError, transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils.translation import gettext_noop
from django.views.defaults import server_error

from shop.languages import asked_for, written_in

log = logging.getLogger(__name__)

RETRY_AFTER_S = 60
#: A form with one of these is typed anew and never written into a page.
SECRET = re.compile(r"password|proof|code|token|secret|otp", re.IGNORECASE)


@dataclass(frozen=True)
class Trouble:
    """A kind of trouble: its word in the log, the status, what happened and what to do.

    The last two are marked English, translated where they are shown.
    """

    kind: str
    status: int
    what: str
    to_do: str


FULL = Trouble(
    "full",
    507,
    gettext_noop("The disk of the shop's server is full."),
    gettext_noop(
        "Tell whoever looks after the server to make room on its disk. Then send it again."
    ),
)
READ_ONLY = Trouble(
    "read-only",
    503,
    gettext_noop("The shop's records can be read at the moment, but not changed."),
    gettext_noop(
        "Tell whoever looks after the server, unless they are at work on it now. Then send it again."
    ),
)
BUSY = Trouble(
    "busy",
    503,
    gettext_noop("Others were saving at the same moment, and it took too long."),
    gettext_noop("Wait a moment, then send it again."),
)
DAMAGED = Trouble(
    "damaged",
    503,
    gettext_noop("The shop's database is damaged."),
    gettext_noop(
        "Stop entering things, and tell whoever looks after the server: it may need its last backup."
    ),
)
UNREACHABLE = Trouble(
    "unreachable",
    503,
    gettext_noop("The shop's database does not answer."),
    gettext_noop(
        "Wait a minute, then try again. If it stays so, tell whoever looks after the server."
    ),
)

# SQLite's primary result codes, https://www.sqlite.org/rescode.html
SQLITE = {
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_BUSY: BUSY,
    sqlite3.SQLITE_LOCKED: BUSY,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: DAMAGED,
    sqlite3.SQLITE_IOERR: UNREACHABLE,
    sqlite3.SQLITE_CANTOPEN: UNREACHABLE,
}
# PostgreSQL's codes, https://www.postgresql.org/docs/current/errcodes-appendix.html: one, or a class.
POSTGRESQL = {
    "53100": FULL,
    "25006": READ_ONLY,
    "40001": BUSY,
    "40P01": BUSY,
    "55P03": BUSY,
    "XX001": DAMAGED,
    "XX002": DAMAGED,
    "53": UNREACHABLE,
    "57": UNREACHABLE,
    "58": UNREACHABLE,
    "08": UNREACHABLE,
}
DISK = {errno.ENOSPC: FULL, errno.EDQUOT: FULL, errno.EROFS: READ_ONLY}


def trouble_of(error: BaseException | None) -> Trouble | None:
    """The trouble that an exception tells of; None if it is another fault, such as one of ours."""
    if isinstance(error, OSError) and error.errno in DISK:
        return DISK[error.errno]
    if not isinstance(error, DatabaseError | InterfaceError):
        return None
    cause = error.__cause__
    if isinstance(cause, sqlite3.Error):
        return SQLITE.get(getattr(cause, "sqlite_errorcode", -1) & 0xFF)
    state = getattr(cause, "sqlstate", None)
    if state is None:  # the connection was refused or broke off
        told = type(error).__name__ in ("OperationalError", "InterfaceError")
        return UNREACHABLE if told and cause is not None else None
    return POSTGRESQL.get(state) or POSTGRESQL.get(state[:2])


def note(act: Callable[[], object]) -> None:
    """Do what a page notes by the way; where nothing can be written, reading goes on without."""
    try:
        with transaction.atomic():
            act()
    except DatabaseError as error:
        trouble = trouble_of(error)
        if trouble is None:
            raise
        log.warning("not noted: the database is %s", trouble.kind)


def trouble_behind(error: BaseException) -> Trouble | None:
    """The trouble that an exception tells of, or one that it was raised for."""
    seen: BaseException | None = error
    while seen is not None:
        trouble = trouble_of(seen)
        if trouble is not None:
            return trouble
        seen = seen.__context__
    return None


def answer(request: HttpRequest) -> HttpResponse:
    """The answer to an exception that nothing caught; it is the one being handled."""
    trouble = trouble_of(sys.exc_info()[1])
    if trouble is None:
        with written_in(asked_for(request)):
            return server_error(request)
    log.error("the database is %s", trouble.kind)
    saving = request.method not in ("GET", "HEAD")
    typed = list(_typed(request)) if saving else []
    context: dict[str, Any] = {
        "trouble": trouble,
        "saving": saving,
        "maybe_saved": saving
        and trouble is UNREACHABLE,  # its commit may have gone before its answer
        "numbered": any(name == "uuid" for name, _ in typed),
        "typed": typed,
        "files": bool(typed) and (request.content_type or "").startswith("multipart/"),
        "address": request.get_full_path(),
        "csrf_token": get_token(request),
    }
    # No request: what every page else is given would be asked of the database.
    with written_in(asked_for(request)):
        page = render_to_string("trouble.html", context)
    headers = {"Retry-After": str(RETRY_AFTER_S), "Cache-Control": "no-store"}
    return HttpResponse(page, status=trouble.status, headers=headers)


def not_understood(request: HttpRequest, exception: Exception) -> HttpResponse:
    """The answer to what is no request. Django's own view would first look for a token in the form,
    which may be just what cannot be read, and then nothing of ours would answer at all."""
    with written_in(asked_for(request)):
        return HttpResponseBadRequest(render_to_string("400.html"))


def _typed(request: HttpRequest) -> Iterator[tuple[str, str]]:
    """Names and values of what was sent; nothing of a form that holds a secret."""
    try:
        sent = [
            (name, values) for name, values in request.POST.lists() if name != "csrfmiddlewaretoken"
        ]
    except OSError:  # it could not even be taken in
        return
    if any(SECRET.search(name) for name, _ in sent):
        return
    for name, values in sent:
        for value in values:
            yield name, str(value)
