"""Photos of a check-in and the damage seen at it."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from measurements.models.facts import CheckIn
from measurements.models.voidable import Voidable
from shop.texts import LineField


class Photo(Voidable):
    """A photo taken at a check-in: re-encoded when it came, so that it holds a picture and nothing else."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    check_in = models.ForeignKey(CheckIn, on_delete=models.PROTECT, related_name="photos")
    image = models.FileField(upload_to="photos/", max_length=200)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    words = LineField(gettext_lazy("what it shows"), max_length=200, blank=True)
    in_report = models.BooleanField(gettext_lazy("show it in the report"), default=False)
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta(Voidable.Meta):
        ordering = ["added_at", "pk"]
        constraints = [
            *Voidable.Meta.constraints,
            models.UniqueConstraint(
                fields=["check_in", "digest"], condition=Q(voided_at=None), name="one_photo_once"
            ),
        ]

    def __str__(self) -> str:
        return self.words or _("photo of %(check_in)s") % {"check_in": self.check_in}


class Damage(Voidable):
    """Damage seen when an instrument came in, noted before anybody works on it."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    check_in = models.ForeignKey(CheckIn, on_delete=models.PROTECT, related_name="damages")
    place = LineField(gettext_lazy("where"), max_length=80)
    words = LineField(gettext_lazy("what is damaged"), max_length=400)
    photo = models.ForeignKey(
        Photo, on_delete=models.PROTECT, null=True, blank=True, related_name="damages"
    )
    noted_at = models.DateTimeField(auto_now_add=True)
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta(Voidable.Meta):
        ordering = ["noted_at", "pk"]
        constraints = [
            *Voidable.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(place="") & ~Q(words=""), name="damage_says_where_and_what"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place}: {self.words}"
