"""Who works here: adding people, their roles, closing an account. The shop always keeps an owner."""

import secrets
from datetime import timedelta

from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from shop.models import CODE_ALPHABET, ShopProfile, User
from shop.roles import OWNER, ROLES

#: Characters of a first password: 31^16 of them, read aloud without mistakes.
PASSWORD_LENGTH = 16
#: Until then a first password lets its holder in, to change it and to do nothing else.
FIRST_PASSWORD_LASTS = timedelta(days=7)


def first_password() -> str:
    """A random password to be handed over once and changed by its holder."""
    letters = "".join(secrets.choice(CODE_ALPHABET) for _ in range(PASSWORD_LENGTH))
    return "-".join(letters[place : place + 4] for place in range(0, PASSWORD_LENGTH, 4))


@transaction.atomic
def add_staff(*, username: str, role: str, first_name: str = "", last_name: str = "") -> str:
    """Add a person and return the first password, which is kept nowhere else."""
    if User.objects.filter(username__iexact=username).exists():
        taken = _("There is a person named %(name)s already.") % {"name": username}
        raise ValidationError({"username": taken})
    password = first_password()
    unit = ShopProfile.current().unit
    person = User(username=username, first_name=first_name, last_name=last_name, unit=unit)
    person.first_password_until = timezone.now() + FIRST_PASSWORD_LASTS
    person.set_password(password)
    person.full_clean()
    person.save()
    _give(person, role)
    return password


@transaction.atomic
def change_staff(
    person: User, *, role: str, active: bool, first_name: str = "", last_name: str = ""
) -> None:
    """Change a role or close an account; raises ``ValidationError`` for the last owner's."""
    owners = _owners()
    if person.pk in owners and (role != OWNER or not active) and len(owners) == 1:
        raise ValidationError(
            _("%(name)s is the only owner: give somebody else the role of owner first.")
            % {"name": person}
        )
    person.first_name, person.last_name, person.is_active = first_name, last_name, active
    person.full_clean(exclude=["password"])
    # No more than that: meanwhile the person may have changed the password, or signed out everywhere.
    person.save(update_fields=["first_name", "last_name", "is_active"])
    _give(person, role)


def mark_of_password(person: User) -> str:
    """Tells one password of a person from another, and nothing else about it."""
    return salted_hmac("shop.staff.password", person.password, algorithm="sha256").hexdigest()


@transaction.atomic
def new_password(person: User, *, seen: str) -> str:
    """Replace a forgotten password by a first one; whoever is signed in with the old one is signed out.

    ``seen`` is the mark of the password that the owner was shown as the one to replace. Raises
    ``ValidationError`` where it has been changed since: its holder may have remembered it, or another
    owner may have handed over a first password already.
    """
    now = User.objects.select_for_update().get(pk=person.pk)
    if not constant_time_compare(seen, mark_of_password(now)):
        raise ValidationError(
            _(
                "The password of %(name)s was changed since this page was opened, so it was left "
                "alone. If it is forgotten all the same, make a new one now."
            )
            % {"name": person}
        )
    password = first_password()
    now.set_password(password)
    now.first_password_until = timezone.now() + FIRST_PASSWORD_LASTS
    now.save(update_fields=["password", "first_password_until"])
    return password


def _owners() -> set[int]:
    """Keys of the owners who can sign in, locked until the act is done."""
    found = User.objects.select_for_update().filter(is_active=True, groups__name=OWNER)
    return set(found.values_list("pk", flat=True))


def _give(person: User, role: str) -> None:
    if role not in ROLES:
        unknown = _("There is no role %(role)s; choose of %(roles)s.") % {
            "role": repr(role),
            "roles": ", ".join(ROLES),
        }
        raise ValidationError({"role": unknown})
    person.groups.set(Group.objects.filter(name=role))
