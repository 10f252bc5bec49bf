"""What the shop plans and whom it has told: bookings, contacts and the checks of its gauges."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy
from simple_history.models import HistoricalRecords

from instruments.models import Instrument
from measurements.models.voidable import Voidable
from shop.limits import between, in_range, one_of
from shop.models import Customer
from shop.texts import LineField, ProseField


class Booking(Voidable):
    """A day on which an instrument is expected for work."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="bookings")
    day = models.DateField()
    words = LineField(gettext_lazy("what for"), max_length=200, default="neck reset")
    booked_at = models.DateTimeField(auto_now_add=True)
    booked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(Voidable.Meta):
        ordering = ["day", "pk"]
        indexes = [models.Index(fields=["day"])]

    def __str__(self) -> str:
        return f"{self.instrument.tag} {self.words} {self.day}"


class Channel(models.TextChoices):
    EMAIL = "email", gettext_lazy("e-mail")
    PHONE = "phone", gettext_lazy("telephone")
    LETTER = "letter", gettext_lazy("letter")
    COUNTER = "counter", gettext_lazy("at the counter")


class Contact(models.Model):
    """A customer was told something about an instrument; ``occasion`` keeps a letter from going twice."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="contacts")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="contacts")
    channel = models.CharField(max_length=7, choices=Channel)
    reason = LineField(max_length=200)
    occasion = models.CharField(max_length=60)
    to = models.CharField(max_length=254, blank=True)
    subject = LineField(max_length=200, blank=True)
    words = ProseField(max_length=4000, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    failed = LineField(gettext_lazy("why it did not go"), max_length=400, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            one_of("channel", Channel),
            models.UniqueConstraint(
                fields=["instrument", "occasion"],
                condition=Q(failed="", channel="email"),
                name="one_letter_for_one_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_channel_display()} to {self.customer}: {self.reason}"


class GaugeKind(models.TextChoices):
    RELIEF = "relief", gettext_lazy("relief")
    ACTION = "action", gettext_lazy("action")
    SADDLE = "saddle", gettext_lazy("saddle height")
    BRIDGE_RISE = "rise", gettext_lazy("bridge rise")
    HUMIDITY = "humidity", gettext_lazy("humidity")


class Gauge(models.Model):
    """A measuring tool of the shop and when it was last checked; check-ins name it as it is named here."""

    name = LineField(max_length=60, unique=True)
    kind = models.CharField(gettext_lazy("measures"), max_length=8, choices=GaugeKind)
    checked_on = models.DateField(gettext_lazy("last checked"), null=True, blank=True)
    check_every_months = models.PositiveSmallIntegerField(
        gettext_lazy("check every (months)"), default=12, validators=between(1, 120)
    )
    retired = models.BooleanField(gettext_lazy("no longer used"), default=False)
    notes = ProseField(max_length=1000, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["retired", "name"]
        constraints = [
            one_of("kind", GaugeKind),
            in_range("check_every_months", 1, 120),
        ]

    def __str__(self) -> str:
        return self.name
