"""Forms for a report's correction and for sending it."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from measurements.reports.paper import PAPERS
from shop.named_forms import Form


class ReviseForm(Form):
    """What was corrected; ``doubtful`` asks whether readings that do not fit were checked."""

    why = forms.CharField(
        label=gettext_lazy("What was corrected"),
        max_length=400,
        help_text=gettext_lazy(
            "Printed on the revision: say it so that the customer understands it."
        ),
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={
            "required": gettext_lazy("Say what was corrected: the revision prints it.")
        },
    )
    anyway = forms.BooleanField(
        label=gettext_lazy("The newest readings do not fit; they were checked and stand"),
        error_messages={
            "required": gettext_lazy(
                "The newest readings do not fit. Measure again or correct them, or tick that "
                "they were checked."
            )
        },
    )
    revision = forms.IntegerField(min_value=1, max_value=9999, widget=forms.HiddenInput)
    nonce = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, doubtful: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not doubtful:
            del self.fields["anyway"]


class SendReportForm(Form):
    """The letter that goes with the PDF; a second sending needs a tick of its own."""

    words = forms.CharField(
        label=gettext_lazy("The letter"),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 14}),
        error_messages={
            "required": gettext_lazy("Write a few words; a letter without any looks like spam.")
        },
    )
    paper = forms.ChoiceField(
        label=gettext_lazy("Paper of the PDF"), choices=[(name, name) for name in PAPERS]
    )
    again = forms.BooleanField(
        label=gettext_lazy("Send it again"),
        error_messages={
            "required": gettext_lazy(
                "It was sent before. Tick “send it again” to send it once more."
            )
        },
    )
    to = forms.EmailField(widget=forms.HiddenInput)
    revision = forms.IntegerField(min_value=1, max_value=9999, widget=forms.HiddenInput)
    sent_before = forms.IntegerField(min_value=0, max_value=9999, widget=forms.HiddenInput)

    def __init__(self, *args: Any, sent_before: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not sent_before:
            del self.fields["again"]
