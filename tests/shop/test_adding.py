"""A customer or an instrument is added once, however often its form is sent."""

import pytest
from django.urls import reverse

from instruments.models import Instrument
from shop import adding
from shop.models import Customer
from tests.editing import opened
from tests.factories import CustomerFactory, InstrumentFactory

pytestmark = pytest.mark.django_db

#: What is typed into each form, and what is typed into it after a record was added with it.
FORMS = [
    pytest.param(
        "customer-add",
        Customer,
        {"name": " Ann  Other ", "address": "1 Row\r\nTown", "no_reminders": "on"},
        {"name": "Bea Tate"},
        id="customer",
    ),
    pytest.param(
        "instrument-add",
        Instrument,
        {"maker": "Tarnbeck", "scale_length_mm": "25 11/32 in", "set_frets": "12 1",
         "joint-shims_mm": "1 mm; 0.5 mm", "joint-kind": "shimmed", "fret_count": "21"},
        {"tag": "OTHER-1", "maker": "Orchard"},
        id="instrument",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "model", "typed", "_other"), FORMS)
def test_the_same_form_sent_twice_adds_one_and_leads_to_it_both_times(
    at_counter, name, model, typed, _other
):
    form = opened(at_counter, reverse(name)) | typed
    answers = [at_counter.post(reverse(name), form) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert answers[0]["Location"] == answers[1]["Location"]
    assert model.objects.count() == 1
    assert str(model.objects.get().form_uuid) == form["uuid"][0]


@pytest.mark.parametrize(("name", "model", "typed", "other"), FORMS)
def test_a_form_changed_after_it_was_saved_is_not_taken_for_a_repeat(
    at_counter, name, model, typed, other
):
    form = opened(at_counter, reverse(name)) | typed
    saved = at_counter.post(reverse(name), form)
    refused = at_counter.post(reverse(name), form | other)
    assert refused.status_code == 409
    page = refused.text
    assert f'href="{saved["Location"]}"' in page
    assert "says something else now" in page
    assert all(f'value="{words}"' in page for words in other.values())
    assert model.objects.count() == 1
    number = refused.context["edit"].form_uuid
    assert number not in ("", form["uuid"][0])
    again = at_counter.post(reverse(name), form | other | {"uuid": number})
    assert again.status_code == 302
    assert again["Location"] != saved["Location"]
    assert model.objects.count() == 2


def test_what_only_the_bench_may_change_later_is_not_lost_either(at_counter):
    typed = {"maker": "Tarnbeck", "joint-kind": "tilting"}
    form = opened(at_counter, reverse("instrument-add")) | typed
    at_counter.post(reverse("instrument-add"), form | {"joint-tilt_now_deg": "0.5"})
    refused = at_counter.post(reverse("instrument-add"), form | {"joint-tilt_now_deg": "0.7"})
    assert refused.status_code == 409
    assert 'value="0.7"' in refused.text
    assert Instrument.objects.get().joint.tilt_now_deg == 0.5


@pytest.mark.parametrize(("name", "model", "typed", "_other"), FORMS)
def test_two_forms_with_the_same_words_add_two(at_counter, name, model, typed, _other):
    for _ in range(2):
        at_counter.post(reverse(name), opened(at_counter, reverse(name)) | typed)
    assert model.objects.count() == 2


def test_a_refused_form_keeps_its_number(at_counter):
    form = opened(at_counter, reverse("customer-add"))
    refused = at_counter.post(reverse("customer-add"), form | {"name": ""})
    assert refused.status_code == 422
    assert refused.context["edit"].form_uuid == form["uuid"][0]


@pytest.mark.parametrize("number", ["", "not a number", None])
def test_without_a_number_a_form_is_saved_as_ever(at_counter, number):
    form = {"name": "Ann", "unit": "mm"} | ({} if number is None else {"uuid": number})
    assert at_counter.post(reverse("customer-add"), form).status_code == 302
    assert Customer.objects.get().form_uuid is None


def test_of_two_sent_at_once_the_later_one_is_answered_with_the_first(at_counter, monkeypatch):
    """Both look before either has saved; the database lets one of them in."""
    form = opened(at_counter, reverse("customer-add")) | {"name": "Ann"}
    at_counter.post(reverse("customer-add"), form)
    first = Customer.objects.get()
    looks = iter([None, first])
    monkeypatch.setattr(adding, "_added_by", lambda *_: next(looks))
    answer = at_counter.post(reverse("customer-add"), form)
    assert answer["Location"] == reverse("customer", kwargs={"code": first.code})
    assert Customer.objects.count() == 1


def test_a_tag_that_another_has_is_refused_as_ever(at_counter):
    taken = InstrumentFactory(tag="TAKEN-1")
    form = opened(at_counter, reverse("instrument-add")) | {"tag": taken.tag, "maker": "Tarnbeck"}
    answer = at_counter.post(reverse("instrument-add"), form)
    assert answer.status_code == 422
    assert "Another instrument already has this tag" in answer.text


def test_only_the_form_of_a_new_record_has_a_number(at_counter):
    assert CustomerFactory().form_uuid is None
    assert opened(at_counter, reverse("customer-add"))["uuid"]
    edit = reverse("customer-edit", kwargs={"code": Customer.objects.get().code})
    assert "uuid" not in opened(at_counter, edit)
