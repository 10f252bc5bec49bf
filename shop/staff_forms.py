from django import forms

from shop.models import User
from shop.roles import COUNTER, OWNER, TECHNICIAN

ROLE_WORDS = (
    (TECHNICIAN, "technician: measures and logs work"),
    (COUNTER, "counter: looks, customers, bookings, reports"),
    (OWNER, "owner: everything, with settings and staff"),
)


class ChangeStaffForm(forms.Form):
    """A person's name, role and whether they can sign in."""

    first_name = forms.CharField(label="First name", max_length=150, required=False)
    last_name = forms.CharField(label="Last name", max_length=150, required=False)
    role = forms.ChoiceField(label="Role", choices=ROLE_WORDS, widget=forms.RadioSelect)
    active = forms.BooleanField(label="Can sign in", required=False, initial=True)


class AddStaffForm(ChangeStaffForm):
    username = forms.CharField(
        label="Name to sign in with", max_length=150, validators=[User.username_validator]
    )
    field_order = ["username"]

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        del self.fields["active"]
