"""The shop itself: its people, its customers and the settings that advice depends on."""

import secrets

from django.contrib.auth.models import AbstractUser
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

CODE_ALPHABET = "23456789ABCDEFGHJKLMNPQRSTVWXYZ"  # no 0/O, 1/I, U: read aloud without mistakes


class Unit(models.TextChoices):
    MM = "mm", "millimetres"
    INCH = "in", "inches"


def new_code() -> str:
    """A random public code of eight unambiguous characters, so that keys never show in addresses."""
    return "".join(secrets.choice(CODE_ALPHABET) for _ in range(8))


def between(low: float, high: float) -> list[MinValueValidator | MaxValueValidator]:
    return [MinValueValidator(low), MaxValueValidator(high)]


class User(AbstractUser):
    """A member of staff; the role is a Django group (see ``shop.roles``)."""

    unit = models.CharField(
        "unit a bare number means",
        max_length=2,
        choices=Unit,
        default=Unit.MM,
        help_text="A number typed without a unit is read as this.",
    )


class Customer(models.Model):
    code = models.CharField(max_length=8, unique=True, default=new_code, editable=False)
    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    address = models.TextField(max_length=400, blank=True)
    unit = models.CharField("unit on reports", max_length=2, choices=Unit, default=Unit.MM)
    notes = models.TextField(max_length=4000, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="customer_has_a_name"),
        ]
        indexes = [models.Index(fields=["name"])]

    def __str__(self) -> str:
        return self.name


class ShopProfile(models.Model):
    """One row: who the shop is and every figure that advice rests on.

    Defaults are the planning values named in ``geometry/constants.py`` with their sources.
    """

    name = models.CharField(max_length=120, default="Guitar repair shop")
    address = models.TextField(max_length=400, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)

    reference_humidity_pct = models.FloatField(
        "reference humidity (% RH)", default=45.0, validators=between(10, 90)
    )
    reference_temperature_c = models.FloatField(
        "reference temperature (°C)", default=21.0, validators=between(0, 40)
    )
    steel_action_12_bass_mm = models.FloatField(
        "steel: action at 12, bass (mm)", default=2.4, validators=between(0.5, 8)
    )
    steel_action_12_treble_mm = models.FloatField(
        "steel: action at 12, treble (mm)", default=1.6, validators=between(0.5, 8)
    )
    nylon_action_12_bass_mm = models.FloatField(
        "nylon: action at 12, bass (mm)", default=4.0, validators=between(0.5, 8)
    )
    nylon_action_12_treble_mm = models.FloatField(
        "nylon: action at 12, treble (mm)", default=3.2, validators=between(0.5, 8)
    )
    steel_action_1_bass_mm = models.FloatField(
        "steel: action at 1, bass (mm)", default=0.58, validators=between(0.1, 3)
    )
    steel_action_1_treble_mm = models.FloatField(
        "steel: action at 1, treble (mm)", default=0.33, validators=between(0.1, 3)
    )
    nylon_action_1_bass_mm = models.FloatField(
        "nylon: action at 1, bass (mm)", default=0.76, validators=between(0.1, 3)
    )
    nylon_action_1_treble_mm = models.FloatField(
        "nylon: action at 1, treble (mm)", default=0.61, validators=between(0.1, 3)
    )
    saddle_floor_mm = models.FloatField(
        "saddle floor (mm)", default=1.6, validators=between(0.5, 6)
    )
    saddle_preferred_low_mm = models.FloatField(
        "preferred saddle from (mm)", default=2.0, validators=between(0.5, 8)
    )
    saddle_preferred_high_mm = models.FloatField(
        "preferred saddle to (mm)", default=4.0, validators=between(0.5, 8)
    )
    relief_low_mm = models.FloatField(
        "relief from (mm)", default=0.10, validators=between(-0.5, 1.5)
    )
    relief_high_mm = models.FloatField(
        "relief to (mm)", default=0.30, validators=between(-0.5, 1.5)
    )
    book_within_years = models.FloatField(
        "book a reset within (years)",
        default=2.0,
        validators=between(0, 20),
        help_text="“Book a reset” when the likely date is nearer than this.",
    )
    watch_within_years = models.FloatField(
        "watch within (years)",
        default=5.0,
        validators=between(0, 40),
        help_text="“Watch” when the early date is nearer than this.",
    )
    relief_u_mm = models.FloatField(
        "s.d. of a relief reading (mm)", default=0.03, validators=between(0.005, 1)
    )
    action_1_u_mm = models.FloatField(
        "s.d. of an action at 1 (mm)", default=0.03, validators=between(0.005, 1)
    )
    action_12_u_mm = models.FloatField(
        "s.d. of an action at 12 (mm)", default=0.10, validators=between(0.005, 1)
    )
    saddle_u_mm = models.FloatField(
        "s.d. of a saddle height (mm)", default=0.10, validators=between(0.005, 1)
    )
    bridge_rise_u_mm = models.FloatField(
        "s.d. of a bridge rise (mm)", default=0.20, validators=between(0.005, 2)
    )
    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="one_shop_profile"),
            models.CheckConstraint(
                condition=Q(saddle_floor_mm__lte=models.F("saddle_preferred_low_mm"))
                & Q(saddle_preferred_low_mm__lt=models.F("saddle_preferred_high_mm")),
                name="saddle_floor_below_preferred_band",
                violation_error_message=(
                    "The saddle floor must not exceed the preferred band's low end, "
                    "and the low end must lie below the high end."
                ),
            ),
            models.CheckConstraint(
                condition=Q(relief_low_mm__lt=models.F("relief_high_mm")),
                name="relief_window_in_order",
                violation_error_message="“Relief from” must be less than “relief to”.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> "ShopProfile":
        """The shop's profile; its defaults where nobody has set any yet."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)
