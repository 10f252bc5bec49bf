"""Whom to tell, the letters, and that nobody is told twice."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone, translation

from measurements.models import Channel, Contact, State
from measurements.plan.acts import book, send
from measurements.plan.calls import BOOK, OVERDUE, REMEASURE, UNSEEN, calls, reason_of
from measurements.plan.letters import letter_for
from shop.models import ShopProfile
from tests.factories import BookingFactory, CheckInFactory, OutlookFactory

pytestmark = pytest.mark.django_db
LONG_AGO = datetime(2024, 3, 1, 12, tzinfo=UTC)
YESTERDAY = timezone.now() - timedelta(days=1)


def due(tag="DUE", **facts):
    usual = {"state": State.OVERDUE, "last_measured_at": LONG_AGO}
    if "instrument__customer" not in facts:
        usual["instrument__customer__email"] = "someone@example.com"
    facts = usual | facts
    return OutlookFactory(instrument__tag=tag, **facts).instrument


@pytest.mark.parametrize(
    ("facts", "reason"),
    [
        ({"state": State.OVERDUE}, OVERDUE),
        ({"state": State.BOOK, "remeasure": True}, BOOK),
        ({"state": State.ROOM, "remeasure": True}, REMEASURE),
        ({"state": State.WATCH, "last_measured_at": LONG_AGO}, UNSEEN),
        ({"state": State.WATCH, "last_measured_at": YESTERDAY}, None),
        ({"state": State.ROOM, "last_measured_at": LONG_AGO}, None),
        ({"state": State.UNKNOWN}, None),
        ({"state": State.OVERDUE, "out_of_date": True}, None),
    ],
)
def test_the_most_pressing_reason(facts, reason):
    assert reason_of(OutlookFactory.build(instrument=None, **facts)) == reason


def test_the_most_pressing_come_first_and_only_those_with_a_customer():
    due("SEEN", state=State.WATCH)
    due("NEAR", state=State.BOOK)
    due("DUE")
    due("NOBODY", instrument__customer=None)
    assert [call.instrument.tag for call in calls()] == ["DUE", "NEAR", "SEEN"]


def test_what_is_here_or_booked_is_left_out(owner):
    here, booked, cancelled = due("HERE"), due("BOOKED"), due("CANCELLED")
    CheckInFactory(instrument=here, measured_at=timezone.now())
    BookingFactory(instrument=booked, day=timezone.localdate() + timedelta(days=5))
    BookingFactory(
        instrument=cancelled, day=timezone.localdate() + timedelta(days=5),
        voided_at=timezone.now(), voided_by=owner, void_reason="ill",
    )  # fmt: skip
    assert [call.instrument.tag for call in calls()] == ["CANCELLED"]


def test_told_once_for_the_same_readings_and_again_after_new_ones(owner):
    instrument = due()
    send(calls()[0], by=owner)
    assert list(calls()) == []
    instrument.outlook.last_measured_at = YESTERDAY
    instrument.outlook.save()
    assert len(calls()) == 1


class TestLetters:
    def test_it_says_why_and_when_in_the_customers_unit(self, owner):
        due(instrument__customer__name="Mara Garrow", instrument__customer__unit="in")
        letter = letter_for(calls()[0], ShopProfile(name="Test Bench", phone="01 23"))
        assert letter.subject.startswith("A neck reset is due")
        assert "Dear Mara Garrow," in letter.body
        assert "between 2031 and 2047" in letter.body
        assert "0.052 in" in letter.body
        assert "You reach us at 01 23." in letter.body
        assert "mm" not in letter.body

    def test_figures_are_in_the_customers_language(self, owner):
        due(instrument__customer__language="de")
        letter = letter_for(calls()[0], ShopProfile(name="Test Bench"))
        assert letter.language == "de"
        assert "1,33 mm" in letter.body
        assert "1.33" not in letter.body

    def test_the_shops_language_where_the_customer_has_none(self, owner):
        due()
        shop = ShopProfile(name="Test Bench", language="de")
        assert letter_for(calls()[0], shop).language == "de"

    def test_its_words_are_german_to_a_german_customer(self, owner):
        due(instrument__customer__name="Jonas Weber", instrument__customer__language="de")
        letter = letter_for(calls()[0], ShopProfile(name="Test Bench", phone="01 23"))
        assert letter.subject.startswith("Der Hals muss neu gesetzt werden: ")
        assert letter.body.startswith("Guten Tag Jonas Weber,")
        assert "zwischen 2031 und 2047" in letter.body
        assert "Sie erreichen uns unter 01 23." in letter.body
        assert letter.body.endswith("Mit freundlichen Grüßen\nTest Bench")

    def test_english_to_an_english_customer_whoever_looks(self, owner):
        due(instrument__customer__name="Mara Garrow")
        with translation.override("de"):
            letter = letter_for(calls()[0], ShopProfile(name="Test Bench"))
        assert letter.language == "en-GB"
        assert letter.body.startswith("Dear Mara Garrow,")
        assert "1.33 mm" in letter.body

    def test_nothing_in_a_name_makes_a_header(self, owner):
        due(instrument__maker="X\r\nBcc: all@example.com", instrument__customer__name="A\nB")
        send(calls()[0], by=owner)
        (sent,) = mail.outbox
        assert "\n" not in sent.subject
        assert sent.recipients() == [sent.to[0]]
        assert "Dear A B," in sent.body

    def test_it_goes_once_and_is_on_record(self, owner):
        due(instrument__customer__email="mara@example.com")
        call = calls()[0]
        contact = send(call, by=owner)
        with pytest.raises(ValidationError, match="told this about DUE already"):
            send(call, by=owner)
        (sent,) = mail.outbox
        assert sent.to == ["mara@example.com"]
        assert (contact.channel, contact.to, contact.words) == ("email", sent.to[0], sent.body)

    def test_those_who_want_none_get_none(self, owner):
        due(instrument__customer__no_reminders=True)
        with pytest.raises(ValidationError, match="does not want"):
            send(calls()[0], by=owner)
        assert mail.outbox == []
        assert not Contact.objects.exists()

    def test_without_an_address_it_says_so(self, owner):
        due(instrument__customer__email="")
        with pytest.raises(ValidationError, match="no e-mail address"):
            send(calls()[0], by=owner)

    def test_a_letter_that_fails_is_on_record_and_may_go_again(self, owner, monkeypatch):
        due()

        def refuse(*args, **kwargs):
            raise OSError("the mail server is away")

        with monkeypatch.context() as patched:
            patched.setattr("django.core.mail.EmailMessage.send", refuse)
            with pytest.raises(ValidationError, match="the mail server could not be reached"):
                send(calls()[0], by=owner)
        assert Contact.objects.get().failed.startswith("the mail server could not")
        send(calls()[0], by=owner)
        assert len(mail.outbox) == 1
        assert list(calls()) == []


class TestPages:
    def test_the_owner_looks_then_sends_a_chosen_list(self, at_desk):
        for tag in ("A", "B", "C"):
            due(tag)
        page = at_desk.get(reverse("letters"), {"tag": ["A", "B"]}).content.decode()
        assert page.count("A neck reset is due") == 2
        assert mail.outbox == []
        at_desk.post(reverse("letters-send"), {"tag": ["A"]})
        at_desk.post(reverse("letters-send"), {"tag": ["A", "NO-SUCH"]})
        assert len(mail.outbox) == 1
        assert [call.instrument.tag for call in calls()] == ["B", "C"]

    def test_the_counter_sees_the_calls_but_no_boxes(self, at_counter):
        due()
        page = at_counter.get(reverse("calls")).content.decode()
        assert "the neck reset is due" in page
        assert 'type="checkbox"' not in page

    def test_a_telephone_call_is_put_on_record(self, at_counter):
        instrument = due()
        address = reverse("contact-add", kwargs={"tag": "DUE"})
        data = {"channel": "phone", "reason": "overdue", "words": "will come in May"}
        assert at_counter.post(address, data)["Location"] == reverse("calls")
        assert instrument.contacts.get().channel == Channel.PHONE
        assert list(calls()) == []
        at_counter.post(address, data | {"words": "called again, came in April"})
        assert instrument.contacts.count() == 2
        first = instrument.contacts.order_by("pk").first()
        one = reverse("contact", kwargs={"uuid": first.uuid})
        assert one in at_counter.get(reverse("contacts")).content.decode()
        assert "will come in May" in at_counter.get(one).content.decode()

    @pytest.mark.parametrize(
        ("data", "words"),
        [
            ({"channel": "email", "reason": "overdue"}, "not one of the available choices"),
            ({"channel": "phone", "reason": "other"}, "Say what it was about."),
            ({}, "Choose how they were told."),
        ],
    )
    def test_a_contact_refused_says_why(self, at_counter, data, words):
        due()
        response = at_counter.post(reverse("contact-add", kwargs={"tag": "DUE"}), data)
        assert response.status_code == 422
        assert words in response.content.decode()

    def test_the_number_of_queries_does_not_grow(self, at_desk, django_assert_max_num_queries):
        for number in range(8):
            due(f"T{number}")
        with django_assert_max_num_queries(12):
            at_desk.get(reverse("calls"))


@pytest.mark.parametrize("state", State.values)
@pytest.mark.parametrize("remeasure", [False, True])
@pytest.mark.parametrize("days", [None, 10, 400])
def test_the_list_and_the_reason_say_the_same(state, remeasure, days):
    seen = None if days is None else timezone.now() - timedelta(days=days)
    outlook = OutlookFactory(state=state, remeasure=remeasure, last_measured_at=seen)
    reason = reason_of(outlook)
    assert [call.reason for call in calls()] == ([reason] if reason else [])


def test_only_what_is_looked_at_is_read_whole(django_assert_num_queries):
    for number in range(9):
        due(f"T{number}")
    found = calls()
    assert len(found) == 9
    with django_assert_num_queries(1):
        assert [call.instrument.tag for call in found[2:4]] == ["T2", "T3"]
    with django_assert_num_queries(1):
        assert [call.occasion[:8] for call in found] == ["overdue:"] * 9


class TestBookings:
    def test_a_day_is_booked_once_and_given_back_with_a_reason(self, at_counter):
        instrument = due()
        day = timezone.localdate() + timedelta(days=9)
        address = reverse("booking-add", kwargs={"tag": "DUE"})
        data = {"day": day.isoformat(), "words": "neck reset"}
        assert at_counter.post(address, data).status_code == 302
        assert "booked for" in at_counter.post(address, data).content.decode()
        booking = instrument.bookings.get()
        cancel = reverse("booking-cancel", kwargs={"uuid": booking.uuid})
        at_counter.post(cancel, {"reason": " "})
        assert instrument.bookings.standing().exists()
        at_counter.post(cancel, {"reason": "customer is ill"})
        assert not instrument.bookings.standing().exists()

    def test_a_day_that_is_past_is_refused(self, owner):
        with pytest.raises(ValidationError, match="past"):
            book(instrument=due(), day=date(2020, 1, 1), words="neck reset", by=owner)

    @pytest.mark.parametrize("day", ["2999-01-01", "soon", ""])
    def test_nonsense_is_refused(self, at_counter, day):
        due()
        address = reverse("booking-add", kwargs={"tag": "DUE"})
        assert at_counter.post(address, {"day": day, "words": "x"}).status_code == 422
