"""Boxes that only the joint sheet has: a count, a string's weight, a note."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from geometry.tuning import semitones_of
from instruments.string_sets import KG_PER_LB, M_PER_INCH
from shop.fields import MeasureField
from shop.figures import localized

PER_KG_M = {"g/m": 1e-3, "kg/m": 1.0, "lb/in": KG_PER_LB / M_PER_INCH}


class WholeField(MeasureField):
    """A count, such as the number of a fret."""

    def parse(self, text: str) -> float:
        if not re.fullmatch(r"[0-9]{1,4}", text):
            raise ValueError(
                _("“%(text)s” is not a whole number; write a number such as 14.")
                % {"text": text[:12]}
            )
        return float(text)

    def show(self, value: float) -> str:
        return f"{value:.0f}"


class MassField(MeasureField):
    """Mass per length of a string; cleans to kg/m. A bare number is in g/m."""

    def parse(self, text: str) -> float:
        match = re.fullmatch(r"([0-9]*[.,]?[0-9]+)\s*(g/m|kg/m|lb/in)?", text)
        if match is None:
            raise ValueError(
                _(
                    "“%(text)s” is not a weight per length; write one such as 6.56 g/m or "
                    "0.000367 lb/in."
                )
                % {"text": text[:24]}
            )
        return float(match[1].replace(",", ".")) * PER_KG_M[match[2] or "g/m"]

    def show(self, value: float) -> str:
        return localized(f"{value * 1000:.3g} g/m")


class NoteField(forms.CharField):
    """A note by name; cleans to its name as written."""

    def clean(self, value: Any) -> str:
        text = str(super().clean(value))
        if text:
            try:
                semitones_of(text)
            except ValueError as error:
                words = _(
                    "%(label)s: “%(text)s” is not a note; write a letter and an octave: E2, F#3, Bb3."
                )
                shown = {"label": self.label, "text": text.strip()[:12]}
                raise ValidationError(words % shown) from error
        return text
