"""Forms for check-ins and for voiding: units parsed, impossible figures refused, unusual ones asked."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from geometry.repeats import mean_and_spread
from geometry.units import LengthUnit
from instruments.measuring import MARGINS
from instruments.models import Instrument
from measurements.check_ins.groups import Group, reading_groups
from measurements.check_ins.labels import LABELS, action_label_lazy
from measurements.check_ins.ranges import (
    POSSIBLE,
    USUAL,
    action_gauge_u_mm,
    factor_slip,
    gauge_u_mm,
    possible_action,
    usual_action,
)
from measurements.facts.provisional import APART, Provisional
from measurements.facts.rows import end_of, start_of
from measurements.models import SIDES, CheckIn, Press, Stage, Work
from shop.fields import (
    LengthField,
    LiveBoundField,
    MeasuredForm,
    QuantityField,
    RepeatedLengthField,
    tick,
)
from shop.figures import day_words
from shop.models import ShopProfile
from shop.named_forms import Form

FIRST_DAY = date(1950, 1, 1)


def _ranges(name: str) -> dict[str, Any]:
    usual = USUAL[name]
    return {
        "possible": POSSIBLE[name],
        "usual": usual,
        "guess": partial(factor_slip, usual=usual),
    }


def _action_ranges(fret: int, side: str) -> dict[str, Any]:
    usual = usual_action(fret)
    return {
        "label": action_label_lazy(fret, side),
        "possible": possible_action(fret),
        "usual": usual,
        "guess": partial(factor_slip, usual=usual),
    }


def reading_field(name: str, label: str | Promise) -> LengthField:
    """A length with the ranges of ``measurements.check_ins.ranges``."""
    return LengthField(label=label, **_ranges(name))


def action_field(fret: int, side: str) -> LengthField:
    return LengthField(**_action_ranges(fret, side))


def repeated(name: str, **kwargs: Any) -> RepeatedLengthField:
    """A length of ``labels.LABELS``, which may be read several times."""
    return RepeatedLengthField(label=LABELS[name], **_ranges(name), **kwargs)


def repeated_action(fret: int, side: str, profile: ShopProfile) -> RepeatedLengthField:
    """The action at a place, which may be read several times with the shop's gauge."""
    field = RepeatedLengthField(**_action_ranges(fret, side))
    field.gauge_u_mm = action_gauge_u_mm(fret, profile)
    return field


def moment_on(day: date, instrument: Instrument) -> datetime:
    """A moment on ``day`` that comes after all that is on record for the instrument on that day.

    Today it is now, an earlier day it is noon, or just after the day's last event if that is later: by
    seconds, so that no clock on a wall shows it to lie ahead.
    """
    start, end = start_of(day), end_of(day)
    read = CheckIn.objects.filter(
        instrument=instrument, measured_at__gte=start, measured_at__lt=end
    ).values_list("measured_at", flat=True)
    done = Work.objects.filter(
        instrument=instrument, done_at__gte=start, done_at__lt=end
    ).values_list("done_at", flat=True)
    usual = timezone.now() if day == timezone.localdate() else start + timedelta(hours=12)
    after_all = max([usual, *(event + APART for event in (*read, *done))])
    return min(after_all, end - timedelta(microseconds=1))


def rises_of(form: MeasuredForm) -> dict[str, Any]:
    """How often the bridge rise was read, and the spread of the readings, as a check-in keeps them."""
    rises = form.read_mm("bridge_rise_mm") if "bridge_rise_mm" in form.fields else ()
    return {
        "bridge_rise_count": max(len(rises), 1),
        "bridge_rise_spread_mm": mean_and_spread(rises)[1] if rises else None,
    }


class DatedForm(MeasuredForm):
    """A form for something that happened to an instrument on a day, sent once however often pressed."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    day = forms.DateField(
        label=_lazy("Date"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def __init__(self, *args: Any, instrument: Instrument, **kwargs: Any) -> None:
        self.instrument = instrument
        initial = {"uuid": uuid4(), "day": timezone.localdate(), **kwargs.pop("initial", {})}
        super().__init__(*args, initial=initial, **kwargs)

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if day > timezone.localdate():
            raise ValidationError(
                _("Date %(day)s lies ahead; a reading is taken today or earlier.")
                % {"day": day_words(day)}
            )
        built = self.instrument.built_year
        if built is not None and not self.instrument.built_about and day.year < built:
            raise ValidationError(
                _("Date %(day)s is before the instrument was built, %(year)s.")
                % {"day": day_words(day), "year": built}
            )
        if day < FIRST_DAY:
            raise ValidationError(
                _("Date %(day)s is before %(first)s; check the year.")
                % {"day": day_words(day), "first": day_words(FIRST_DAY)}
            )
        return day

    def moment(self) -> datetime:
        return moment_on(self.cleaned_data["day"], self.instrument)


class CheckInForm(DatedForm):
    """One instrument's readings; each place may be read several times."""

    bound_field_class = LiveBoundField
    stage = forms.ChoiceField(
        label=_lazy("Stage"), choices=Stage, widget=forms.RadioSelect, initial=Stage.RECEIVED
    )
    at_pitch = forms.BooleanField(label=_lazy("Strung and at pitch"), required=False, initial=True)
    humidity_pct = QuantityField(
        "humidity",
        label=_lazy("Humidity (% RH)"),
        possible=POSSIBLE["humidity_pct"],
        usual=USUAL["humidity_pct"],
    )
    temperature_c = QuantityField(
        "temperature",
        label=_lazy("Temperature (°C)"),
        possible=POSSIBLE["temperature_c"],
        usual=USUAL["temperature_c"],
    )
    relief_mm = repeated("relief_mm")
    relief_press = forms.ChoiceField(label=_lazy("Relief was"), choices=Press, initial=Press.JOINT)
    saddle_bass_mm = repeated("saddle_bass_mm")
    saddle_treble_mm = repeated("saddle_treble_mm")
    bridge_rise_mm = repeated(
        "bridge_rise_mm",
        help_text=_lazy(
            "Bridge top above the line of the frets; minus when the straightedge passes over it."
        ),
    )
    margin_bass_mm = repeated("margin_bass_mm")
    margin_treble_mm = repeated("margin_treble_mm")
    gauge = forms.CharField(label=_lazy("Gauge used"), max_length=60, required=False)
    notes = forms.CharField(
        label=_lazy("Notes"),
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    reason = forms.CharField(
        label=_lazy("Why the earlier one was wrong"), max_length=400, required=False
    )

    FACTS = (
        "stage", "at_pitch", "humidity_pct", "temperature_c", "relief_mm", "relief_press",
        "saddle_bass_mm", "saddle_treble_mm", "bridge_rise_mm", "margin_bass_mm",
        "margin_treble_mm", "gauge", "notes",
    )  # fmt: skip

    def __init__(
        self,
        *args: Any,
        instrument: Instrument,
        unit: LengthUnit = "mm",
        replaces: CheckIn | None = None,
        **kwargs: Any,
    ) -> None:
        self.replaces = replaces
        super().__init__(*args, instrument=instrument, unit=unit, **kwargs)
        read = [] if replaces is None else replaces.action_readings.values_list("fret", flat=True)
        self.frets = sorted({*instrument.frets_read(), *read})
        self.places = [(fret, side) for fret in self.frets for side in SIDES]
        profile = ShopProfile.current()
        for fret, side in self.places:
            place = repeated_action(fret, side, profile)
            place.unit = unit
            self.fields[self.action_name(fret, side)] = place
        for name in self.FACTS:
            field = self.fields[name]
            if isinstance(field, RepeatedLengthField):
                field.gauge_u_mm = gauge_u_mm(name, profile)
        if replaces is None:
            del self.fields["reason"]
        else:
            self.fields["reason"].required = True
            self.fields["reason"].error_messages["required"] = _(
                "Say why the earlier one was wrong."
            )
        first = next(self.reading_names()) if replaces is None else "reason"
        self.fields[first].widget.attrs["autofocus"] = not self.is_bound

    @staticmethod
    def action_name(fret: int, side: str) -> str:
        return f"action_{fret}_{side}_mm"

    @classmethod
    def lengths_of(cls, check_in: CheckIn) -> dict[str, float]:
        """The lengths a check-in holds, by the name of this form's field."""
        lengths = {name: getattr(check_in, name) for name in cls.FACTS if name.endswith("_mm")}
        for reading in check_in.action_readings.all():
            lengths[cls.action_name(reading.fret, reading.side)] = reading.action_mm
        return {name: value for name, value in lengths.items() if value is not None}

    def groups(self) -> list[Group]:
        """The boxes for figures in the order in which this instrument is measured."""
        return reading_groups(self, self.instrument.measuring_order, self.frets)

    def reading_names(self) -> Iterator[str]:
        """Names of those boxes, in that order."""
        for group in self.groups():
            for row in group.rows:
                yield from (field.name for field in row)

    def apart_names(self) -> tuple[str, ...]:
        """Names of the boxes for figures that stand apart from that order."""
        return ("margin_bass_mm", "margin_treble_mm") if self.margins_apart else ()

    @property
    def margins_apart(self) -> bool:
        """Whether the side margins have no place in this instrument's order of measuring."""
        return MARGINS not in self.instrument.measuring_order

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        measured = [name for name in self.fields if name.endswith("_mm")]
        if not any(cleaned.get(name) is not None for name in measured) and not any(
            name in self.errors for name in measured
        ):
            raise ValidationError(
                _("No reading yet: a check-in needs at least one measured length.")
            )
        return cleaned

    def actions(self) -> dict[tuple[int, str], float]:
        found = {place: self.cleaned_data.get(self.action_name(*place)) for place in self.places}
        return {place: value for place, value in found.items() if value is not None}

    def trouble(self, name: str) -> str:
        """What is wrong or odd about a figure, in words for while it is typed."""
        return " ".join(str(error).removesuffix(tick()) for error in self.errors.get(name, []))

    def as_read(self) -> Provisional | None:
        """What is readable so far, as a reading that might now be saved; None without any."""
        names = ("relief_mm", "bridge_rise_mm", "saddle_bass_mm", "saddle_treble_mm")
        figures, actions = self._given(names), self._actions_so_far()
        if not figures and not actions:
            return None
        figures |= self._given(("humidity_pct", "temperature_c"))
        if "bridge_rise_mm" in figures:
            rises = rises_of(self)
            figures |= {name: value for name, value in rises.items() if value is not None}
        return Provisional(
            moment=self.moment_or_now(),
            figures=figures,
            action_mm=actions,
            repeats_mm=self.repeats_mm(),
            instead_of=None if self.replaces is None else self.replaces.measured_at,
        )

    def _given(self, names: Iterable[str]) -> dict[str, float]:
        return {name: value for name in names if (value := self.figure(name)) is not None}

    def _actions_so_far(self) -> dict[tuple[int, str], float]:
        given = self._given(self.action_name(*place) for place in self.places)
        return {
            place: given[name]
            for place in self.places
            if (name := self.action_name(*place)) in given
        }

    def moment_or_now(self) -> datetime:
        """When it counts as measured; now while no day is understood.

        A correction keeps the moment of what it replaces, unless its day is changed.
        """
        day = self.cleaned_data.get("day")
        if self.replaces is not None:
            measured_at: datetime = self.replaces.measured_at
            if day in (None, timezone.localtime(measured_at).date()):
                return measured_at
        return timezone.now() if day is None else self.moment()

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.FACTS} | {
            "repeats_mm": self.repeats_mm(),
            **rises_of(self),
            "as_typed": self.typed() | {"unit": self.unit},
        }


def saved_otherwise(labels: Sequence[str]) -> ValidationError:
    """That the very form was saved before, with other figures under these labels."""
    return ValidationError(
        _(
            "This check-in was saved before, and this one differs in: %(fields)s. "
            "The saved one stands: open it from the instrument's page and correct it there."
        )
        % {"fields": ", ".join(labels)}
    )


class VoidForm(Form):
    reason = forms.CharField(
        label=_lazy("Why is it wrong?"),
        max_length=400,
        widget=forms.TextInput(attrs={"size": 40}),
        error_messages={"required": _lazy("Say why it is wrong.")},
    )
