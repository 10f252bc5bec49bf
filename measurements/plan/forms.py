"""Forms for a contact and for a booked day."""

from datetime import date

from django import forms
from django.utils import timezone

from measurements.models import Channel
from measurements.plan.calls import REASONS


class ContactForm(forms.Form):
    """How a customer was told, and of what."""

    channel = forms.ChoiceField(
        label="How", choices=[choice for choice in Channel.choices if choice[0] != Channel.EMAIL]
    )
    reason = forms.ChoiceField(
        label="About", choices=[*((r.key, r.words) for r in REASONS), ("other", "something else")]
    )
    words = forms.CharField(
        label="What was said",
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def clean(self) -> dict[str, str]:
        cleaned: dict[str, str] = super().clean() or {}
        if cleaned.get("reason") == "other" and not cleaned.get("words", "").strip():
            self.add_error("words", "Say what it was about.")
        return cleaned


class BookingForm(forms.Form):
    day = forms.DateField(
        label="Day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    words = forms.CharField(label="What for", max_length=200, initial="neck reset")

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if day.year > timezone.localdate().year + 10:
            raise forms.ValidationError(f"{day} is more than ten years ahead; check the year.")
        return day
