"""What the readings were taken to mean."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from instruments.models import Instrument


class State(models.TextChoices):
    """Words with a shape, in order of urgency."""

    OVERDUE = "overdue", gettext_lazy("overdue")
    BOOK = "book", gettext_lazy("book a reset")
    WATCH = "watch", gettext_lazy("watch")
    ROOM = "room", gettext_lazy("room to spare")
    UNKNOWN = "unknown", gettext_lazy("not enough readings")


#: Chance that the reset is due by the outlook's day, by the end of its quarter, and of the next eight.
CHANCES = tuple(f"reset_by_{place}" for place in range(10))


class Outlook(models.Model):
    """What the readings were taken to mean; can be recomputed from them at any time.

    Beside the fields below it has one for each of ``CHANCES``, columns so that a database sums them.
    """

    instrument = models.OneToOneField(Instrument, on_delete=models.CASCADE, related_name="outlook")
    model_version = models.CharField(max_length=20)
    fingerprint = models.CharField(max_length=64)
    as_of = models.DateField()
    computed_at = models.DateTimeField()
    out_of_date = models.BooleanField(default=False)
    readings = models.PositiveIntegerField(default=0)
    last_measured_at = models.DateTimeField(null=True)
    bridge_rise_mm = models.FloatField(null=True)
    rise_limit_mm = models.FloatField(null=True)
    saddle_room_mm = models.FloatField(null=True)
    joint_room_mm = models.FloatField(null=True)
    saddle_spent_early = models.DateField(null=True)
    saddle_spent_likely = models.DateField(null=True)
    saddle_spent_late = models.DateField(null=True)
    reset_early = models.DateField(null=True)
    reset_likely = models.DateField(null=True)
    reset_late = models.DateField(null=True)
    surprise_z = models.FloatField(null=True)
    remeasure = models.BooleanField(default=False)
    state = models.CharField(max_length=7, choices=State, default=State.UNKNOWN)
    basis = models.JSONField(default=dict)

    class Meta:
        indexes = [
            models.Index(fields=["reset_likely"]),
            models.Index(fields=["state"]),
            models.Index(fields=["as_of"]),  # how old the oldest is stands on every board
        ]

    def __str__(self) -> str:
        return f"{self.instrument.tag} {self.get_state_display()}"


for _name in CHANCES:
    Outlook.add_to_class(_name, models.FloatField(null=True))


class ShopPrior(models.Model):
    """What the shop's own instruments taught of lift: one row, learnt anew by ``recompute_outlooks``."""

    learnt_at = models.DateTimeField()
    as_of = models.DateField()
    instruments = models.PositiveIntegerField()
    shop = models.JSONField()
    groups = models.JSONField(default=dict)
    counts = models.JSONField(default=dict)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="one_shop_prior")]

    def __str__(self) -> str:
        return f"learnt from {self.instruments} instruments"
