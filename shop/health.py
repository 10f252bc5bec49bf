"""Two answers for whatever watches the server: is the process alive, and can it do its work.

Open to anyone who can reach the server, so they say which part fails and nothing about it.
"""

import logging
from collections.abc import Callable
from functools import cache
from uuid import uuid4

from django.contrib.auth.decorators import login_not_required
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

log = logging.getLogger(__name__)


@require_safe
@login_not_required
@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """The process answers; asks neither database nor disk, so that their faults restart nothing."""
    return HttpResponse("alive\n", content_type="text/plain")


@require_safe
@login_not_required
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    """200 where requests can be served, else 503, with a word for each part."""
    parts = {name: _passes(name, check) for name, check in CHECKS.items()}
    words = {name: "ok" if passed else "failing" for name, passed in parts.items()}
    return JsonResponse(words, status=200 if all(parts.values()) else 503)


def _passes(name: str, check: Callable[[], bool]) -> bool:
    try:
        return check()
    except Exception:  # whatever it is, this server is not ready; the log has the kind
        log.warning("not ready: %s", name, exc_info=True)
        return False


def _database_answers() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        return bool(cursor.fetchone() == (1,))


def _migrations_applied() -> bool:
    """Every migration of this version was run here; a newer version's may have been as well."""
    return _migrations_on_disk() <= set(MigrationRecorder(connection).applied_migrations())


@cache
def _migrations_on_disk() -> frozenset[tuple[str, str]]:
    """Read once: a running process keeps the version it started with."""
    return frozenset(MigrationLoader(None).disk_migrations)


def _storage_writable() -> bool:
    name = f"ready/{uuid4().hex}"
    try:
        return default_storage.save(name, ContentFile(b"ready")) == name
    finally:
        default_storage.delete(name)  # a full disk may have left an empty file


CHECKS: dict[str, Callable[[], bool]] = {
    "database": _database_answers,
    "migrations": _migrations_applied,
    "storage": _storage_writable,
}
