"""Forms for a contact and for a booked day."""

from datetime import date

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from measurements.models import Channel
from measurements.plan.calls import REASONS, SOMETHING_ELSE
from shop.figures import day_words
from shop.named_forms import Form


class ContactForm(Form):
    """How a customer was told, and of what."""

    channel = forms.ChoiceField(
        label=gettext_lazy("How"),
        choices=[choice for choice in Channel.choices if choice[0] != Channel.EMAIL],
        error_messages={"required": gettext_lazy("Choose how they were told.")},
    )
    reason = forms.ChoiceField(
        label=gettext_lazy("About"),
        choices=[
            *((r.key, gettext_lazy(r.words)) for r in REASONS),
            ("other", gettext_lazy(SOMETHING_ELSE)),
        ],
        error_messages={"required": gettext_lazy("Choose what it was about.")},
    )
    words = forms.CharField(
        label=gettext_lazy("What was said"),
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def clean(self) -> dict[str, str]:
        cleaned: dict[str, str] = super().clean() or {}
        if cleaned.get("reason") == "other" and not cleaned.get("words", "").strip():
            self.add_error("words", _("Say what it was about."))
        return cleaned


class BookingForm(Form):
    day = forms.DateField(
        label=gettext_lazy("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    words = forms.CharField(
        label=gettext_lazy("What for"),
        max_length=200,
        initial=gettext_lazy("neck reset"),
        error_messages={"required": gettext_lazy("Say what the day is booked for.")},
    )

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if day.year > timezone.localdate().year + 10:
            raise forms.ValidationError(
                _("%(day)s is more than ten years ahead; check the year.") % {"day": day_words(day)}
            )
        return day
