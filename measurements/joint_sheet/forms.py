"""The joint sheet's form: every figure of an instrument and a change of it, from the page's address."""

from collections.abc import Iterator, Mapping
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from geometry.joint import tilt_after_turns
from geometry.units import UNITS, LengthUnit
from instruments.forms import LABELS
from instruments.models import (
    COUNTS,
    DIMENSIONS,
    JOINT_DIMENSIONS,
    LEAST_RADIUS_MM,
    SETTINGS,
    JointKind,
)
from instruments.string_sets import (
    StringSet,
    string_sets,
    threads,
    tuning,
)
from measurements.check_ins.ranges import POSSIBLE, WORK_POSSIBLE, possible_action
from measurements.joint_sheet.fields import MassField, NoteField, WholeField
from measurements.joint_sheet.set_words import fixture_words
from measurements.joint_sheet.start import OTHER_THREAD, Start
from shop.fields import LengthField, MeasuredForm, MeasureField, QuantityField
from shop.figures import length_words, shortest, turns_words
from shop.models import Unit

SIX = range(1, 7)
SPACING_MM = (5.0, 120.0)
ADVANCE_MM = (-3.0, 3.0)
GAUGE_MM = (0.15, 2.5)
GRAMS_PER_M = (0.1, 30.0)


#: Joints that nothing can be turned at.
NO_ADJUSTER = {
    JointKind.GLUED: gettext_noop(
        "%(turns)s: a glued joint has no adjuster. Give the tilt in degrees, or choose an adjustable "
        "joint."
    ),
    JointKind.BOLTED: gettext_noop(
        "%(turns)s: a bolted joint has no adjuster. Give the tilt in degrees, or choose an adjustable "
        "joint."
    ),
    JointKind.SHIMMED: gettext_noop(
        "%(turns)s: a shimmed joint has no adjuster. Give the tilt in degrees, or choose an "
        "adjustable joint."
    ),
}


def _length(name: str, label: str | Promise = "", **kwargs: Any) -> LengthField:
    limits = DIMENSIONS | JOINT_DIMENSIONS
    return LengthField(label=label or LABELS[name], possible=limits[name], required=True, **kwargs)


def _reading(name: str, label: str | Promise, **kwargs: Any) -> LengthField:
    return LengthField(label=label, possible=POSSIBLE[name], **kwargs)


def _action(fret: int, label: str | Promise, **kwargs: Any) -> LengthField:
    return LengthField(label=label, possible=possible_action(fret), **kwargs)


def _thread_choices() -> list[tuple[str, str]]:
    known = [(one.size, f"{one.size}, {fixture_words(one.series)}") for one in threads().values()]
    return [*known, (OTHER_THREAD, _("another pitch"))]


def _set_choices() -> list[tuple[str, str]]:
    return [(one.key, fixture_words(one.name)) for one in string_sets().values()]


class SheetForm(MeasuredForm):
    """Always bound: what the address leaves out is as the instrument stands, or as is usual."""

    unit_shown = forms.ChoiceField(label=gettext_lazy("Figures in"), choices=Unit)

    tilt_change_deg = QuantityField(
        "angle",
        label=gettext_lazy("Tilt by"),
        possible=SETTINGS["tilt_now_deg"],
        help_text=gettext_lazy("+ lowers the action."),
    )
    turns = QuantityField(
        "turns",
        label=gettext_lazy("Or turns of the adjuster"),
        possible=WORK_POSSIBLE["turns"],
        help_text=gettext_lazy("+ lowers the action."),
    )
    saddle_bass_to_mm = _reading("saddle_bass_mm", gettext_lazy("Saddle, bass, to"))
    saddle_treble_to_mm = _reading("saddle_treble_mm", gettext_lazy("Saddle, treble, to"))
    relief_to_mm = _reading("relief_mm", gettext_lazy("Relief to"))
    action_1_bass_to_mm = _action(1, gettext_lazy("Action at 1, bass, to"))
    action_1_treble_to_mm = _action(1, gettext_lazy("Action at 1, treble, to"))
    trim_mm = LengthField(
        label=gettext_lazy("Pivot screw ahead by"),
        possible=ADVANCE_MM,
        help_text=gettext_lazy("Side trim: one of two screws."),
    )

    bridge_rise_mm = _reading("bridge_rise_mm", gettext_lazy("Bridge rise"), required=True)
    relief_mm = _reading("relief_mm", gettext_lazy("Relief"), required=True)
    saddle_bass_mm = _reading("saddle_bass_mm", gettext_lazy("Saddle, bass"), required=True)
    saddle_treble_mm = _reading("saddle_treble_mm", gettext_lazy("Saddle, treble"), required=True)
    action_1_bass_mm = _action(1, gettext_lazy("Action at 1, bass"), required=True)
    action_1_treble_mm = _action(1, gettext_lazy("Action at 1, treble"), required=True)
    action_12_bass_mm = _action(
        12, gettext_lazy("Action at 12, bass"), help_text=gettext_lazy("Empty: from the others.")
    )
    action_12_treble_mm = _action(
        12, gettext_lazy("Action at 12, treble"), help_text=gettext_lazy("Empty: from the others.")
    )

    scale_length_mm = _length("scale_length_mm")
    compensation_mm = _length("compensation_mm")
    joint_fret = WholeField(
        label=gettext_lazy("Body joint at fret"), possible=COUNTS["joint_fret"], required=True
    )
    fret_count = WholeField(
        label=gettext_lazy("Frets"), possible=COUNTS["fret_count"], required=True
    )
    fretboard_radius_mm = _length("fretboard_radius_mm")
    half_spread_nut_mm = _length("half_spread_nut_mm")
    half_spread_saddle_mm = _length("half_spread_saddle_mm")

    kind = forms.ChoiceField(label=gettext_lazy("Joint"), choices=JointKind)
    pivot_depth_mm = _length("pivot_depth_mm")
    heel_depth_mm = _length("heel_depth_mm")
    bolt_arm_mm = _length("bolt_arm_mm")
    thread = forms.ChoiceField(label=gettext_lazy("Thread of the adjuster"))
    thread_pitch_mm = LengthField(
        label=gettext_lazy("Thread pitch"),
        possible=JOINT_DIMENSIONS["thread_pitch_mm"],
        help_text=gettext_lazy("For another thread than those."),
    )
    tilt_now_deg = QuantityField(
        "angle", label=gettext_lazy("Tilt now"), possible=SETTINGS["tilt_now_deg"], required=True
    )
    tilt_min_deg = QuantityField(
        "angle", label=gettext_lazy("Least tilt"), possible=SETTINGS["tilt_min_deg"], required=True
    )
    tilt_max_deg = QuantityField(
        "angle", label=gettext_lazy("Most tilt"), possible=SETTINGS["tilt_max_deg"], required=True
    )
    screw_spacing_mm = LengthField(
        label=gettext_lazy("Between pivot screws"), possible=SPACING_MM, required=True
    )

    string_set = forms.ChoiceField(label=gettext_lazy("String set"))

    CHANGE = (
        "tilt_change_deg", "turns", "saddle_bass_to_mm", "saddle_treble_to_mm", "relief_to_mm",
        "action_1_bass_to_mm", "action_1_treble_to_mm", "trim_mm",
    )  # fmt: skip
    GROUPS = (
        (
            gettext_noop("As it stands"),
            ("bridge_rise_mm", "relief_mm", "saddle_bass_mm", "saddle_treble_mm",
             "action_1_bass_mm", "action_1_treble_mm", "action_12_bass_mm",
             "action_12_treble_mm"),
        ),
        (
            gettext_noop("Neck"),
            ("scale_length_mm", "compensation_mm", "joint_fret", "fret_count",
             "fretboard_radius_mm", "half_spread_nut_mm", "half_spread_saddle_mm"),
        ),
        (
            gettext_noop("Joint"),
            ("kind", "pivot_depth_mm", "heel_depth_mm", "bolt_arm_mm", "thread",
             "thread_pitch_mm", "tilt_now_deg", "tilt_min_deg", "tilt_max_deg",
             "screw_spacing_mm"),
        ),
    )  # fmt: skip

    def __init__(self, params: Mapping[str, Any], *, start: Start, unit: LengthUnit) -> None:
        self.start = start
        shown = params.get("unit_shown", unit)
        super().__init__(unit=cast(LengthUnit, shown) if shown in UNITS else unit)
        self.fields["thread"].choices = _thread_choices()  # type: ignore[attr-defined]
        self.fields["string_set"].choices = _set_choices()  # type: ignore[attr-defined]
        for number, note in zip(SIX, tuning(), strict=True):
            self._add_string(number, note)
        self.starting = self._starting(params)
        self.is_bound = True
        self.data = {name: params.get(name, text) for name, text in self.starting.items()}
        for name in self.CHANGE:
            now = self.data.get(name.replace("_to_mm", "_mm"))
            if name.endswith("_to_mm") and now:
                self.fields[name].help_text = _("Now %(figure)s.") % {"figure": now}

    def _add_string(self, number: int, note: str) -> None:
        counted = {"number": number}
        added: dict[str, forms.Field] = {
            f"gauge_{number}_mm": LengthField(
                label=_("String %(number)s, plain steel of") % counted, possible=GAUGE_MM
            ),
            f"mass_{number}": MassField(
                label=_("String %(number)s, or weight per length") % counted,
                possible=(GRAMS_PER_M[0] / 1000, GRAMS_PER_M[1] / 1000),
            ),
            f"note_{number}": NoteField(
                label=_("String %(number)s, tuned to") % counted, max_length=8, initial=note
            ),
        }
        for name, field in added.items():
            if isinstance(field, MeasureField):
                field.unit = self.unit
            self.fields[name] = field

    def _starting(self, params: Mapping[str, Any]) -> dict[str, str]:
        """What each box holds before anything is typed."""
        texts = dict.fromkeys(self.fields, "")
        texts |= {name: self._text(name, value) for name, value in self.start.figures.items()}
        texts |= self.start.choices | {"unit_shown": self.unit}
        return texts | {f"note_{n}": note for n, note in zip(SIX, tuning(), strict=True)}

    def _text(self, name: str, value: float) -> str:
        field = self.fields[name]
        assert isinstance(field, MeasureField)  # noqa: S101  figures have measures
        return field.show(value)

    def is_as_started(self, name: str) -> bool:
        """Whether a box still holds what it held, in any unit: its figure is then the exact one."""
        text = str(self.data.get(name, "")).strip()
        field, value = self.fields[name], self.start.figures.get(name)
        if value is None:
            return text == self.starting[name]
        if isinstance(field, LengthField):
            return text in [length_words(value, one) for one in UNITS]
        return text == self.starting[name]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for name, value in self.start.figures.items():
            # What a box shows is rounded; what was measured is not.
            if name in cleaned and self.is_as_started(name):
                cleaned[name] = value
        if cleaned.get("thread") == OTHER_THREAD and cleaned.get("thread_pitch_mm") is None:
            self._wrong(
                "thread_pitch_mm",
                _("Thread pitch is needed for another thread, such as 1.0 mm."),
            )
        self._check_neck(cleaned)
        self._check_angle(cleaned)
        self._check_turns(cleaned)
        return cleaned

    def _wrong(self, name: str, words: str) -> None:
        if name not in self.errors:
            self.add_error(name, ValidationError(words))

    def _check_angle(self, cleaned: dict[str, Any]) -> None:
        turns, tilt = cleaned.get("turns"), cleaned.get("tilt_change_deg")
        if turns is not None and tilt is not None:
            words = _("Tilt by %(tilt)s° and %(turns)s: give the one or the other.")
            self._wrong("turns", words % {"tilt": shortest(tilt), "turns": turns_words(turns)})
        if turns is not None and cleaned.get("kind") in NO_ADJUSTER:
            words = _(NO_ADJUSTER[cleaned["kind"]])
            self._wrong("turns", words % {"turns": turns_words(turns)})
        least, most = cleaned.get("tilt_min_deg"), cleaned.get("tilt_max_deg")
        if least is not None and most is not None and least > most:
            words = _("Most tilt %(most)s°: expected %(least)s°, the least tilt, or more.")
            self._wrong("tilt_max_deg", words % {"most": shortest(most), "least": shortest(least)})

    def _check_turns(self, cleaned: dict[str, Any]) -> None:
        """Turn the turns into an angle; refuse those that no joint has."""
        cleaned["tilt_deg"] = cleaned.get("tilt_change_deg") or 0.0
        needed = ("turns", "bolt_arm_mm", "tilt_now_deg", "thread")
        if self.errors or any(cleaned.get(name) is None for name in needed):
            return
        now, low_high = cleaned["tilt_now_deg"], SETTINGS["tilt_now_deg"]
        # What the joint's own log has taught acts like a shorter lever, as in advice.
        arm = cleaned["bolt_arm_mm"] / self.rise_gain(cleaned["kind"])
        try:
            after = float(tilt_after_turns(cleaned["turns"], self.pitch_mm(), arm, now))
        except ValueError:
            after = float("inf")
        if low_high[0] <= after - now <= low_high[1]:
            cleaned["tilt_deg"] = after - now if cleaned["turns"] else 0.0
            return
        self._wrong(
            "turns",
            _("%(turns)s: more than %(most)s° of tilt on this arm and thread. Check the number.")
            % {"turns": turns_words(cleaned["turns"]), "most": shortest(low_high[1])},
        )

    def rise_gain(self, kind: str) -> float:
        """What the joint's log taught; of another kind of joint it knows nothing."""
        return self.start.rise_gain if kind == self.start.choices["kind"] else 1.0

    def _check_neck(self, cleaned: dict[str, Any]) -> None:
        frets, joint = cleaned.get("fret_count"), cleaned.get("joint_fret")
        if frets is not None and joint is not None and frets < joint:
            words = _("Frets %(frets)s: expected %(joint)s or more, the joint's fret.")
            self._wrong("fret_count", words % {"frets": f"{frets:.0f}", "joint": f"{joint:.0f}"})
        radius = cleaned.get("fretboard_radius_mm")
        if radius and radius < LEAST_RADIUS_MM:
            words = _(
                "Fretboard radius %(radius)s: expected 0 for flat, or %(least)s mm or more. Were "
                "inches meant?"
            )
            shown = {"radius": length_words(radius, self.unit), "least": LEAST_RADIUS_MM}
            self._wrong("fretboard_radius_mm", words % shown)

    # For the template

    def change_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.CHANGE]

    def groups(self) -> Iterator[tuple[str, list[forms.BoundField], bool]]:
        """The rest of the figures by group, and whether something is wrong in the group."""
        for title, names in self.GROUPS:
            yield (
                _(title),
                [self[name] for name in names],
                any(name in self.errors for name in names),
            )

    def string_rows(self) -> Iterator[tuple[int, list[forms.BoundField]]]:
        for number in SIX:
            yield number, [self[name] for name in string_names(number)]

    def strings_wrong(self) -> bool:
        return any(name in self.errors for number in SIX for name in string_names(number))

    def faults(self) -> list[str]:
        """Everything that is wrong, each naming its field."""
        return [str(error) for errors in self.errors.values() for error in errors]

    # For the figures

    def pitch_mm(self) -> float:
        size = self.cleaned_data["thread"]
        if size == OTHER_THREAD:
            return float(self.cleaned_data["thread_pitch_mm"])
        return threads()[size].pitch_mm

    def chosen_set(self) -> StringSet:
        return string_sets()[self.cleaned_data["string_set"]]

    def address(self, own_unit: LengthUnit) -> dict[str, str]:
        """Only what differs from the start, and in which unit it was typed: the address to keep."""
        changed = {
            name: str(text).strip()
            for name, text in self.data.items()
            if name != "unit_shown" and not self.is_as_started(name)
        }
        told = changed or self.unit != own_unit
        return changed | ({"unit_shown": self.unit} if told else {})


def string_names(number: int) -> tuple[str, str, str]:
    return f"gauge_{number}_mm", f"mass_{number}", f"note_{number}"
