from collections.abc import Iterator

from django import forms
from django.utils.functional import lazy
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from shop.fields import LengthField, MeasuredModelForm
from shop.models import PROFILE_RANGES, Customer, ShopProfile, User
from shop.named_forms import ModelForm


class CustomerForm(ModelForm):
    class Meta:
        model = Customer
        fields = ["name", "phone", "email", "address", "unit", "language", "no_reminders", "notes"]
        labels = {
            "name": gettext_lazy("Name"),
            "phone": gettext_lazy("Phone"),
            "address": gettext_lazy("Address"),
            "notes": gettext_lazy("Notes"),
        }
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }


def _label(words: object) -> str:
    """A figure's name as a box's label: the unit is typed, or the person's own."""
    return str(capfirst(str(words).removesuffix(" (mm)")))


_label_later = lazy(_label, str)


def _length_fields() -> dict[str, LengthField]:
    """One field for each of the shop's lengths, its label that of the model without the unit."""
    words = {field.name: field.verbose_name for field in ShopProfile._meta.fields}
    return {
        name: LengthField(
            label=_label_later(words[name]),
            possible=limits,
            required=True,
        )
        for name, limits in PROFILE_RANGES.items()
        if name.endswith("_mm")
    }


#: The shop's settings by what they are about; a setting in no group stands under the last heading.
GROUPS = {
    gettext_noop("The shop"): ("name", "address", "phone", "email", "unit", "language"),
    gettext_noop("Its plan"): (
        "currency", "shows_estimates", "resets_per_quarter", "link_days", "keep_contacts_years",
        "book_within_years", "watch_within_years",
    ),
    gettext_noop("Its climate"): (
        "reference_humidity_pct", "reference_temperature_c", "hygrometer_reads_high_pct",
    ),
    gettext_noop("Wanted action, steel strings"): (
        "steel_action_12_bass_mm", "steel_action_12_treble_mm", "steel_action_1_bass_mm",
        "steel_action_1_treble_mm",
    ),
    gettext_noop("Wanted action, nylon strings"): (
        "nylon_action_12_bass_mm", "nylon_action_12_treble_mm", "nylon_action_1_bass_mm",
        "nylon_action_1_treble_mm",
    ),
    gettext_noop("Saddle and relief"): (
        "saddle_floor_mm", "saddle_preferred_low_mm", "saddle_preferred_high_mm", "relief_low_mm",
        "relief_high_mm",
    ),
    gettext_noop("How far a reading may be off"): (
        "relief_u_mm", "action_1_u_mm", "action_12_u_mm", "saddle_u_mm", "bridge_rise_u_mm",
    ),
    gettext_noop("Else"): (),
}  # fmt: skip


class _ShopProfileForm(MeasuredModelForm):
    class Meta:
        model = ShopProfile
        exclude: list[str] = []
        labels = {
            "name": gettext_lazy("Name"),
            "phone": gettext_lazy("Phone"),
            "address": gettext_lazy("Address"),
            "currency": gettext_lazy("Currency"),
        }
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}

    def groups(self) -> Iterator[tuple[str, list[forms.BoundField]]]:
        """Headings with the boxes below them; every box stands under one."""
        left = {field.name: field for field in self}
        for heading, names in GROUPS.items():
            fields = [left.pop(name) for name in names] or list(left.values())
            if fields:
                yield _(heading), fields


#: Every figure that advice rests on; lengths in any unit.
ShopProfileForm = type("ShopProfileForm", (_ShopProfileForm,), _length_fields())


class PreferencesForm(ModelForm):
    class Meta:
        model = User
        fields = ["first_name", "last_name", "unit", "language"]
        labels = {"language": gettext_lazy("Language")}

    def save(self, commit: bool = True) -> User:
        """Write these fields alone: the rest was read before an owner may have closed the account."""
        user: User = self.instance
        if commit:
            user.save(update_fields=self._meta.fields)
        return user
