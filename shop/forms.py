from django import forms
from django.utils.text import capfirst

from shop.fields import LengthField, MeasuredModelForm
from shop.models import PROFILE_RANGES, Customer, ShopProfile, User


class CustomerForm(forms.ModelForm):
    class Meta:
        model = Customer
        fields = ["name", "phone", "email", "address", "unit", "no_reminders", "notes"]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }


def _length_fields() -> dict[str, LengthField]:
    """One field for each of the shop's lengths, its label that of the model without the unit."""
    words = {field.name: str(field.verbose_name) for field in ShopProfile._meta.fields}
    return {
        name: LengthField(
            label=capfirst(words[name].removesuffix(" (mm)")),
            possible=limits,
            required=True,
        )
        for name, limits in PROFILE_RANGES.items()
        if name.endswith("_mm")
    }


class _ShopProfileForm(MeasuredModelForm):
    class Meta:
        model = ShopProfile
        exclude: list[str] = []
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}


#: Every figure that advice rests on; lengths in any unit.
ShopProfileForm = type("ShopProfileForm", (_ShopProfileForm,), _length_fields())


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = User
        fields = ["first_name", "last_name", "unit"]
