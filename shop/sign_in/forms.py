"""Forms of signing in, of a person's password and of the second factor."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.models import User
from shop.named_forms import Form, NamesWhatIsNeeded

LONGEST_CODE = 40


class SignInForm(NamesWhatIsNeeded, AuthenticationForm):
    def confirm_login_allowed(self, user: Any) -> None:
        """Called once the password was right, so this tells a stranger nothing."""
        super().confirm_login_allowed(user)
        until = user.first_password_until
        if until is not None and until < timezone.now():
            raise ValidationError(
                _("This first password has run out. Ask the shop's owner to make a new one."),
                code="run_out",
            )


class ChangePasswordForm(NamesWhatIsNeeded, PasswordChangeForm):
    """The old password and a new one, which ends the time of a first password."""

    user: User
    #: Whether the old password was wrong, and not only the new one.
    old_was_wrong = False

    def clean_old_password(self) -> str:
        try:
            return super().clean_old_password()
        except ValidationError:
            self.old_was_wrong = True
            raise

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        new = data.get("new_password1")
        if new and new == data.get("old_password"):
            same = _("The new password is the old one: choose another.")
            self.add_error("new_password1", same)
        return data

    @transaction.atomic
    def save(self, commit: bool = True) -> Any:
        """Write the password alone: an account that was closed in the meantime stays closed.

        Raises ``ValidationError`` where the password is no longer the one that was asked for as the old
        one: an owner may have made a new first password in the same moment.
        """
        stored = User.objects.select_for_update().values_list("password", flat=True)
        if stored.get(pk=self.user.pk) != self.user.password:
            raise ValidationError(
                _(
                    "Your password was changed elsewhere in this moment, and yours here was not "
                    "saved. Sign in again with the newer one; if you do not know it, ask the shop's "
                    "owner."
                ),
                code="moved",
            )
        self.user.first_password_until = None
        super().save(commit=False)
        if commit:
            self.user.save(update_fields=["password", "first_password_until"])
        return self.user


class CodeForm(Form):
    """A code of the second factor, or one of the backup codes."""

    code = forms.CharField(
        label=gettext_lazy("Code"),
        max_length=LONGEST_CODE,
        widget=forms.TextInput(
            attrs={
                "autocomplete": "one-time-code",
                "autocapitalize": "characters",
                "spellcheck": "false",
            }
        ),
    )


class PasswordAgainForm(Form):
    password = forms.CharField(
        label=gettext_lazy("Your password"),
        max_length=4096,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class ProofForm(Form):
    """What shows that it is still the person who signed in: the password, or a code."""

    proof = forms.CharField(
        label=gettext_lazy("Your password, or a code"),
        max_length=4096,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
