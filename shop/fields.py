"""Form fields that take lengths as people write them and say exactly what is wrong with them."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from geometry.units import LengthUnit, QuantityKind, format_length, parse_length, parse_quantity

Range = tuple[float, float]


def no_guess(value: float) -> float | None:
    return None


class MeasureField(forms.CharField):
    """A figure with a unit. ``clean`` gives a float in the canonical unit, or None when left empty.

    ``possible`` is refused outside, by name; ``usual`` is asked about once: the form then shows a box
    "this is right", and what was confirmed is the very text typed, so a changed figure is asked again.
    """

    def __init__(
        self,
        *,
        possible: Range,
        usual: Range | None = None,
        guess: Callable[[float], float | None] = no_guess,
        **kwargs: Any,
    ) -> None:
        kwargs.setdefault("required", False)
        super().__init__(max_length=40, **kwargs)
        self.possible, self.usual, self.guess = possible, usual, guess
        self.unit: LengthUnit = "mm"
        self.widget.attrs.setdefault("autocomplete", "off")
        self.widget.attrs.setdefault("autocapitalize", "off")
        self.widget.attrs.setdefault("spellcheck", "false")

    def parse(self, text: str) -> float:
        raise NotImplementedError

    def show(self, value: float) -> str:
        raise NotImplementedError

    def to_python(self, value: Any) -> float | None:  # type: ignore[override]
        text = super().to_python(value)
        if not text:
            return None
        try:
            number = self.parse(text)
        except ValueError as error:
            raise ValidationError(f"{self.label}: {error}", code="unreadable") from error
        low, high = self.possible
        if not low <= number <= high:
            raise ValidationError(self.refusal(number), code="impossible")
        return number

    def validate(self, value: Any) -> None:
        if value is None and self.required:
            raise ValidationError(f"{self.label} is needed.", code="required")

    def run_validators(self, value: Any) -> None:
        """The text's own checks have run; a number has no length to check."""

    def refusal(self, number: float) -> str:
        low, high = self.possible
        text = f"{self.label} {self.show(number)}: expected {self.show(low)} to {self.show(high)}"
        meant = self.guess(number)
        return f"{text}; did you mean {self.show(meant)}?" if meant is not None else f"{text}."

    def is_unusual(self, number: float | None) -> bool:
        return (
            number is not None
            and self.usual is not None
            and not (self.usual[0] <= number <= self.usual[1])
        )

    def question(self, number: float) -> str:
        assert self.usual is not None  # noqa: S101  asked only of unusual figures
        low, high = self.usual
        meant = self.guess(number)
        hint = f" Did you mean {self.show(meant)}?" if meant is not None else ""
        return (
            f"{self.label} {self.show(number)} is unusual (mostly {self.show(low)} to "
            f"{self.show(high)}).{hint} If it is right, tick the box below and save again."
        )


class LengthField(MeasureField):
    """A length in mm, typed in any unit; a bare number is in the form's unit."""

    def parse(self, text: str) -> float:
        return parse_length(text, self.unit).mm

    def show(self, value: float) -> str:
        return format_length(value, self.unit)


SIGNS: dict[QuantityKind, str] = {
    "humidity": " %",
    "temperature": " °C",
    "turns": " turns",
    "angle": "°",
}


class QuantityField(MeasureField):
    """A percentage, temperature, number of turns or angle."""

    def __init__(self, kind: QuantityKind, **kwargs: Any) -> None:
        self.kind = kind
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        """A stored figure as a plain decimal: turned out and back, a tilt is 1e-17 and meant as 0."""
        if not isinstance(value, float):
            return value
        return f"{round(value, 9) + 0.0:.9f}".rstrip("0").rstrip(".")

    def parse(self, text: str) -> float:
        return parse_quantity(text, self.kind).value

    def show(self, value: float) -> str:
        return f"{value:.3g}{SIGNS[self.kind]}".replace("-", "−")


class MeasuredForm(forms.Form):
    """Base of forms with measures: sets the unit and asks once about unusual figures."""

    def __init__(self, *args: Any, unit: LengthUnit = "mm", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.unit = unit
        for field in self.fields.values():
            if isinstance(field, MeasureField):
                field.unit = unit

    def typed(self) -> dict[str, str]:
        """What was typed into each measure, to be kept beside the canonical figure."""
        return {
            name: str(self.data.get(self.add_prefix(name), "")).strip()
            for name, field in self.fields.items()
            if isinstance(field, MeasureField) and self.cleaned_data.get(name) is not None
        }

    def confirm_name(self, name: str) -> str:
        return f"{self.add_prefix(name)}-is-right"

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        self.asked: dict[str, str] = {}
        for name, field in self.fields.items():
            value = cleaned.get(name)
            if value is None or not isinstance(field, MeasureField):
                continue
            if not field.is_unusual(value):
                continue
            typed = str(self.data.get(self.add_prefix(name), "")).strip()
            if self.data.get(self.confirm_name(name)) != typed:
                self.asked[name] = typed
                self.add_error(name, ValidationError(field.question(value), code="unusual"))
        return cleaned


class MeasuredModelForm(MeasuredForm, forms.ModelForm):
    """A model form whose lengths may be typed in any unit and come back as they were typed."""

    def __init__(self, *args: Any, unit: LengthUnit = "mm", **kwargs: Any) -> None:
        super().__init__(*args, unit=unit, **kwargs)
        for name, field in self.fields.items():
            value = self.initial.get(name)
            if isinstance(field, LengthField) and value is not None:
                self.initial[name] = f"{value:.6g} mm" if value else "0"
