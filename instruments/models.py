"""Instruments and the joint that holds their neck. Lengths in mm, angles in degrees."""

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy
from simple_history.models import HistoricalRecords

from instruments.tags import new_tag
from shop.limits import between, in_range, one_of
from shop.models import Customer, form_uuid_field, version_field
from shop.texts import LineField, ProseField

DIMENSIONS: dict[str, tuple[float, float]] = {
    "scale_length_mm": (300, 900),
    "compensation_mm": (-5, 15),
    "fretboard_radius_mm": (0, 2000),
    "half_spread_nut_mm": (8, 40),
    "half_spread_saddle_mm": (12, 60),
    "target_12_bass_mm": (0.5, 8),
    "target_12_treble_mm": (0.5, 8),
}
LEAST_RADIUS_MM = 100  # a smaller one is inches typed as millimetres: no board is that round
COUNTS: dict[str, tuple[float, float]] = {
    "built_year": (1700, 2100),
    "joint_fret": (8, 20),
    "fret_count": (12, 36),
}
SETTINGS: dict[str, tuple[float, float]] = {
    "tilt_now_deg": (-5, 5),
    "tilt_min_deg": (-5, 5),
    "tilt_max_deg": (-5, 5),
    "shim_now_mm": (0, 10),
}
JOINT_DIMENSIONS: dict[str, tuple[float, float]] = {
    "pivot_depth_mm": (0, 80),
    "heel_depth_mm": (30, 200),
    "bolt_arm_mm": (10, 200),
    "thread_pitch_mm": (0.2, 5),
}


#: Where the action is read on every instrument; others may be added on each.
USUAL_SET_FRETS = (1, 12)


class Strings(models.TextChoices):
    STEEL = "steel", gettext_lazy("steel")
    NYLON = "nylon", gettext_lazy("nylon")


class Instrument(models.Model):
    """What is known of an instrument. An empty figure means the usual one for its strings."""

    tag = LineField(
        max_length=32,
        default=new_tag,
        validators=[
            RegexValidator(
                r"\A\w(?:[\w .\-]{0,30}[\w.\-])?\Z",
                gettext_lazy(
                    "A tag is 1–32 letters, digits, spaces, dots, hyphens or underscores, "
                    "such as K7M4-2."
                ),
            )
        ],
        help_text=gettext_lazy("Short code on the instrument's tag."),
    )
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="instruments"
    )
    maker = LineField(max_length=120, blank=True)
    model = LineField(max_length=120, blank=True)
    serial = LineField(gettext_lazy("serial number"), max_length=60, blank=True)
    built_year = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=between(*COUNTS["built_year"])
    )
    built_about = models.BooleanField(gettext_lazy("year is a guess"), default=False)
    strings = models.CharField(max_length=5, choices=Strings, default=Strings.STEEL)
    string_set = LineField(max_length=80, blank=True)
    top_wood = LineField(max_length=40, blank=True)
    bracing = LineField(max_length=40, blank=True)
    scale_length_mm = models.FloatField(gettext_lazy("scale length"), null=True, blank=True)
    compensation_mm = models.FloatField(gettext_lazy("compensation"), null=True, blank=True)
    joint_fret = models.PositiveSmallIntegerField(
        gettext_lazy("body joint at fret"),
        null=True,
        blank=True,
        validators=between(*COUNTS["joint_fret"]),
    )
    fret_count = models.PositiveSmallIntegerField(
        gettext_lazy("frets"), default=20, validators=between(*COUNTS["fret_count"])
    )
    fretboard_radius_mm = models.FloatField(
        gettext_lazy("fretboard radius"),
        null=True,
        blank=True,
        help_text=gettext_lazy("0 for a flat fretboard."),
    )
    half_spread_nut_mm = models.FloatField(
        gettext_lazy("outer string to centre at nut"), null=True, blank=True
    )
    half_spread_saddle_mm = models.FloatField(
        gettext_lazy("outer string to centre at saddle"), null=True, blank=True
    )
    target_12_bass_mm = models.FloatField(
        gettext_lazy("wanted action at 12, bass"), null=True, blank=True
    )
    target_12_treble_mm = models.FloatField(
        gettext_lazy("wanted action at 12, treble"), null=True, blank=True
    )
    set_frets = models.JSONField(
        gettext_lazy("frets measured"),
        default=list,
        blank=True,
        help_text=gettext_lazy("Empty: frets 1 and 12."),
    )
    measuring_order = models.JSONField(
        gettext_lazy("order of measuring"),
        default=list,
        blank=True,
        help_text=gettext_lazy("Empty: the trade's usual order."),
    )
    notes = ProseField(max_length=4000, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    form_uuid = form_uuid_field()
    version = version_field()
    history = HistoricalRecords()

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.UniqueConstraint(
                Upper("tag"),
                name="instrument_tag_unique",
                violation_error_message=gettext_lazy("Another instrument already has this tag."),
            ),
            *(in_range(name, *limits) for name, limits in (DIMENSIONS | COUNTS).items()),
            one_of("strings", Strings),
            models.CheckConstraint(
                condition=Q(fretboard_radius_mm__isnull=True)
                | Q(fretboard_radius_mm=0)
                | Q(fretboard_radius_mm__gte=LEAST_RADIUS_MM),
                name="instrument_radius_is_flat_or_real",
                violation_error_message=format_lazy(
                    gettext_lazy(
                        "The fretboard radius is 0 for a flat board or at least {least} mm: "
                        "were inches meant?"
                    ),
                    least=LEAST_RADIUS_MM,
                ),
            ),
        ]
        indexes = [models.Index(fields=["serial"])]

    def __str__(self) -> str:
        words = " ".join(part for part in (self.maker, self.model) if part)
        return f"{self.tag} {words}".strip()

    def frets_read(self) -> list[int]:
        """Frets at which the action is read: its own, and 1 and 12 always."""
        return sorted({*USUAL_SET_FRETS, *self.set_frets})


class JointKind(models.TextChoices):
    GLUED = "glued", gettext_lazy("glued")
    BOLTED = "bolted", gettext_lazy("bolted")
    SHIMMED = "shimmed", gettext_lazy("shimmed")
    TILTING = "tilting", gettext_lazy("adjustable (tilting)")


#: Joints whose angle a screw sets, and all whose angle is set again without a reset; geometry has the same.
TURNED = (JointKind.TILTING,)
ADJUSTABLE = (*TURNED, JointKind.SHIMMED)


class Turn(models.TextChoices):
    CLOCKWISE = "clockwise", gettext_lazy("clockwise")
    ANTICLOCKWISE = "anticlockwise", gettext_lazy("anticlockwise")


class NeckJoint(models.Model):
    """How the neck is held and what may be set at it (``geometry.md`` names: d, H, ℓ, pitch)."""

    instrument = models.OneToOneField(Instrument, on_delete=models.CASCADE, related_name="joint")
    kind = models.CharField(max_length=8, choices=JointKind, default=JointKind.GLUED)
    pivot_depth_mm = models.FloatField(
        gettext_lazy("pivot below the fret plane"), null=True, blank=True
    )
    heel_depth_mm = models.FloatField(gettext_lazy("pivot to heel foot"), null=True, blank=True)
    bolt_arm_mm = models.FloatField(gettext_lazy("pivot to adjusting bolt"), null=True, blank=True)
    thread_pitch_mm = models.FloatField(gettext_lazy("thread pitch"), null=True, blank=True)
    lowering_turn = models.CharField(
        gettext_lazy("turning this way lowers the action"),
        max_length=13,
        choices=Turn,
        default=Turn.CLOCKWISE,
    )
    tilt_now_deg = models.FloatField(
        gettext_lazy("tilt now (°)"), default=0.0, validators=between(-5, 5)
    )
    tilt_min_deg = models.FloatField(
        gettext_lazy("least tilt (°)"), default=0.0, validators=between(-5, 5)
    )
    tilt_max_deg = models.FloatField(
        gettext_lazy("most tilt (°)"), null=True, blank=True, validators=between(-5, 5)
    )
    one_way = models.BooleanField(gettext_lazy("may only be tilted back"), default=True)
    shims_mm = models.JSONField(gettext_lazy("shims in stock"), default=list, blank=True)
    shim_now_mm = models.FloatField(
        gettext_lazy("shim in place"), default=0.0, validators=between(0, 10)
    )
    history = HistoricalRecords()

    class Meta:
        constraints = [
            *(in_range(name, *limits) for name, limits in (JOINT_DIMENSIONS | SETTINGS).items()),
            one_of("kind", JointKind),
            one_of("lowering_turn", Turn),
            models.CheckConstraint(
                condition=Q(tilt_max_deg__isnull=True)
                | Q(tilt_min_deg__lte=models.F("tilt_max_deg")),
                name="neckjoint_tilt_limits_in_order",
                violation_error_message=gettext_lazy(
                    "The least tilt must not exceed the most tilt."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()

    @property
    def is_adjustable(self) -> bool:
        return self.kind in ADJUSTABLE
