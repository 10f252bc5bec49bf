"""The owner adds people and closes accounts; the shop always keeps an owner."""

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from shop.forms import PreferencesForm
from shop.models import ShopProfile, User
from shop.roles import COUNTER, OWNER, roles_of
from shop.sign_in.forms import ChangePasswordForm
from shop.staff import add_staff, change_staff, mark_of_password, new_password
from tests.conftest import signed_in
from tests.factories import PASSWORD, UserFactory

pytestmark = pytest.mark.django_db


def shown_password(response) -> str:
    return response.content.decode().split("<code>")[1].split("</code>")[0]


def test_a_person_added_can_sign_in_with_the_password_shown_once(at_desk):
    data = {"username": "ilse", "role": COUNTER, "first_name": "Ilse"}
    response = at_desk.post(reverse("staff-add"), data)
    assert response["Cache-Control"] == "no-store"
    password = shown_password(response)
    assert len(password.replace("-", "")) == 16
    browser = Client()
    assert browser.login(username="ilse", password=password)
    assert roles_of(User.objects.get(username="ilse")) == {COUNTER}
    assert password not in at_desk.get(reverse("staff")).content.decode()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"username": "TECH", "role": COUNTER}, "a person named TECH already"),
        ({"username": "x y", "role": COUNTER}, "valid username"),
        ({"username": "new", "role": "king"}, "Select a valid choice"),
        ({}, "required"),
    ],
)
def test_what_cannot_be_added_is_said_and_kept(at_desk, data, words):
    UserFactory(username="tech")
    response = at_desk.post(reverse("staff-add"), data)
    assert response.status_code == 422
    assert words in response.content.decode()


def test_the_only_owner_stays_owner(at_desk, owner):
    address = reverse("staff-edit", kwargs={"number": owner.pk})
    response = at_desk.post(address, {"role": COUNTER, "active": "on"})
    assert response.status_code == 422
    assert "is the only owner" in response.content.decode()
    assert at_desk.post(address, {"role": OWNER}).status_code == 422
    UserFactory(role=OWNER)
    assert at_desk.post(address, {"role": COUNTER, "active": "on"}).status_code == 302
    assert at_desk.get(reverse("staff")).status_code == 403


def test_a_closed_account_opens_nothing_any_more(owner):
    person = UserFactory()
    browser = signed_in(person)
    assert browser.get(reverse("today")).status_code == 200
    change_staff(person, role=COUNTER, active=False)
    assert browser.get(reverse("today")).status_code == 302


NEW = "rosette-und-steg-7"


@pytest.mark.parametrize(
    "form",
    [
        lambda user: PreferencesForm({"first_name": "A", "unit": "mm"}, instance=user),
        lambda user: ChangePasswordForm(
            user, {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
        ),
    ],
)
def test_what_a_person_saves_while_the_account_is_closed_does_not_open_it(owner, form):
    person = UserFactory()
    in_flight = User.objects.get(pk=person.pk)
    change_staff(person, role=COUNTER, active=False)
    saving = form(in_flight)
    assert saving.is_valid(), saving.errors
    saving.save()
    stored = User.objects.get(pk=person.pk)
    assert not stored.is_active
    assert stored.first_name == "A" or stored.check_password(NEW)


def test_an_owner_who_changes_a_name_puts_no_old_password_back(owner):
    shown = UserFactory()
    now = User.objects.get(pk=shown.pk)
    now.set_password(NEW)
    now.session_epoch = 3
    now.save()
    change_staff(shown, role=COUNTER, active=True, first_name="Ilse")
    stored = User.objects.get(pk=shown.pk)
    assert stored.first_name == "Ilse"
    assert stored.check_password(NEW)
    assert stored.session_epoch == 3


def test_a_new_password_signs_out_whoever_had_the_old(owner):
    person = UserFactory()
    browser = signed_in(person)
    password = new_password(person, seen=mark_of_password(person))
    assert browser.get(reverse("today")).status_code == 302
    assert Client().login(username=person.username, password=password)


def change_own(user):
    """The form to change one's password, as checked a moment before it is saved."""
    form = ChangePasswordForm(
        user, {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    )
    assert form.is_valid(), form.errors
    return form


def test_a_first_password_made_while_its_holder_changes_the_old_one_stays(owner):
    person = UserFactory()
    saving = change_own(User.objects.get(pk=person.pk))
    first = new_password(person, seen=mark_of_password(person))
    with pytest.raises(ValidationError, match="changed elsewhere"):
        saving.save()
    stored = User.objects.get(pk=person.pk)
    assert stored.check_password(first)
    assert stored.first_password_until is not None


def test_the_holder_is_told_so_on_the_page(tech, owner, monkeypatch):
    browser, checked = signed_in(tech), ChangePasswordForm.full_clean

    def and_then_the_owner(form):
        checked(form)
        new_password(tech, seen=mark_of_password(tech))

    monkeypatch.setattr(ChangePasswordForm, "full_clean", and_then_the_owner)
    data = {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    answer = browser.post(reverse("password"), data)
    assert answer.status_code == 422
    assert "changed elsewhere" in answer.content.decode()
    monkeypatch.undo()
    assert browser.get(reverse("today")).status_code == 302


def test_a_password_that_its_holder_changed_meanwhile_is_not_replaced(at_desk):
    person = UserFactory()
    page = at_desk.get(reverse("staff-edit", kwargs={"number": person.pk})).content.decode()
    seen = page.split('name="seen" value="')[1].split('"')[0]
    change_own(User.objects.get(pk=person.pk)).save()
    address = reverse("staff-password", kwargs={"number": person.pk})
    for stale in (seen, "", "é"):
        answer = at_desk.post(address, {"seen": stale}, follow=True).content.decode()
        assert "was changed since this page was opened" in answer
        assert User.objects.get(pk=person.pk).check_password(NEW)
    again = answer.split('name="seen" value="')[1].split('"')[0]
    assert shown_password(at_desk.post(address, {"seen": again}))
    assert not User.objects.get(pk=person.pk).check_password(NEW)


def test_first_passwords_differ():
    passwords = {add_staff(username=f"p{number}", role=COUNTER) for number in range(5)}
    assert len(passwords) == 5


def test_a_role_that_does_not_exist_is_refused():
    with pytest.raises(ValidationError, match="no role 'king'"):
        add_staff(username="x", role="king")
    assert not User.objects.filter(username="x").exists()


def test_a_new_person_starts_with_the_shops_unit():
    ShopProfile.objects.create(pk=1, unit="in")
    add_staff(username="imperial", role=COUNTER)
    assert User.objects.get(username="imperial").unit == "in"
