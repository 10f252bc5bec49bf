"""The shop itself: its people, its customers and the settings that advice depends on."""

import secrets
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy
from simple_history.models import HistoricalRecords

from shop.limits import between, in_range, one_of
from shop.statements import only_row
from shop.texts import LineField, ProseField

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

CODE_ALPHABET = "23456789ABCDEFGHJKLMNPQRSTVWXYZ"  # no 0/O, 1/I, U: read aloud without mistakes


class Unit(models.TextChoices):
    MM = "mm", gettext_lazy("millimetres")
    INCH = "in", gettext_lazy("inches")


def new_code() -> str:
    """A random public code of eight unambiguous characters, so that keys never show in addresses."""
    return "".join(secrets.choice(CODE_ALPHABET) for _ in range(8))


def version_field() -> "models.PositiveIntegerField[int, int]":
    """Counts the edits of a record, so that of two people who edit it at once the second is told."""
    return models.PositiveIntegerField(default=0, editable=False)


def form_uuid_field() -> "models.UUIDField[UUID | None, UUID | None]":
    """The number of the form that added a record (shop/adding.py); None where it came otherwise."""
    return models.UUIDField(null=True, unique=True, editable=False)


def languages() -> list[tuple[str, str]]:
    """What there is to choose from; a new one needs no migration."""
    return list(settings.LANGUAGES)


class User(AbstractUser):
    """A member of staff; the role is a Django group (see ``shop.roles``)."""

    first_name = LineField(gettext_lazy("first name"), max_length=150, blank=True)
    last_name = LineField(gettext_lazy("last name"), max_length=150, blank=True)
    unit = models.CharField(
        gettext_lazy("unit a bare number means"),
        max_length=2,
        choices=Unit,
        default=Unit.MM,
        help_text=gettext_lazy("A number typed without a unit is read as this."),
    )

    language = models.CharField(
        max_length=10,
        choices=languages,
        blank=True,
        help_text=gettext_lazy("Empty: as the browser asks."),
    )

    session_epoch = models.PositiveIntegerField(default=0, editable=False)
    first_password_until = models.DateTimeField(null=True, blank=True, editable=False)

    def get_session_auth_hash(self) -> str:
        return self._of_this_epoch(super().get_session_auth_hash())

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        return map(self._of_this_epoch, super().get_session_auth_fallback_hash())

    def _of_this_epoch(self, session_hash: str) -> str:
        """A sign-in lasts as long as the epoch it was made in: counting it on ends all of them."""
        return f"{session_hash}:{self.session_epoch}" if self.session_epoch else session_hash


class Customer(models.Model):
    code = models.CharField(max_length=8, unique=True, default=new_code, editable=False)
    name = LineField(max_length=120)
    phone = LineField(max_length=40, blank=True)
    email = models.EmailField(gettext_lazy("e-mail"), blank=True)
    address = ProseField(max_length=400, blank=True)
    unit = models.CharField(
        gettext_lazy("unit on reports"), max_length=2, choices=Unit, default=Unit.MM
    )
    language = models.CharField(
        gettext_lazy("language on reports"),
        max_length=10,
        choices=languages,
        blank=True,
        help_text=gettext_lazy("Empty: the shop's."),
    )
    no_reminders = models.BooleanField(gettext_lazy("does not want to be reminded"), default=False)
    notes = ProseField(max_length=4000, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    form_uuid = form_uuid_field()
    version = version_field()
    history = HistoricalRecords()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="customer_has_a_name"),
        ]
        indexes = [models.Index(fields=["name"])]

    def __str__(self) -> str:
        return self.name


#: What each of the shop's own figures may be.
PROFILE_RANGES: dict[str, tuple[float, float]] = {
    "resets_per_quarter": (0, 2000),
    "link_days": (1, 1000),
    "keep_contacts_years": (0, 100),
    "reference_humidity_pct": (10, 90),
    "reference_temperature_c": (0, 40),
    "hygrometer_reads_high_pct": (-30, 30),
    "steel_action_12_bass_mm": (0.5, 8),
    "steel_action_12_treble_mm": (0.5, 8),
    "nylon_action_12_bass_mm": (0.5, 8),
    "nylon_action_12_treble_mm": (0.5, 8),
    "steel_action_1_bass_mm": (0.1, 3),
    "steel_action_1_treble_mm": (0.1, 3),
    "nylon_action_1_bass_mm": (0.1, 3),
    "nylon_action_1_treble_mm": (0.1, 3),
    "saddle_floor_mm": (0.5, 3),
    "saddle_preferred_low_mm": (0.5, 8),
    "saddle_preferred_high_mm": (0.5, 8),
    "relief_low_mm": (-0.5, 1.5),
    "relief_high_mm": (-0.5, 1.5),
    "book_within_years": (0, 20),
    "watch_within_years": (0, 40),
    "relief_u_mm": (0.005, 1),
    "action_1_u_mm": (0.005, 1),
    "action_12_u_mm": (0.005, 1),
    "saddle_u_mm": (0.005, 1),
    "bridge_rise_u_mm": (0.005, 2),
}


def figure(
    name: str, words: "StrOrPromise", default: float, **options: Any
) -> "models.FloatField[float, float]":
    return models.FloatField(
        words, default=default, validators=between(*PROFILE_RANGES[name]), **options
    )


class ShopProfile(models.Model):
    """One row: who the shop is and every figure that advice rests on.

    Defaults are the trade's usual figures as a shop would round them; ``geometry/constants.py`` names
    the sources of the exact ones.
    """

    name = LineField(max_length=120, default="Guitar repair shop")
    address = ProseField(max_length=400, blank=True)
    phone = LineField(max_length=40, blank=True)
    email = models.EmailField(gettext_lazy("e-mail"), blank=True)
    logo = models.FileField(upload_to="logo/", max_length=200, blank=True, editable=False)
    unit = models.CharField(
        gettext_lazy("unit of new staff and customers"),
        max_length=2,
        choices=Unit,
        default=Unit.MM,
        help_text=gettext_lazy("Each person and each customer may have another."),
    )
    language = models.CharField(
        gettext_lazy("language of reports and letters"),
        max_length=10,
        choices=languages,
        default=settings.LANGUAGE_CODE,
        help_text=gettext_lazy("Each customer may have another."),
    )
    currency = LineField(max_length=8, default="EUR")
    shows_estimates = models.BooleanField(
        gettext_lazy("estimate of the next job on reports"),
        default=False,
        help_text=gettext_lazy("From the price list."),
    )
    resets_per_quarter = models.PositiveSmallIntegerField(
        gettext_lazy("neck resets the shop can do in a quarter"),
        default=6,
        validators=between(*PROFILE_RANGES["resets_per_quarter"]),
    )
    link_days = models.PositiveSmallIntegerField(
        gettext_lazy("days a report's link stays open"),
        default=90,
        validators=between(*PROFILE_RANGES["link_days"]),
    )
    keep_contacts_years = models.PositiveSmallIntegerField(
        gettext_lazy("years after which a customer not seen is proposed for erasure"),
        default=10,
        validators=between(*PROFILE_RANGES["keep_contacts_years"]),
        help_text=gettext_lazy("0: never. What the law asks to be kept goes before it."),
    )

    reference_humidity_pct = figure(
        "reference_humidity_pct", gettext_lazy("reference humidity (% RH)"), 45.0
    )
    reference_temperature_c = figure(
        "reference_temperature_c", gettext_lazy("reference temperature (°C)"), 21.0
    )
    hygrometer_reads_high_pct = figure(
        "hygrometer_reads_high_pct",
        gettext_lazy("the shop's hygrometer reads too high by (% RH)"),
        0.0,
        help_text=gettext_lazy(
            "Found by comparing it; below 0 if it reads too low. Taken off every humidity."
        ),
    )
    steel_action_12_bass_mm = figure(
        "steel_action_12_bass_mm", gettext_lazy("steel: wanted action at 12, bass (mm)"), 2.4
    )
    steel_action_12_treble_mm = figure(
        "steel_action_12_treble_mm", gettext_lazy("steel: wanted action at 12, treble (mm)"), 1.6
    )
    nylon_action_12_bass_mm = figure(
        "nylon_action_12_bass_mm", gettext_lazy("nylon: wanted action at 12, bass (mm)"), 4.0
    )
    nylon_action_12_treble_mm = figure(
        "nylon_action_12_treble_mm", gettext_lazy("nylon: wanted action at 12, treble (mm)"), 3.2
    )
    steel_action_1_bass_mm = figure(
        "steel_action_1_bass_mm", gettext_lazy("steel: wanted action at 1, bass (mm)"), 0.58
    )
    steel_action_1_treble_mm = figure(
        "steel_action_1_treble_mm", gettext_lazy("steel: wanted action at 1, treble (mm)"), 0.33
    )
    nylon_action_1_bass_mm = figure(
        "nylon_action_1_bass_mm", gettext_lazy("nylon: wanted action at 1, bass (mm)"), 0.76
    )
    nylon_action_1_treble_mm = figure(
        "nylon_action_1_treble_mm", gettext_lazy("nylon: wanted action at 1, treble (mm)"), 0.61
    )
    saddle_floor_mm = figure("saddle_floor_mm", gettext_lazy("saddle floor (mm)"), 1.6)
    saddle_preferred_low_mm = figure(
        "saddle_preferred_low_mm", gettext_lazy("preferred saddle from (mm)"), 2.0
    )
    saddle_preferred_high_mm = figure(
        "saddle_preferred_high_mm", gettext_lazy("preferred saddle to (mm)"), 4.0
    )
    relief_low_mm = figure("relief_low_mm", gettext_lazy("relief from (mm)"), 0.10)
    relief_high_mm = figure("relief_high_mm", gettext_lazy("relief to (mm)"), 0.30)
    book_within_years = figure(
        "book_within_years",
        gettext_lazy("book a reset within (years)"),
        2.0,
        help_text=gettext_lazy("“Book a reset” when the likely date is nearer than this."),
    )
    watch_within_years = figure(
        "watch_within_years",
        gettext_lazy("watch within (years)"),
        5.0,
        help_text=gettext_lazy("“Watch” when the early date is nearer than this."),
    )
    relief_u_mm = figure("relief_u_mm", gettext_lazy("a relief reading may be off by (mm)"), 0.03)
    action_1_u_mm = figure("action_1_u_mm", gettext_lazy("an action at 1 may be off by (mm)"), 0.03)
    action_12_u_mm = figure(
        "action_12_u_mm", gettext_lazy("an action at 12 may be off by (mm)"), 0.10
    )
    saddle_u_mm = figure("saddle_u_mm", gettext_lazy("a saddle height may be off by (mm)"), 0.10)
    bridge_rise_u_mm = figure(
        "bridge_rise_u_mm", gettext_lazy("a bridge rise may be off by (mm)"), 0.20
    )
    version = version_field()
    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="one_shop_profile"),
            *(in_range(name, low, high) for name, (low, high) in PROFILE_RANGES.items()),
            models.CheckConstraint(
                condition=Q(saddle_floor_mm__lte=models.F("saddle_preferred_low_mm"))
                & Q(saddle_preferred_low_mm__lt=models.F("saddle_preferred_high_mm")),
                name="saddle_floor_below_preferred_band",
                violation_error_message=gettext_lazy(
                    "The saddle floor must not exceed the preferred band's low end, "
                    "and the low end must lie below the high end."
                ),
            ),
            models.CheckConstraint(
                condition=Q(relief_low_mm__lt=models.F("relief_high_mm")),
                name="relief_window_in_order",
                violation_error_message=gettext_lazy(
                    "“Relief from” must be less than “relief to”."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> "ShopProfile":
        """The shop's profile; its defaults where nobody has set any yet."""
        return only_row(cls) or cls(pk=1)


class Price(models.Model):
    """What a job costs, as a range, for the estimate of the next one."""

    job = models.SlugField(max_length=20, unique=True)
    words = models.CharField(gettext_lazy("job"), max_length=120)
    low = models.DecimalField(gettext_lazy("from"), max_digits=9, decimal_places=2)
    high = models.DecimalField(gettext_lazy("to"), max_digits=9, decimal_places=2)
    history = HistoricalRecords()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low__gte=0) & Q(low__lte=models.F("high")),
                name="price_range_in_order",
                violation_error_message=gettext_lazy(
                    "“From” must not exceed “to”, and neither be below 0."
                ),
            )
        ]

    def __str__(self) -> str:
        return self.words


class FeedToken(models.Model):
    """Opens the calendar feed to whoever holds it, until revoked; only its digest is kept."""

    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="feeds")
    token_digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    read_at = models.DateTimeField(gettext_lazy("last read"), null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"calendar feed of {self.owner}"


class AccessKind(models.TextChoices):
    CUSTOMER = "customer", gettext_lazy("their page")
    LETTER = "letter", gettext_lazy("what they are told, in a letter or otherwise")
    REPORT = "report", gettext_lazy("a report with their name")
    EXPORT = "export", gettext_lazy("everything on record about them")
    SHOP = "shop", gettext_lazy("the export of the whole shop")


class AccessRecord(models.Model):
    """Somebody on staff read a customer's personal data; of the whole shop's where it names none."""

    customer = models.ForeignKey(
        Customer, on_delete=models.CASCADE, null=True, related_name="access_records"
    )
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=AccessKind)
    at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [one_of("kind", AccessKind)]

    def __str__(self) -> str:
        return f"{self.person} read {self.get_kind_display()}"


class Erasure(models.Model):
    """A customer was erased: who, when and why; how many of what went, and none of it."""

    customer = models.OneToOneField(Customer, on_delete=models.PROTECT, related_name="erasure")
    erased_at = models.DateTimeField(auto_now_add=True)
    erased_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    reason = LineField(max_length=400)
    counts = models.JSONField(default=dict)

    class Meta:
        ordering = ["-erased_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="an_erasure_says_why"),
        ]

    def __str__(self) -> str:
        return f"erasure of {self.customer.code}"
