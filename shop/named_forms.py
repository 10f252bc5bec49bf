"""What every form here is made from: it says by name which box is empty, or beyond its limits."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

if TYPE_CHECKING:  # only the type checker knows model forms by their models
    _ModelForm = forms.ModelForm[Any]
else:
    _ModelForm = forms.ModelForm


#: Django's own sentence about an empty box, which does not say which.
UNNAMED = forms.Field.default_error_messages["required"]
#: Nor do its sentences about a figure beyond a limit.
BEYOND = {
    "min_value": gettext_noop("%(label)s %(value)s: expected %(limit)s or more."),
    "max_value": gettext_noop("%(label)s %(value)s: expected %(limit)s or less."),
}


class NamesWhatIsNeeded(forms.BaseForm):
    """A form that names each box left empty or beyond its limits, unless the box has its own sentence."""

    def add_error(self, field: str | None, error: Any) -> None:
        if field is not None and isinstance(error, ValidationError):
            error = ValidationError([self._named(field, each) for each in error.error_list])
        elif hasattr(error, "error_dict"):  # what the model refused
            error = ValidationError(
                {
                    name: [
                        self._named(name, each) if name in self.fields else each for each in found
                    ]
                    for name, found in error.error_dict.items()
                }
            )
        super().add_error(field, error)

    def _named(self, name: str, error: ValidationError) -> ValidationError:
        if (
            error.code in BEYOND
            and error.params
            and error.code not in self.fields[name].error_messages
        ):
            figures = {"value": error.params["value"], "limit": error.params["limit_value"]}
            words = _(BEYOND[error.code]) % ({"label": self[name].label} | figures)
            return ValidationError(words, code=error.code)
        if error.message is not UNNAMED:
            return error
        of = self.fields[name]
        words = (
            _("%(label)s is needed: choose a file.")
            if isinstance(of, forms.FileField)
            else _("%(label)s is needed: choose one.")
            if isinstance(of, forms.ChoiceField)
            else _("%(label)s is needed.")
        )
        return ValidationError(words % {"label": self[name].label}, code="required")


class Form(NamesWhatIsNeeded, forms.Form):
    """What every form here is made from that is not of one model."""


class ModelForm(NamesWhatIsNeeded, _ModelForm):
    """What every form of one model is made from."""
