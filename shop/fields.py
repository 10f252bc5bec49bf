"""Form fields that take lengths as people write them and say exactly what is wrong with them."""

from collections.abc import Callable, Iterable
from statistics import fmean
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.repeats import REPEATS_TEXT_LIMIT, odd_one, parse_lengths
from geometry.units import LengthUnit, QuantityKind, format_length, parse_length, parse_quantity
from shop.figures import as_meant, length_words, localized
from shop.named_forms import Form, ModelForm
from shop.refusals import in_words

Range = tuple[float, float]

#: Less is nothing: a change of height that was made and unmade leaves the last digit of a float. [mm]
NOTHING_MM = 1e-4


def tick() -> str:
    """What stands after a question about an unusual figure."""
    return " " + _("If it is right, tick the box below and save again.")


def no_guess(value: float) -> float | None:
    return None


def in_box(plain: str, read: Callable[[str], object]) -> str:
    """A figure as it stands in a box from the start: with the language's own decimal sign, unless ``read``
    would then understand something else.
    """
    own = localized(plain)
    try:
        return own if read(own) == read(plain) else plain
    except ValueError:
        return plain


def length_in_box(mm: float, unit: LengthUnit) -> str:
    """A length as it is shown, to stand in a box."""
    return in_box(format_length(mm, unit), _mm)


def exact_in_box(mm: float) -> str:
    """A length as it is kept, to stand in a box: in mm whatever the reader's unit."""
    return in_box(f"{mm:.6g} mm", _mm) if abs(mm) >= NOTHING_MM else "0"


def readings_in_box(readings_mm: Iterable[float]) -> str:
    """Several readings of one place, to stand in a box."""
    return in_box(f"{' '.join(f'{mm:.5g}' for mm in readings_mm)} mm", _each_mm)


def is_readable(text: str) -> bool:
    """Whether what somebody else typed is plainly read in this reader's language too."""
    try:
        return bool(_each_mm(text))
    except ValueError:
        return False


def _mm(text: str) -> float:
    return parse_length(as_meant(text)).mm


def _each_mm(text: str) -> list[float]:
    return [reading.mm for reading in parse_lengths(as_meant(text))]


class Box(forms.TextInput):
    """Django's box for a line of text, written without its templates: a form here has dozens."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        context = self.get_context(name, value, attrs)["widget"]
        shown = {} if context["value"] is None else {"value": context["value"]}
        own = {"type": context["type"], "name": context["name"], **shown, **context["attrs"]}
        written = (
            format_html(" {}" if value is True else ' {}="{}"', name, value)
            for name, value in own.items()
            if value is not False
        )
        return SafeString(f"<input{''.join(written)}>")


class MeasureField(forms.CharField):
    """A figure with a unit. ``clean`` gives a float in the canonical unit, or None when left empty.

    ``possible`` is refused outside, by name; ``usual`` is asked about once: the form then shows a box
    "this is right", and what was confirmed is the very text typed, so a changed figure is asked again.
    """

    widget = Box

    def __init__(
        self,
        *,
        possible: Range,
        usual: Range | None = None,
        guess: Callable[[float], float | None] = no_guess,
        **kwargs: Any,
    ) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 40)
        super().__init__(**kwargs)
        self.possible, self.usual, self.guess = possible, usual, guess
        self.unit: LengthUnit = "mm"
        self.widget.attrs.setdefault("autocomplete", "off")
        self.widget.attrs.setdefault("autocapitalize", "off")
        self.widget.attrs.setdefault("spellcheck", "false")

    def parse(self, text: str) -> float:
        raise NotImplementedError

    def show(self, value: float) -> str:
        raise NotImplementedError

    def figures(self, text: str) -> tuple[float, ...]:
        """The readings that a text holds; raises ``ValueError`` where it holds none."""
        return (self.parse(text),)

    def to_python(self, value: Any) -> float | None:  # type: ignore[override]
        text = super().to_python(value)
        if not text:
            return None
        try:
            numbers = self.figures(text)
        except ValueError as error:
            raise ValidationError(f"{self.label}: {in_words(error)}", code="unreadable") from error
        low, high = self.possible
        for number in numbers:
            if not low <= number <= high:
                raise ValidationError(self.refusal(number), code="impossible")
        return fmean(numbers) if len(numbers) > 1 else numbers[0]

    def run_validators(self, value: Any) -> None:
        """The text's own checks have run; a number has no length to check."""

    def refusal(self, number: float) -> str:
        low, high = self.possible
        words = {
            "label": self.label,
            "value": self.show(number),
            "low": self.show(low),
            "high": self.show(high),
        }
        meant = self.guess(number)
        if meant is None:
            return _("%(label)s %(value)s: expected %(low)s to %(high)s.") % words
        return _("%(label)s %(value)s: expected %(low)s to %(high)s; did you mean %(meant)s?") % (
            words | {"meant": self.show(meant)}
        )

    def doubt(self, text: str) -> str:
        """What to ask about figures that can be but rarely are; empty where there is nothing to ask."""
        if self.usual is None:
            return ""
        low, high = self.usual
        odd = [number for number in self.figures(text) if not low <= number <= high]
        return self.question(odd[0]) if odd else ""

    def question(self, number: float) -> str:
        assert self.usual is not None  # noqa: S101  asked only of unusual figures
        low, high = self.usual
        asked = _("%(label)s %(value)s is unusual (mostly %(low)s to %(high)s).") % {
            "label": self.label,
            "value": self.show(number),
            "low": self.show(low),
            "high": self.show(high),
        }
        meant = self.guess(number)
        if meant is None:
            return asked
        return f"{asked} " + _("Did you mean %(meant)s?") % {"meant": self.show(meant)}


class LengthField(MeasureField):
    """A length in mm, typed in any unit; a bare number is in the form's unit."""

    def parse(self, text: str) -> float:
        return parse_length(as_meant(text), self.unit).mm

    def show(self, value: float) -> str:
        return length_words(value, self.unit)


class RepeatedLengthField(LengthField):
    """A length that may be read several times at its place: cleans to the mean of the readings.

    Each reading has to be possible. One that lies further from the others than the gauge scatters
    is asked about once, like an unusual one.
    """

    gauge_u_mm = 0.1

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=REPEATS_TEXT_LIMIT, **kwargs)

    def figures(self, text: str) -> tuple[float, ...]:
        return tuple(reading.mm for reading in parse_lengths(as_meant(text), self.unit))

    def doubt(self, text: str) -> str:
        found = self.figures(text)
        odd = odd_one(found, self.gauge_u_mm)
        if odd is None:
            return super().doubt(text)
        others = [value for place, value in enumerate(found) if place != odd]
        away = (
            _(
                "%(label)s: %(value)s lies %(away)s from the other reading, "
                "more than the gauge scatters."
            )
            if len(others) == 1
            else _(
                "%(label)s: %(value)s lies %(away)s from the mean of the others, "
                "more than the gauge scatters."
            )
        ) % {
            "label": self.label,
            "value": self.show(found[odd]),
            "away": self.show(abs(found[odd] - fmean(others))),
        }
        return f"{away} {super().doubt(text)}".strip()


SIGNS: dict[QuantityKind, str] = {
    "humidity": "%(figure)s %%",
    "temperature": "%(figure)s °C",
    "turns": gettext_noop("%(figure)s turns"),
    "angle": "%(figure)s°",
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
        plain = f"{round(value, 9) + 0.0:.9f}".rstrip("0").rstrip(".")
        return in_box(plain, self.parse)

    def parse(self, text: str) -> float:
        return parse_quantity(as_meant(text), self.kind).value

    def show(self, value: float) -> str:
        figure = localized(f"{value:.3g}".replace("-", "−"))
        return _(SIGNS[self.kind]) % {"figure": figure}


class LiveBoundField(forms.BoundField):
    """A box beside which the page says, as it is filled, what was understood; described by that line."""

    @property
    def aria_describedby(self) -> str | None:
        others = super().aria_describedby
        if not isinstance(self.field, MeasureField):
            return others
        return f"understood-{self.name} {others or ''}".strip()


class MeasuredForm(Form):
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
            name: self.text_of(name)
            for name, field in self.fields.items()
            if isinstance(field, MeasureField) and self.cleaned_data.get(name) is not None
        }

    def confirm_name(self, name: str) -> str:
        return f"{self.add_prefix(name)}-is-right"

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        self.asked: dict[str, str] = {}
        for name, field in self.fields.items():
            if cleaned.get(name) is None or not isinstance(field, MeasureField):
                continue
            typed = self.text_of(name)
            question = field.doubt(typed) if typed else ""
            if question and self.data.get(self.confirm_name(name)) != typed:
                self.asked[name] = typed
                self.add_error(name, ValidationError(question + tick(), code="unusual"))
        return cleaned

    def text_of(self, name: str) -> str:
        """What was typed into a measure."""
        return str(self.data.get(self.add_prefix(name), "")).strip()

    def figure(self, name: str) -> float | None:
        """What was understood so far; of an unusual figure too, which is yet to be confirmed."""
        understood: float | None = self.cleaned_data.get(name)
        if name in self.asked:
            understood = self.fields[name].clean(self.asked[name])
        return understood

    def read_mm(self, name: str) -> tuple[float, ...]:
        """Each reading of one place. [mm]"""
        field = self.fields[name]
        if self.figure(name) is None or not isinstance(field, MeasureField):
            return ()
        return field.figures(self.text_of(name))

    def repeats_mm(self) -> dict[str, list[float]]:
        """Every reading of each place that was read more than once. [mm]"""
        found = {name: self.read_mm(name) for name in self.fields if name.endswith("_mm")}
        return {name: list(values) for name, values in found.items() if len(values) > 1}


class MeasuredModelForm(MeasuredForm, ModelForm):
    """A model form whose lengths may be typed in any unit and come back as they were typed."""

    def __init__(self, *args: Any, unit: LengthUnit = "mm", **kwargs: Any) -> None:
        super().__init__(*args, unit=unit, **kwargs)
        for name, field in self.fields.items():
            value = self.initial.get(name)
            if isinstance(field, LengthField) and value is not None:
                self.initial[name] = exact_in_box(value)
