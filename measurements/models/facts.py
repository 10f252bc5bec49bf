"""What was measured and done. Lengths in mm, angles in degrees, moments in UTC."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy

from instruments.models import Instrument
from measurements.check_ins.ranges import POSSIBLE, WORK_POSSIBLE
from measurements.models.imports import ImportRun
from measurements.models.voidable import Voidable
from shop.limits import between, in_range, one_of
from shop.texts import LineField, ProseField


def possible(name: str) -> models.CheckConstraint:
    return in_range(name, *POSSIBLE[name])


class Stage(models.TextChoices):
    RECEIVED = "received", gettext_lazy("as received")
    RETURNED = "returned", gettext_lazy("as returned")


class Press(models.TextChoices):
    JOINT = "1-joint", gettext_lazy("pressed at 1 and joint fret")
    LAST = "1-last", gettext_lazy("pressed at 1 and last fret")


class CheckIn(Voidable):
    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="check_ins")
    measured_at = models.DateTimeField(gettext_lazy("measured"))
    stage = models.CharField(max_length=8, choices=Stage, default=Stage.RECEIVED)
    measured_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    humidity_pct = models.FloatField(gettext_lazy("humidity"), null=True, blank=True)
    temperature_c = models.FloatField(gettext_lazy("temperature"), null=True, blank=True)
    at_pitch = models.BooleanField(gettext_lazy("strung and at pitch"), default=True)
    gauge = LineField(gettext_lazy("gauge used"), max_length=60, blank=True)
    relief_mm = models.FloatField(gettext_lazy("relief"), null=True, blank=True)
    relief_press = models.CharField(max_length=7, choices=Press, default=Press.JOINT)
    bridge_rise_mm = models.FloatField(gettext_lazy("bridge rise"), null=True, blank=True)
    saddle_bass_mm = models.FloatField(gettext_lazy("saddle, bass"), null=True, blank=True)
    saddle_treble_mm = models.FloatField(gettext_lazy("saddle, treble"), null=True, blank=True)
    margin_bass_mm = models.FloatField(
        gettext_lazy("string to fingerboard edge, bass"), null=True, blank=True
    )
    margin_treble_mm = models.FloatField(
        gettext_lazy("string to fingerboard edge, treble"), null=True, blank=True
    )
    #: Each place read more than once: its field's name and every reading of it. [mm]
    repeats_mm = models.JSONField(default=dict, blank=True)
    bridge_rise_count = models.PositiveSmallIntegerField(
        gettext_lazy("readings of the bridge rise"), default=1, validators=between(1, 20)
    )
    bridge_rise_spread_mm = models.FloatField(
        gettext_lazy("s.d. among readings of the bridge rise"), null=True, blank=True
    )
    as_typed = models.JSONField(default=dict, blank=True)
    notes = ProseField(max_length=4000, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    imported_in = models.ForeignKey(
        ImportRun, on_delete=models.PROTECT, null=True, blank=True, related_name="check_ins"
    )

    class Meta(Voidable.Meta):
        ordering = ["measured_at", "pk"]
        constraints = [
            *Voidable.Meta.constraints,
            one_of("stage", Stage),
            one_of("relief_press", Press),
            in_range("bridge_rise_count", 1, 20),
            in_range("bridge_rise_spread_mm", 0, 10),
            *(possible(name) for name in POSSIBLE if name != "action_mm"),
        ]
        indexes = [
            models.Index(fields=["instrument", "measured_at"]),
            models.Index(fields=["measured_at"]),  # today's, and those of instruments still here
        ]

    def __str__(self) -> str:
        day = timezone.localtime(self.measured_at).date()
        return f"{self.instrument.tag} {self.get_stage_display()} {day}"


class Side(models.TextChoices):
    BASS = "bass", gettext_lazy("bass")
    TREBLE = "treble", gettext_lazy("treble")


SIDES: tuple[str, str] = (Side.BASS, Side.TREBLE)


class ActionReading(models.Model):
    check_in = models.ForeignKey(CheckIn, on_delete=models.CASCADE, related_name="action_readings")
    fret = models.PositiveSmallIntegerField()
    side = models.CharField(max_length=6, choices=Side)
    action_mm = models.FloatField(gettext_lazy("action"))

    class Meta:
        ordering = ["fret", "side"]
        constraints = [
            models.UniqueConstraint(
                fields=["check_in", "fret", "side"], name="one_action_per_place"
            ),
            models.CheckConstraint(
                condition=Q(fret__range=(1, 36)), name="actionreading_fret_possible"
            ),
            one_of("side", Side),
            possible("action_mm"),
        ]

    def __str__(self) -> str:
        return f"action at {self.fret} {self.side} {self.action_mm} mm"


class WorkKind(models.TextChoices):
    JOINT = "joint", gettext_lazy("neck angle")
    SADDLE = "saddle", gettext_lazy("saddle")
    RELIEF = "relief", gettext_lazy("relief")
    NUT = "nut", gettext_lazy("nut")
    RESET = "reset", gettext_lazy("neck reset")
    OTHER = "other", gettext_lazy("other work")


class Work(Voidable):
    """One piece of work; what it did to the bridge rise is inferred, not stored."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="works")
    kind = models.CharField(max_length=6, choices=WorkKind)
    done_at = models.DateTimeField(gettext_lazy("done"))
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    turns = models.FloatField(
        gettext_lazy("turns"),
        null=True,
        blank=True,
        help_text=gettext_lazy("Positive turns lower the action."),
    )
    shim_from_mm = models.FloatField(gettext_lazy("shim before"), null=True, blank=True)
    shim_to_mm = models.FloatField(gettext_lazy("shim after"), null=True, blank=True)
    tilt_from_deg = models.FloatField(gettext_lazy("tilt before"), null=True, blank=True)
    tilt_to_deg = models.FloatField(gettext_lazy("tilt after"), null=True, blank=True)
    saddle_bass_from_mm = models.FloatField(
        gettext_lazy("saddle before, bass"), null=True, blank=True
    )
    saddle_bass_to_mm = models.FloatField(gettext_lazy("saddle after, bass"), null=True, blank=True)
    saddle_treble_from_mm = models.FloatField(
        gettext_lazy("saddle before, treble"), null=True, blank=True
    )
    saddle_treble_to_mm = models.FloatField(
        gettext_lazy("saddle after, treble"), null=True, blank=True
    )
    relief_from_mm = models.FloatField(gettext_lazy("relief before"), null=True, blank=True)
    relief_to_mm = models.FloatField(gettext_lazy("relief after"), null=True, blank=True)
    nut_bass_to_mm = models.FloatField(
        gettext_lazy("action at 1 after, bass"), null=True, blank=True
    )
    nut_treble_to_mm = models.FloatField(
        gettext_lazy("action at 1 after, treble"), null=True, blank=True
    )
    wedge_mm = models.FloatField(gettext_lazy("wedge at the heel's foot"), null=True, blank=True)
    new_origin = models.BooleanField(
        gettext_lazy("lift starts afresh from here"),
        default=False,
        help_text=gettext_lazy(
            "New bracing or a new top: earlier lift says nothing about later lift."
        ),
    )
    as_typed = models.JSONField(default=dict, blank=True)
    notes = ProseField(max_length=4000, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    imported_in = models.ForeignKey(
        ImportRun, on_delete=models.PROTECT, null=True, blank=True, related_name="works"
    )

    class Meta(Voidable.Meta):
        ordering = ["done_at", "pk"]
        constraints = [
            *Voidable.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(kind="joint")
                | Q(tilt_from_deg__isnull=False, tilt_to_deg__isnull=False),
                name="joint_work_has_a_tilt",
            ),
            one_of("kind", WorkKind),
            *(in_range(name, *limits) for name, limits in WORK_POSSIBLE.items()),
        ]
        indexes = [models.Index(fields=["instrument", "done_at"])]

    def __str__(self) -> str:
        day = timezone.localtime(self.done_at).date()
        return f"{self.instrument.tag} {self.get_kind_display()} {day}"
