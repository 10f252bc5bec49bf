"""Customers, the shop's settings and a person's preferences."""

import pytest
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command
from django.urls import reverse

from shop.models import Customer, ShopProfile
from tests.editing import carried, opened
from tests.factories import CustomerFactory, InstrumentFactory

pytestmark = pytest.mark.django_db


def test_a_customer_is_added_and_shown_with_instruments(at_counter):
    response = at_counter.post(reverse("customer-add"), {"name": "Žofie O’Hara <b>", "unit": "in"})
    person = Customer.objects.get()
    assert response["Location"] == reverse("customer", kwargs={"code": person.code})
    InstrumentFactory(tag="B-17", customer=person)
    page = at_counter.get(response["Location"]).content.decode()
    assert "Žofie O’Hara &lt;b&gt;" in page
    assert "B-17" in page


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"name": "", "unit": "mm"}, "Name is needed."),
        ({"name": "x" * 121, "unit": "mm"}, "at most 120 characters"),
        ({"name": "Ann", "unit": "ell"}, "Select a valid choice"),
        ({"name": "Ann", "unit": "mm", "email": "not-one"}, "valid email"),
    ],
)
def test_bad_customers_are_refused(at_counter, data, message):
    response = at_counter.post(reverse("customer-add"), data)
    assert response.status_code == 422
    assert message in response.content.decode()
    assert not Customer.objects.exists()


def test_customers_are_found_by_name_or_phone(at_counter):
    CustomerFactory(name="Ann Other", phone="01632 960 001")
    CustomerFactory(name="Bea Tate", phone="01632 960 002")
    page = at_counter.get(reverse("customers"), {"q": "960 001"}).content.decode()
    assert "Ann Other" in page
    assert "Bea Tate" not in page


def settings_data(**changes):
    profile = ShopProfile()
    fields = [f.name for f in ShopProfile._meta.fields if f.editable and f.name != "id"]
    return {name: getattr(profile, name) for name in fields} | changes


def test_the_owner_changes_the_shops_figures(at_desk):
    typed = settings_data(name="Test Bench", saddle_floor_mm=1.8)
    response = at_desk.post(reverse("settings"), carried(at_desk, reverse("settings")) | typed)
    assert response.status_code == 302
    assert ShopProfile.current().saddle_floor_mm == 1.8
    assert "Test Bench" in at_desk.get(reverse("today")).content.decode()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"saddle_floor_mm": 3.0}, "The saddle floor must not exceed"),
        ({"relief_low_mm": 0.5}, "“Relief from” must be less"),
        ({"reference_humidity_pct": 5}, "expected 10 or more."),
        ({"bridge_rise_u_mm": "nan"}, "is not a plain number"),
        ({"bridge_rise_u_mm": 0}, "expected 0.01 mm to 2.00 mm"),
    ],
)
def test_impossible_figures_are_refused(at_desk, changes, message):
    response = at_desk.post(reverse("settings"), settings_data(**changes))
    assert response.status_code == 422
    assert message in response.content.decode()
    assert not ShopProfile.objects.exists()


def test_a_person_chooses_the_unit(at_bench, tech):
    at_bench.post(reverse("preferences"), {"first_name": "Tea", "last_name": "", "unit": "in"})
    tech.refresh_from_db()
    assert tech.unit == "in"


class TestAddPerson:
    def add(self, monkeypatch, name, first, second=None, role="owner"):
        answers = iter([first, first if second is None else second])
        monkeypatch.setattr("getpass.getpass", lambda prompt: next(answers))
        call_command("add_person", name, role=role)

    def test_it_adds_a_person_who_can_sign_in(self, monkeypatch, client):
        self.add(monkeypatch, "ann", "sliding-spruce-88")
        assert client.login(username="ann", password="sliding-spruce-88")
        assert client.get(reverse("settings")).status_code == 200

    @pytest.mark.parametrize(
        ("first", "second", "message"),
        [("sliding-spruce-88", "other", "differ"), ("12345678", None, "too common")],
    )
    def test_it_refuses_a_bad_password(self, monkeypatch, first, second, message):
        with pytest.raises(CommandError, match=message):
            self.add(monkeypatch, "ann", first, second)
        assert not get_user_model().objects.exists()

    def test_it_refuses_a_name_that_is_taken(self, monkeypatch, tech):
        with pytest.raises(CommandError, match="already"):
            self.add(monkeypatch, "TECH", "sliding-spruce-88")


def test_a_customer_may_want_no_reminders(at_counter):
    customer = CustomerFactory()
    address = reverse("customer-edit", kwargs={"code": customer.code})
    at_counter.post(address, opened(at_counter, address) | {"no_reminders": "on"})
    customer.refresh_from_db()
    assert customer.no_reminders


def test_every_setting_stands_under_one_heading(at_desk):
    form = at_desk.get(reverse("settings")).context["form"]
    grouped = [field.name for _, fields in form.groups() for field in fields]
    assert sorted(grouped) == sorted(form.fields)
    assert [heading for heading, _ in form.groups()][:2] == ["The shop", "Its plan"]


def test_a_new_customer_starts_with_the_shops_unit(at_counter):
    ShopProfile.objects.update_or_create(pk=1, defaults={"unit": "in"})
    assert at_counter.get(reverse("customer-add")).context["form"]["unit"].value() == "in"
