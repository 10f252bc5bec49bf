"""One form for each kind of work; each says what it changes, so that the result can be foretold."""

from typing import Any, cast

import numpy as np
from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from geometry.refusals import OutOfRangeError
from instruments.defaults import USUAL_DIMENSIONS, joint_dimension
from instruments.models import TURNED, Instrument, JointKind
from measurements.advice.change import Change
from measurements.check_ins.forms import DatedForm, action_field, reading_field
from measurements.models import Side, WorkKind
from measurements.work.joint_reach import reach_words, tilt_for_shim, tilt_for_turns
from shop.fields import LengthField, QuantityField
from shop.figures import length_words, localized

LOWER, RAISE = "lower", "raise"
SENSES = [(LOWER, _lazy("lower the action")), (RAISE, _lazy("raise the action"))]
LEAST_TURNS = 1 / 64  # less is no turn that a hand makes or a gauge sees


class WorkForm(DatedForm):
    """Base: a dated piece of work with notes."""

    kind: WorkKind
    FACTS: tuple[str, ...] = ()
    notes = forms.CharField(
        label=_lazy("Notes"),
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        last = ("new_origin", "day", "notes")  # the figures first: they are what the hand has ready
        first = [name for name in self.fields if name not in last]
        self.order_fields([*first, *last])

    def facts(self) -> dict[str, Any]:
        """Columns of ``Work`` that this form fills."""
        return {name: self.cleaned_data.get(name) for name in (*self.FACTS, "notes")} | {
            "as_typed": self.typed() | {"unit": self.unit}
        }

    def change(self) -> Change:
        """What the entered figures would alter; only for a valid form."""
        return Change()

    def need_one_of(self, cleaned: dict[str, Any], names: tuple[str, ...], words: str) -> None:
        missing = all(cleaned.get(name) is None for name in names)
        if missing and not any(name in self.errors for name in names):
            raise ValidationError(words)


class JointWorkForm(WorkForm):
    """Whatever moves the joint: its ``clean`` says from which tilt to which."""

    kind = WorkKind.JOINT

    def change(self) -> Change:
        moved = self.cleaned_data["tilt_to_deg"] - self.cleaned_data["tilt_from_deg"]
        return Change(moved, by_joint=True)


class TurnsField(QuantityField):
    """A number of turns without a sign; what is refused is held against ``reach``, the joint's own."""

    reach = ""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("turns", possible=(LEAST_TURNS, 40), **kwargs)

    def parse(self, text: str) -> float:
        try:
            return super().parse(text)
        except OutOfRangeError as error:
            named = {"typed": text[:20], "reach": self.reach}
            raise ValueError(_("“%(typed)s”: %(reach)s") % named) from error

    def show(self, value: float) -> str:
        return localized(f"{value:.3g}".replace("-", "−"))

    def refusal(self, number: float) -> str:
        if number < 0:
            words = _(
                "Turns %(turns)s: give the number without a sign, and which way it turns below."
            )
        elif number < LEAST_TURNS:
            words = _("Turns %(turns)s: there is nothing to log.")
        else:
            words = _("Turns %(turns)s: %(reach)s")
        return words % {"turns": self.show(number), "reach": self.reach}


class TurnForm(JointWorkForm):
    """Turns of an adjustable joint's bolt."""

    FACTS = ("tilt_from_deg", "tilt_to_deg")
    turns = TurnsField(label=_lazy("Turns"), usual=(0.05, 3), required=True)
    sense = forms.ChoiceField(
        label=_lazy("So as to"),
        choices=SENSES,
        initial=LOWER,
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(TurnsField, self.fields["turns"]).reach = reach_words(self.instrument.joint)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if cleaned.get("turns") is None or "sense" not in cleaned:
            return cleaned
        signed = cleaned["turns"] * (1 if cleaned["sense"] == LOWER else -1)
        try:
            after = tilt_for_turns(self.instrument.joint, signed)
        except ValueError as error:
            raise ValidationError({"turns": str(error)}) from error
        now = self.instrument.joint.tilt_now_deg
        cleaned |= {"signed_turns": signed, "tilt_from_deg": now, "tilt_to_deg": after}
        return cleaned

    def facts(self) -> dict[str, Any]:
        return super().facts() | {"turns": self.cleaned_data["signed_turns"]}


class ShimForm(JointWorkForm):
    """Another shim in a shimmed joint."""

    FACTS = ("shim_from_mm", "shim_to_mm", "tilt_from_deg", "tilt_to_deg")
    shim_to_mm = LengthField(
        label=_lazy("Shim put in (0 for none)"), possible=(0, 10), required=True
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        after = cleaned.get("shim_to_mm")
        if after is None:
            return cleaned
        joint = self.instrument.joint
        try:
            tilt = tilt_for_shim(joint, after, self.unit)
        except ValueError as error:
            raise ValidationError({"shim_to_mm": str(error)}) from error
        cleaned |= {
            "shim_from_mm": joint.shim_now_mm,
            "tilt_from_deg": joint.tilt_now_deg,
            "tilt_to_deg": tilt,
        }
        return cleaned


class SaddleForm(WorkForm):
    kind = WorkKind.SADDLE
    FACTS = (
        "saddle_bass_from_mm", "saddle_bass_to_mm", "saddle_treble_from_mm", "saddle_treble_to_mm",
    )  # fmt: skip
    saddle_bass_from_mm = reading_field("saddle_bass_mm", _lazy("Bass before"))
    saddle_treble_from_mm = reading_field("saddle_treble_mm", _lazy("Treble before"))
    saddle_bass_to_mm = reading_field("saddle_bass_mm", _lazy("Bass after"))
    saddle_treble_to_mm = reading_field("saddle_treble_mm", _lazy("Treble after"))
    saddle_length_mm = LengthField(
        label=_lazy("Saddle's length"),
        possible=(30, 150),
        usual=(60, 95),
        help_text=_lazy("Its two ends can then be marked. Mostly 72 to 80 mm on steel strings."),
    )

    def clean_saddle_length_mm(self) -> float | None:
        length: float | None = self.cleaned_data["saddle_length_mm"]
        half = self.instrument.half_spread_saddle_mm
        if half is None:
            half = USUAL_DIMENSIONS[self.instrument.strings]["half_spread_saddle_mm"]
        if length is not None and length < 2 * half:
            raise ValidationError(
                _(
                    "Saddle's length %(length)s: the outer strings stand %(apart)s apart on it, "
                    "so it is at least as long."
                )
                % {
                    "length": length_words(length, self.unit),
                    "apart": length_words(2 * half, self.unit),
                }
            )
        return length

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.need_one_of(
            cleaned,
            ("saddle_bass_to_mm", "saddle_treble_to_mm"),
            _("Saddle: give the height after the work, on at least one side."),
        )
        return cleaned

    def change(self) -> Change:
        return Change(saddle_mm=both_sides(self.cleaned_data, "saddle_{}_to_mm"))


class ReliefForm(WorkForm):
    kind = WorkKind.RELIEF
    FACTS = ("relief_from_mm", "relief_to_mm")
    relief_from_mm = reading_field("relief_mm", _lazy("Relief before"))
    relief_to_mm = reading_field("relief_mm", _lazy("Relief after"))
    relief_to_mm.required = True

    def change(self) -> Change:
        return Change(relief_mm=self.cleaned_data["relief_to_mm"])


class NutForm(WorkForm):
    kind = WorkKind.NUT
    FACTS = ("nut_bass_to_mm", "nut_treble_to_mm")
    nut_bass_to_mm = action_field(1, Side.BASS)
    nut_treble_to_mm = action_field(1, Side.TREBLE)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.need_one_of(cleaned, self.FACTS, _("Nut: give the action at fret 1 after the work."))
        return cleaned

    def change(self) -> Change:
        return Change(action_1_mm=both_sides(self.cleaned_data, "nut_{}_to_mm"))


class ResetForm(WorkForm):
    kind = WorkKind.RESET
    FACTS = ("wedge_mm", "saddle_bass_to_mm", "saddle_treble_to_mm", "new_origin")
    wedge_mm = LengthField(
        label=_lazy("Wedge taken off at the heel's foot"), possible=(-5, 8), usual=(0.1, 3)
    )
    saddle_bass_to_mm = reading_field("saddle_bass_mm", _lazy("New saddle, bass"))
    saddle_treble_to_mm = reading_field("saddle_treble_mm", _lazy("New saddle, treble"))
    new_origin = forms.BooleanField(
        label=_lazy("Top or bracing was renewed: lift starts afresh"), required=False
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.need_one_of(
            cleaned,
            ("wedge_mm", "saddle_bass_to_mm", "saddle_treble_to_mm"),
            _("Neck reset: give the wedge or the new saddle's height."),
        )
        return cleaned

    def change(self) -> Change:
        joint = self.instrument.joint
        depth = joint_dimension("heel_depth_mm", joint.heel_depth_mm)
        wedge = self.cleaned_data.get("wedge_mm")
        tilt = None if wedge is None else float(np.degrees(np.arctan(wedge / depth)))
        return Change(tilt, saddle_mm=both_sides(self.cleaned_data, "saddle_{}_to_mm"))


class OtherForm(WorkForm):
    kind = WorkKind.OTHER
    FACTS = ("new_origin",)
    new_origin = forms.BooleanField(
        label=_lazy("Top or bracing was renewed: lift starts afresh"), required=False
    )

    def clean_notes(self) -> str:
        notes: str = self.cleaned_data["notes"].strip()
        if not notes:
            raise ValidationError(_("Notes: say what was done."))
        return notes


def both_sides(cleaned: dict[str, Any], name: str) -> tuple[float | None, float | None]:
    return (cleaned.get(name.format(Side.BASS)), cleaned.get(name.format(Side.TREBLE)))


def work_form_class(kind: str, instrument: Instrument) -> type[WorkForm] | None:
    """The form for a kind of work on this instrument; None where its joint has no such work."""
    if kind == WorkKind.JOINT:
        by_joint: dict[str, type[WorkForm]] = {
            **dict.fromkeys(TURNED, TurnForm),
            JointKind.SHIMMED: ShimForm,
        }
        return by_joint.get(instrument.joint.kind)
    forms_by_kind: dict[str, type[WorkForm]] = {
        form.kind: form for form in (SaddleForm, ReliefForm, NutForm, ResetForm, OtherForm)
    }
    return forms_by_kind.get(kind)


def work_kinds(instrument: Instrument) -> list[tuple[str, str]]:
    """Kinds of work that can be logged on this instrument, with their words."""
    words: dict[str, str] = {
        **dict.fromkeys(TURNED, _("turn the adjuster")),
        JointKind.SHIMMED: _("change the shim"),
    }
    kinds = []
    for kind in WorkKind:
        if work_form_class(kind, instrument) is not None:
            own = words.get(instrument.joint.kind, "") if kind == WorkKind.JOINT else kind.label
            kinds.append((kind.value, str(own)))
    return kinds
