"""The instrument and its joint, entered on one page; lengths in any unit."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from geometry.units import parse_length
from instruments.defaults import USUAL_DIMENSIONS, USUAL_JOINT, joint_dimension
from instruments.measuring import OrderField
from instruments.models import (
    DIMENSIONS,
    JOINT_DIMENSIONS,
    TURNED,
    Instrument,
    NeckJoint,
    Strings,
)
from instruments.tags import mistyped_tag
from shop.fields import LengthField, MeasuredModelForm, QuantityField, Range
from shop.figures import shortest
from shop.models import Customer
from shop.refusals import in_words

LABELS = {
    "scale_length_mm": gettext_lazy("Scale length"),
    "compensation_mm": gettext_lazy("Compensation at the saddle"),
    "fretboard_radius_mm": gettext_lazy("Fretboard radius (0 = flat)"),
    "half_spread_nut_mm": gettext_lazy("Centre line to outer string, nut"),
    "half_spread_saddle_mm": gettext_lazy("Centre line to outer string, saddle"),
    "target_12_bass_mm": gettext_lazy("Wanted action at 12, bass"),
    "target_12_treble_mm": gettext_lazy("Wanted action at 12, treble"),
    "pivot_depth_mm": gettext_lazy("Pivot below the fret plane"),
    "heel_depth_mm": gettext_lazy("Pivot line to heel foot"),
    "bolt_arm_mm": gettext_lazy("Pivot to adjusting bolt"),
    "thread_pitch_mm": gettext_lazy("Thread pitch of the bolt"),
}


def _usual(name: str) -> str:
    if name in USUAL_JOINT:
        return _("Empty: %(usual)s mm.") % {"usual": shortest(USUAL_JOINT[name])}
    steel = USUAL_DIMENSIONS[Strings.STEEL].get(name)
    nylon = USUAL_DIMENSIONS[Strings.NYLON].get(name)
    if steel is None or nylon is None:
        return _("Empty: the shop's own target.")
    return _("Empty: %(steel)s mm steel, %(nylon)s mm nylon.") % {
        "steel": shortest(steel),
        "nylon": shortest(nylon),
    }


_usual_later = lazy(_usual, str)


def _length(name: str, limits: Mapping[str, Range]) -> LengthField:
    return LengthField(label=LABELS[name], possible=limits[name], help_text=_usual_later(name))


class FretsField(forms.CharField):
    """Fret numbers separated by commas or spaces; cleans to a sorted list."""

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(map(str, value)) if isinstance(value, list) else value

    def to_python(self, value: Any) -> list[int]:  # type: ignore[override]
        words = str(value or "").replace(",", " ").split()
        if not all(word.isascii() and word.isdigit() for word in words):
            raise ValidationError(_("Frets measured: give numbers such as 1, 7, 12, 14."))
        # Of thousands of digits Python makes no number.
        too_long = any(len(word) > 4 for word in words)
        frets = [] if too_long else sorted({int(word) for word in words})
        if too_long or len(frets) > 12 or any(not 1 <= fret <= 36 for fret in frets):
            raise ValidationError(_("Frets measured: at most 12 frets, each from 1 to 36."))
        return frets


class ShimsField(forms.CharField):
    """Thicknesses separated by spaces or semicolons; cleans to a sorted list in mm."""

    def prepare_value(self, value: Any) -> Any:
        return "; ".join(f"{item:g} mm" for item in value) if isinstance(value, list) else value

    def to_python(self, value: Any) -> list[float]:  # type: ignore[override]
        text = str(value or "")
        try:
            shims = sorted({parse_length(item).mm for item in text.split(";") if item.strip()})
        except ValueError as error:
            raise ValidationError(
                _("Shims in stock: %(refusal)s") % {"refusal": in_words(error)}
            ) from error
        if len(shims) > 30 or any(not 0 < shim <= 10 for shim in shims):
            raise ValidationError(
                _("Shims in stock: at most 30, each thicker than 0 and up to 10 mm.")
            )
        return shims


class InstrumentForm(MeasuredModelForm):
    customer = forms.ModelChoiceField(
        Customer.objects.filter(erasure=None),
        required=False,
        to_field_name="code",
        empty_label=gettext_lazy("No customer yet"),
        label=gettext_lazy("Customer"),
    )
    scale_length_mm = _length("scale_length_mm", DIMENSIONS)
    compensation_mm = _length("compensation_mm", DIMENSIONS)
    fretboard_radius_mm = _length("fretboard_radius_mm", DIMENSIONS)
    half_spread_nut_mm = _length("half_spread_nut_mm", DIMENSIONS)
    half_spread_saddle_mm = _length("half_spread_saddle_mm", DIMENSIONS)
    target_12_bass_mm = _length("target_12_bass_mm", DIMENSIONS)
    target_12_treble_mm = _length("target_12_treble_mm", DIMENSIONS)
    set_frets = FretsField(
        required=False,
        max_length=80,
        label=gettext_lazy("Frets measured"),
        help_text=gettext_lazy("Empty: 1 and 12."),
    )
    measuring_order = OrderField()

    def clean_tag(self) -> str:
        tag: str = self.cleaned_data["tag"]
        if "tag" in self.changed_data and mistyped_tag(tag):
            raise ValidationError(
                _(
                    "Tag %(tag)s: its last character does not fit the others, "
                    "so one of them is mistyped."
                )
                % {"tag": tag}
            )
        return tag

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not any(cleaned.get(name) for name in ("maker", "model", "serial", "customer", "notes")):
            raise ValidationError(
                _("Give at least a maker, model, serial number, customer or note, to tell it by.")
            )
        return cleaned

    class Meta:
        model = Instrument
        fields = [
            "tag", "customer", "maker", "model", "serial", "built_year", "built_about",
            "strings", "string_set", "top_wood", "bracing", "fret_count", "joint_fret",
            "scale_length_mm", "compensation_mm", "fretboard_radius_mm", "half_spread_nut_mm",
            "half_spread_saddle_mm", "target_12_bass_mm", "target_12_treble_mm", "set_frets",
            "measuring_order", "notes",
        ]  # fmt: skip
        labels = {
            "tag": gettext_lazy("Tag"),
            "maker": gettext_lazy("Maker"),
            "model": gettext_lazy("Model"),
            "built_year": gettext_lazy("Built year"),
            "strings": gettext_lazy("Strings"),
            "string_set": gettext_lazy("String set"),
            "top_wood": gettext_lazy("Top wood"),
            "bracing": gettext_lazy("Bracing"),
            "notes": gettext_lazy("Notes"),
        }
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}


class JointForm(MeasuredModelForm):
    pivot_depth_mm = _length("pivot_depth_mm", JOINT_DIMENSIONS)
    heel_depth_mm = _length("heel_depth_mm", JOINT_DIMENSIONS)
    bolt_arm_mm = _length("bolt_arm_mm", JOINT_DIMENSIONS)
    thread_pitch_mm = _length("thread_pitch_mm", JOINT_DIMENSIONS)
    tilt_now_deg = QuantityField(
        "angle", label=gettext_lazy("Tilt now"), possible=(-5, 5), required=True
    )
    tilt_min_deg = QuantityField(
        "angle", label=gettext_lazy("Least tilt"), possible=(-5, 5), required=True
    )
    tilt_max_deg = QuantityField(
        "angle",
        label=gettext_lazy("Most tilt"),
        possible=(-5, 5),
        help_text=gettext_lazy("Empty: 2°."),
    )
    shims_mm = ShimsField(
        required=False,
        max_length=300,
        label=gettext_lazy("Shims in stock"),
        help_text=gettext_lazy("Thicknesses separated by semicolons: 0.5 mm; 1 mm; 1/32 in."),
    )
    shim_now_mm = LengthField(label=gettext_lazy("Shim in place"), possible=(0, 10), required=True)

    class Meta:
        model = NeckJoint
        fields = [
            "kind", "pivot_depth_mm", "heel_depth_mm", "bolt_arm_mm", "thread_pitch_mm",
            "lowering_turn", "tilt_now_deg", "tilt_min_deg", "tilt_max_deg", "one_way",
            "shims_mm", "shim_now_mm",
        ]  # fmt: skip
        labels = {"kind": gettext_lazy("Kind")}

    def __init__(self, *args: Any, may_set: bool = True, **kwargs: Any) -> None:
        """``may_set`` False keeps where the joint stands now as it is: that is the bench's to say."""
        super().__init__(*args, **kwargs)
        if not may_set:
            for name in ("tilt_now_deg", "shim_now_mm"):
                self.fields[name].disabled = True

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        now, least = cleaned.get("tilt_now_deg"), cleaned.get("tilt_min_deg")
        most = joint_dimension("tilt_max_deg", cleaned.get("tilt_max_deg"))
        turned = cleaned.get("kind") in TURNED
        if turned and now is not None and least is not None and not least <= now <= most:
            self.add_error(
                "tilt_now_deg",
                _("Tilt now %(now)s° lies outside this joint's limits, %(least)s° to %(most)s°.")
                % {"now": shortest(now), "least": shortest(least), "most": shortest(most)},
            )
        return cleaned


def joint_groups(form: JointForm) -> Sequence[tuple[str, list[Any]]]:
    """The joint's fields by the kind of joint that needs them."""
    groups = (
        (_("Every joint"), ("kind", "pivot_depth_mm", "heel_depth_mm")),
        (
            _("Adjustable joints"),
            ("bolt_arm_mm", "thread_pitch_mm", "lowering_turn", "tilt_now_deg", "tilt_min_deg",
             "tilt_max_deg", "one_way"),
        ),
        (_("Shimmed joints"), ("shims_mm", "shim_now_mm")),
    )  # fmt: skip
    return [(title, [form[name] for name in names]) for title, names in groups]
