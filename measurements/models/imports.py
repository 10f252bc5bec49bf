"""Old records taken in by the file."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from shop.texts import LineField


class ImportRun(models.Model):
    """One file of old records that was taken in, so that the whole of it can be undone.

    ``counts`` says how many rows of each kind it made, ``changes`` what it made or changed beside
    check-ins and work, which point here themselves.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    file_name = LineField(max_length=200)
    digest = models.CharField(max_length=64)
    imported_at = models.DateTimeField(auto_now_add=True)
    imported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    counts = models.JSONField(default=dict)
    changes = models.JSONField(default=dict)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-imported_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(undone_at=None, undone_by=None)
                | Q(undone_at__isnull=False, undone_by__isnull=False),
                name="import_undone_is_whole",
            )
        ]

    def __str__(self) -> str:
        return self.file_name
