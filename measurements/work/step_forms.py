"""The few readings that are taken again after a step of work; a check-in as any other, see ``visit``."""

from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.acts import record_check_in
from measurements.check_ins.forms import (
    CheckInForm,
    moment_on,
    repeated,
    repeated_action,
    rises_of,
    saved_otherwise,
)
from measurements.check_ins.ranges import gauge_u_mm
from measurements.models import SIDES, CheckIn, Stage, WorkKind
from measurements.work.visit import AFTER_WORK, works_of_visit
from shop.fields import LengthField, MeasuredForm
from shop.languages import language_for, written_in
from shop.models import ShopProfile, User

#: Which frets, and which other places, tell what a step of each kind has done.
AGAIN: dict[str, tuple[tuple[int, ...], tuple[str, ...]]] = {
    WorkKind.JOINT: ((12,), ("bridge_rise_mm",)),
    WorkKind.SADDLE: ((12,), ("saddle_bass_mm", "saddle_treble_mm")),
    WorkKind.RELIEF: ((12,), ("relief_mm", "bridge_rise_mm")),
    WorkKind.NUT: ((1, 12), ()),
}


class StepReadingForm(MeasuredForm):
    """What is measured again after a step: the places that this kind of work moves."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, instrument: Instrument, kind: str, **kwargs: Any) -> None:
        super().__init__(
            *args, initial={"uuid": uuid4(), **kwargs.pop("initial", {})}, prefix="again", **kwargs
        )
        self.instrument = instrument
        frets, singles = AGAIN[kind]
        self.places = [(fret, side) for fret in frets for side in SIDES]
        self.singles = singles
        profile = ShopProfile.current()
        relief = {name: repeated(name) for name in singles}
        for name, field in relief.items():
            field.gauge_u_mm = gauge_u_mm(name, profile)
        # The relief before the actions, as it is measured; the rest after them.
        first = {name: field for name, field in relief.items() if name == "relief_mm"}
        actions = {
            CheckInForm.action_name(*place): repeated_action(*place, profile)
            for place in self.places
        }
        for name, field in (first | actions | relief).items():
            field.unit = self.unit
            self.fields[name] = field

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        lengths = [name for name, field in self.fields.items() if isinstance(field, LengthField)]
        if all(cleaned.get(name) is None and name not in self.errors for name in lengths):
            raise ValidationError(_("Nothing measured yet: give at least one reading."))
        return cleaned

    def save(self, by: User) -> CheckIn:
        """Record the readings as taken now, after the newest work of this visit.

        Before any work they are readings as received. Raises ``ValidationError`` where the form was saved
        before with other figures, lest the newer ones vanish unsaid.
        """
        self._check_not_saved_otherwise()
        actions = {
            place: self.cleaned_data.get(CheckInForm.action_name(*place)) for place in self.places
        }
        works = works_of_visit(self.instrument)
        facts: dict[str, Any] = {name: self.cleaned_data.get(name) for name in self.singles}
        typed: dict[str, Any] = self.typed() | {"unit": self.unit}
        if works:
            typed[AFTER_WORK] = str(works[-1].uuid)
        return record_check_in(
            instrument=self.instrument,
            measured_at=moment_on(timezone.localdate(), self.instrument),
            by=by,
            stage=Stage.RETURNED if works else Stage.RECEIVED,
            actions_mm={place: mm for place, mm in actions.items() if mm is not None},
            uuid=self.cleaned_data["uuid"],
            as_typed=typed,
            notes=self._note() if works else "",
            repeats_mm=self.repeats_mm(),
            **rises_of(self),
            **facts,
        )

    def _check_not_saved_otherwise(self) -> None:
        uuid = self.cleaned_data["uuid"]
        first = CheckIn.objects.filter(uuid=uuid, instrument=self.instrument).first()
        if first is None:
            return
        before, now = first.as_typed, self.typed()
        boxes = {name: field for name, field in self.fields.items() if name != "uuid"}
        changed = [name for name in boxes if before.get(name, "") != now.get(name, "")]
        if changed:
            raise saved_otherwise([str(boxes[name].label) for name in changed])

    def _note(self) -> str:
        """In the shop's language: it is kept, and others read it."""
        with written_in(language_for(None, ShopProfile.current())):
            return _("Measured between steps.")
