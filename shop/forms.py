from django import forms

from shop.models import Customer, ShopProfile, User


class CustomerForm(forms.ModelForm):
    class Meta:
        model = Customer
        fields = ["name", "phone", "email", "address", "unit", "notes"]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }


class ShopProfileForm(forms.ModelForm):
    class Meta:
        model = ShopProfile
        exclude: list[str] = []
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = User
        fields = ["first_name", "last_name", "unit"]
