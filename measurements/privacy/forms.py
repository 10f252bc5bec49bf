"""The form that erases a customer: why, which free text goes along, and their name to be sure."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from measurements.privacy.record import Note
from shop.models import Customer
from shop.named_forms import Form


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


class EraseForm(Form):
    notes = forms.MultipleChoiceField(
        label=gettext_lazy("Free text to be erased too"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    reason = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=400,
        help_text=gettext_lazy("It stays on record, so do not name the customer."),
        error_messages={"required": gettext_lazy("Say why: the record keeps the reason.")},
    )
    confirm = forms.CharField(
        label=gettext_lazy("The customer's name or code"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, customer: Customer, texts: list[Note], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.customer = customer
        notes = self.fields["notes"]
        assert isinstance(notes, forms.MultipleChoiceField)  # noqa: S101  says it to the type checker
        notes.choices = [(note.key, f"{note.where}: {note.text}") for note in texts]

    def clean_confirm(self) -> str:
        typed: str = self.cleaned_data["confirm"]
        if _folded(typed) not in (_folded(self.customer.name), self.customer.code.casefold()):
            raise ValidationError(
                _("This is neither the customer's name nor their code. Nothing was erased.")
            )
        return typed

    def clean_reason(self) -> str:
        reason: str = self.cleaned_data["reason"]
        if _folded(self.customer.name) in _folded(reason):
            raise ValidationError(
                _("The reason stays on record: say it without the customer's name.")
            )
        return reason
