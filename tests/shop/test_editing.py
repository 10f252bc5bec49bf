"""Two people edit one record: the second sees both versions, and nothing is overwritten."""

import json

import pytest
from django.urls import reverse

from instruments.models import Instrument, NeckJoint
from measurements.acts import record_work, void
from measurements.models import Work
from shop.models import Customer, ShopProfile
from tests.conftest import signed_in
from tests.editing import as_sent, opened
from tests.factories import CustomerFactory, InstrumentFactory, ShopProfileFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def ann(db):
    return signed_in(UserFactory(username="ann", first_name="Ann", role="owner"))


@pytest.fixture
def bea(db):
    return signed_in(UserFactory(username="bea", first_name="Bea", role="technician"))


def edit_of(record) -> str:
    if isinstance(record, Customer):
        return reverse("customer-edit", kwargs={"code": record.code})
    return reverse("instrument-edit", kwargs={"tag": record.tag})


def page_of(response, status=409) -> str:
    assert response.status_code == status, response.content.decode()
    return response.content.decode()


class TestOneField:
    """Both changed the phone number; Ann saved first."""

    @pytest.fixture
    def customer(self):
        return CustomerFactory(name="Cal Dray", phone="1", email="cal@example.com")

    @pytest.fixture
    def refused(self, ann, bea, customer):
        theirs, mine = opened(ann, edit_of(customer)), opened(bea, edit_of(customer))
        assert ann.post(edit_of(customer), theirs | {"phone": "22"}).status_code == 302
        return page_of(bea.post(edit_of(customer), mine | {"phone": "333"}))

    def test_the_second_is_shown_both_versions_and_who_was_first(self, refused, customer):
        customer.refresh_from_db()
        assert customer.phone == "22"
        assert "Two versions of Phone" in refused
        assert "now on record: <strong>22</strong>" in refused
        assert "changed by Ann at" in refused
        assert "as in the box: <strong>333</strong>" in refused
        assert as_sent(refused)["phone"] == ["333"]

    @pytest.mark.parametrize(("choice", "kept"), [("mine", "333"), ("theirs", "22")])
    def test_the_choice_is_saved(self, bea, refused, customer, choice, kept):
        answer = as_sent(refused) | {"keep-phone": choice}
        assert bea.post(edit_of(customer), answer).status_code == 302
        customer.refresh_from_db()
        assert customer.phone == kept

    def test_without_a_choice_it_is_asked_again(self, bea, refused, customer):
        again = page_of(bea.post(edit_of(customer), as_sent(refused)))
        assert "Two versions of Phone" in again
        assert as_sent(again)["phone"] == ["333"]
        customer.refresh_from_db()
        assert customer.phone == "22"

    def test_another_mistake_does_not_lose_the_question(self, bea, refused, customer):
        page = page_of(bea.post(edit_of(customer), as_sent(refused) | {"email": "no"}), 422)
        assert "Two versions of Phone" in page
        mended = as_sent(page) | {"email": "new@example.com", "keep-phone": "theirs"}
        assert bea.post(edit_of(customer), mended).status_code == 302
        customer.refresh_from_db()
        assert (customer.phone, customer.email) == ("22", "new@example.com")

    def test_a_third_person_meanwhile_is_told_of_too(self, ann, bea, refused, customer):
        later = opened(ann, edit_of(customer)) | {"phone": "4444"}
        assert ann.post(edit_of(customer), later).status_code == 302
        page = page_of(bea.post(edit_of(customer), as_sent(refused) | {"keep-phone": "mine"}))
        assert "now on record: <strong>4444</strong>" in page


class TestSeveralFields:
    def test_what_only_the_other_changed_is_taken_over(self, ann, bea):
        customer = CustomerFactory(name="Cal Dray", phone="1", notes="x", unit="mm")
        theirs, mine = opened(ann, edit_of(customer)), opened(bea, edit_of(customer))
        ann.post(edit_of(customer), theirs | {"phone": "22", "unit": "in", "notes": "hers"})
        page = page_of(bea.post(edit_of(customer), mine | {"notes": "mine", "address": "Quay 1"}))
        assert "Two versions of Notes" in page
        assert "Two versions of Phone" not in page
        assert "as they left it now: Phone, Unit on reports" in page
        again = as_sent(page)
        assert (again["phone"], again["unit"], again["address"]) == (["22"], ["in"], ["Quay 1"])
        assert bea.post(edit_of(customer), again | {"keep-notes": "mine"}).status_code == 302
        customer.refresh_from_db()
        kept = (customer.phone, customer.unit, customer.notes, customer.address)
        assert kept == ("22", "in", "mine", "Quay 1")

    def test_the_same_change_twice_is_no_question(self, ann, bea):
        customer = CustomerFactory(phone="1")
        theirs, mine = opened(ann, edit_of(customer)), opened(bea, edit_of(customer))
        ann.post(edit_of(customer), theirs | {"phone": "22"})
        page = page_of(
            bea.post(edit_of(customer), mine | {"phone": "22", "email": "c@example.com"})
        )
        assert "Two versions" not in page
        assert bea.post(edit_of(customer), as_sent(page)).status_code == 302

    def test_a_box_ticked_by_one_and_not_by_the_other(self, ann, bea):
        instrument = InstrumentFactory(built_about=False)
        theirs, mine = opened(ann, edit_of(instrument)), opened(bea, edit_of(instrument))
        ann.post(edit_of(instrument), theirs | {"built_about": "on"})
        page = page_of(bea.post(edit_of(instrument), mine | {"serial": "7"}))
        assert as_sent(page)["built_about"] == ["on"]
        assert bea.post(edit_of(instrument), as_sent(page)).status_code == 302
        instrument.refresh_from_db()
        assert (instrument.built_about, instrument.serial) == (True, "7")

    def test_lengths_and_customers_are_shown_as_people_read_them(self, ann, bea):
        instrument = InstrumentFactory(scale_length_mm=645.2, customer=CustomerFactory(name="Old"))
        new, other = CustomerFactory(name="New <b>"), CustomerFactory(name="Other")
        theirs, mine = opened(ann, edit_of(instrument)), opened(bea, edit_of(instrument))
        ann.post(edit_of(instrument), theirs | {"scale_length_mm": "25.5 in", "customer": new.code})
        page = page_of(
            bea.post(edit_of(instrument), mine | {"scale_length_mm": "650", "customer": other.code})
        )
        assert "now on record: <strong>647.70 mm</strong>" in page
        assert "as in the box: <strong>650.00 mm</strong>" in page
        assert "now on record: <strong>New &lt;b&gt;</strong>" in page
        assert "as in the box: <strong>Other</strong>" in page


class TestUnchanged:
    @pytest.mark.parametrize(
        "figures",
        [
            {},
            {"scale_length_mm": 645.123456789, "set_frets": [1, 7, 12], "notes": "a\nb\n"},
            {"joint__tilting": True, "joint__tilt_now_deg": 1e-17, "joint__shims_mm": [0.51234567]},
        ],
    )
    def test_an_unchanged_form_changes_nothing(self, bea, figures):
        instrument = InstrumentFactory(**figures)
        before = Instrument.objects.filter(pk=instrument.pk).values().get()
        joint = NeckJoint.objects.filter(instrument=instrument).values().get()
        rows = Instrument.history.count(), NeckJoint.history.count()
        answer = bea.post(edit_of(instrument), opened(bea, edit_of(instrument)), follow=True)
        assert "Nothing was changed" in page_of(answer, 200)
        assert Instrument.objects.filter(pk=instrument.pk).values().get() == before
        assert NeckJoint.objects.filter(instrument=instrument).values().get() == joint
        assert (Instrument.history.count(), NeckJoint.history.count()) == rows

    def test_one_change_is_one_version_and_one_row_of_history(self, bea):
        instrument = InstrumentFactory()
        rows = Instrument.history.count(), NeckJoint.history.count()
        sent = opened(bea, edit_of(instrument)) | {"serial": "99"}
        assert bea.post(edit_of(instrument), sent).status_code == 302
        assert (Instrument.history.count(), NeckJoint.history.count()) == (rows[0] + 1, rows[1])
        instrument.refresh_from_db()
        assert instrument.version == 1
        assert instrument.history.first().version == 1

    def test_figures_that_were_not_touched_keep_all_their_places(self, bea):
        instrument = InstrumentFactory(scale_length_mm=645.123456789)
        sent = opened(bea, edit_of(instrument)) | {"serial": "99"}
        bea.post(edit_of(instrument), sent)
        instrument.refresh_from_db()
        assert instrument.scale_length_mm == 645.123456789


class TestTheJoint:
    def turn(self, instrument, by=None):
        return record_work(
            instrument=instrument,
            kind="joint",
            done_at="2026-11-02T10:00Z",
            by=by,
            turns=0.5,
            tilt_to_deg=0.4,
        )

    @pytest.fixture
    def instrument(self):
        return InstrumentFactory(joint__tilting=True, joint__tilt_now_deg=0.0, serial="1")

    def test_a_turn_logged_meanwhile_is_not_put_back(self, bea, instrument):
        mine = opened(bea, edit_of(instrument))
        self.turn(instrument)
        page = page_of(bea.post(edit_of(instrument), mine | {"serial": "2"}))
        assert "as they left it now: Tilt now" in page
        assert bea.post(edit_of(instrument), as_sent(page)).status_code == 302
        instrument.refresh_from_db()
        assert (instrument.joint.tilt_now_deg, instrument.serial) == (0.4, "2")

    def test_the_counter_who_may_not_set_the_joint_need_not_look_again(self, instrument):
        counter = signed_in(UserFactory(role="counter"))
        mine = opened(counter, edit_of(instrument))
        self.turn(instrument)
        assert counter.post(edit_of(instrument), mine | {"serial": "2"}).status_code == 302
        instrument.refresh_from_db()
        assert (instrument.joint.tilt_now_deg, instrument.serial) == (0.4, "2")
        assert instrument.version == 2

    def test_logging_and_voiding_a_turn_count_as_edits(self, instrument, tech):
        self.turn(instrument, by=tech)
        void(Work.objects.get(), by=tech, reason="wrong bolt")
        instrument.refresh_from_db()
        assert instrument.version == 2


class TestSettings:
    def test_two_owners(self, ann, owner):
        ShopProfileFactory(saddle_floor_mm=1.6, relief_u_mm=0.03)
        other = signed_in(owner)
        theirs, mine = opened(ann, reverse("settings")), opened(other, reverse("settings"))
        ann.post(reverse("settings"), theirs | {"saddle_floor_mm": "1.8"})
        page = page_of(
            other.post(reverse("settings"), mine | {"saddle_floor_mm": "1.7", "phone": "5"})
        )
        assert "Two versions of Saddle floor" in page
        assert ShopProfile.current().saddle_floor_mm == 1.8
        answer = as_sent(page) | {"keep-saddle_floor_mm": "theirs"}
        assert other.post(reverse("settings"), answer).status_code == 302
        assert (ShopProfile.current().saddle_floor_mm, ShopProfile.current().phone) == (1.8, "5")

    def test_two_owners_of_a_shop_that_nobody_has_set_up(self, ann, owner):
        other = signed_in(owner)
        theirs, mine = opened(ann, reverse("settings")), opened(other, reverse("settings"))
        assert ann.post(reverse("settings"), theirs | {"name": "Hers"}).status_code == 302
        page_of(other.post(reverse("settings"), mine | {"name": "Mine"}))
        assert ShopProfile.current().name == "Hers"


class TestOddForms:
    @pytest.mark.parametrize(
        "damage",
        [
            {"seen": "", "version": ""},
            {"seen": "[1]"},
            {"seen": "{", "version": "x"},
            {"seen": json.dumps({"phone": {"a": [1]}}), "version": "-5"},
            {"seen": "null", "version": "9" * 40},
        ],
    )
    def test_a_form_that_does_not_say_what_it_showed_overwrites_nothing(self, bea, damage):
        customer = CustomerFactory(phone="1")
        sent = opened(bea, edit_of(customer)) | {"phone": "2"} | damage
        page = page_of(bea.post(edit_of(customer), sent))
        assert "Two versions of Phone" in page
        assert (
            bea.post(edit_of(customer), as_sent(page) | {"keep-phone": "mine"}).status_code == 302
        )

    def test_choices_of_fields_that_are_none_are_passed_over(self, bea):
        customer = CustomerFactory(phone="1")
        sent = opened(bea, edit_of(customer)) | {"asked": ["code", "pk"], "keep-code": "theirs"}
        assert bea.post(edit_of(customer), sent | {"phone": "2"}).status_code == 302
        customer.refresh_from_db()
        assert customer.phone == "2"
