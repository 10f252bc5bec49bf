"""Reports as they were issued, and the links by which customers read them."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from instruments.models import Instrument
from shop.texts import LineField


class Reports(models.QuerySet["ServiceReport"]):
    def newest(self) -> Self:
        """Of each number only the newest revision."""
        later = ServiceReport.objects.filter(
            number=OuterRef("number"), revision__gt=OuterRef("revision")
        )
        return self.filter(~Exists(later))


class ServiceReport(models.Model):
    """A report as it was issued: its content is frozen, so a reprint says the same.

    A correction makes the next revision of the same number; the earlier ones stay as they were.
    """

    number = models.PositiveIntegerField()
    revision = models.PositiveSmallIntegerField(default=1)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="reports")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    why_revised = LineField(gettext_lazy("what was corrected"), max_length=400, blank=True)
    content = models.JSONField()

    objects = Reports.as_manager()

    class Meta:
        ordering = ["-number", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="one_report_a_revision"),
            models.CheckConstraint(
                condition=Q(revision=1, why_revised="") | (Q(revision__gt=1) & ~Q(why_revised="")),
                name="a_revision_says_why",
            ),
        ]

    def __str__(self) -> str:
        if self.revision == 1:
            return _("service report %(number)s") % {"number": self.number}
        return _("service report %(number)s, revision %(revision)s") % {
            "number": self.number,
            "revision": self.revision,
        }

    def replaced_by(self) -> "ServiceReport | None":
        """The revision that took this one's place, which says why."""
        later = ServiceReport.objects.filter(number=self.number, revision__gt=self.revision)
        return later.order_by("revision").first()


class ReportLink(models.Model):
    """An address at which a customer may read one report, for a while; only its digest is kept."""

    report = models.ForeignKey(ServiceReport, on_delete=models.PROTECT, related_name="links")
    token_digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(gettext_lazy("last opened"), null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return _("link to %(report)s") % {"report": self.report}
