"""Facts that can be declared wrong but never changed."""

from typing import Self, TypeVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from shop.texts import LineField

Fact = TypeVar("Fact", bound=models.Model)


class Standing(models.QuerySet[Fact]):
    def standing(self) -> Self:
        """Only what has not been voided."""
        return self.filter(voided_at=None)


class Voidable(models.Model):
    """A fact that can be declared wrong, with who, when and why, but never changed."""

    voided_at = models.DateTimeField(null=True, blank=True, editable=False)
    voided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="+",
    )
    void_reason = LineField(max_length=400, blank=True, editable=False)

    objects = Standing.as_manager()

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(voided_at=None, voided_by=None, void_reason="")
                | (Q(voided_at__isnull=False, voided_by__isnull=False) & ~Q(void_reason="")),
                name="%(class)s_void_is_whole",
            )
        ]
