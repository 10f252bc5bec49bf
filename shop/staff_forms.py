from django import forms
from django.utils.translation import gettext_lazy

from shop.models import User
from shop.named_forms import Form
from shop.roles import COUNTER, OWNER, TECHNICIAN

ROLE_WORDS = (
    (TECHNICIAN, gettext_lazy("technician: measures and logs work")),
    (COUNTER, gettext_lazy("counter: looks, customers, bookings, reports")),
    (OWNER, gettext_lazy("owner: everything, with settings and staff")),
)


class ChangeStaffForm(Form):
    """A person's name, role and whether they can sign in."""

    first_name = forms.CharField(label=gettext_lazy("First name"), max_length=150, required=False)
    last_name = forms.CharField(label=gettext_lazy("Last name"), max_length=150, required=False)
    role = forms.ChoiceField(
        label=gettext_lazy("Role"), choices=ROLE_WORDS, widget=forms.RadioSelect
    )
    active = forms.BooleanField(label=gettext_lazy("Can sign in"), required=False, initial=True)


class AddStaffForm(ChangeStaffForm):
    username = forms.CharField(
        label=gettext_lazy("Name to sign in with"),
        max_length=150,
        validators=[User.username_validator],
    )
    field_order = ["username"]

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        del self.fields["active"]
