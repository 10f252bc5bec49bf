"""A report sent by e-mail: looked at first, on record, never twice by accident."""

import io

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from pypdf import PdfReader

from instruments.models import Instrument
from measurements.models import Channel, Contact
from measurements.reports.content import issue
from measurements.reports.mail import send_report, sent, subject_of, words_of
from measurements.reports.revisions import revise
from shop.models import Customer
from shop.pdf import PdfUnavailableError
from tests.conftest import signed_in
from tests.factories import CustomerFactory, ShopProfileFactory, UserFactory
from tests.measurements.reports.test_content import make_visit, text_of

pytestmark = pytest.mark.django_db
HER = "wanda@example.com"


@pytest.fixture
def report(owner):
    ShopProfileFactory(email="bench@quayside.example", phone="0123 456")
    return issue(make_visit(customer=CustomerFactory(name="Wanda Reed", email=HER)), owner)


def address(report):
    return f"/reports/{report.number}/mail/"


def form(client, report, **typed):
    """What the page's form holds, as a browser would send it."""
    page = client.get(address(report)).context
    start = {
        "words": page["form"]["words"].value(),
        "paper": "A4",
        "to": page["customer"].email,
        "revision": page["report"].revision,
        "sent_before": page["sent_before"],
    }
    return start | typed


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_staff_look_and_send(report, role):
    person = UserFactory(role=role)
    client = signed_in(person)
    page = client.get(address(report)).content.decode()
    for words in (HER, "Service report 1001: Tarnbeck Orchard", "service-report-1001.pdf"):
        assert words in page
    assert mail.outbox == []  # nothing is sent by looking
    answer = client.post(address(report), form(client, report))
    assert answer["Location"] == f"/reports/{report.number}/"
    (letter,) = mail.outbox
    assert letter.to == [HER]
    assert letter.reply_to == ["bench@quayside.example"]
    assert letter.subject == "Service report 1001: Tarnbeck Orchard"
    assert "Dear Wanda Reed," in letter.body
    assert " ".join(report.content["next"]) in letter.body
    ((name, data, kind),) = letter.attachments
    assert (name, kind) == ("service-report-1001.pdf", "application/pdf")
    assert "Saddle lowered: bass 3.00 mm → 2.60 mm." in text_of(data)[1]
    contact = Contact.objects.get()
    assert (contact.channel, contact.occasion) == (Channel.EMAIL, "report:1001-r1")
    assert (contact.to, contact.made_by, contact.failed) == (HER, person, "")
    assert contact.words == letter.body


def test_the_shop_may_write_its_own_words_and_choose_the_paper(report, at_counter):
    mine = form(at_counter, report, words="Dear Wanda, here it is.", paper="Letter")
    at_counter.post(address(report), mine)
    (letter,) = mail.outbox
    assert letter.body == "Dear Wanda, here it is."
    page = PdfReader(io.BytesIO(letter.attachments[0][1])).pages[0]
    assert float(page.mediabox.width) == pytest.approx(612)  # Letter, 8.5 in of 72 points


def test_never_twice_by_accident(report, at_counter):
    mine = form(at_counter, report)
    for _ in range(2):
        answer = at_counter.post(address(report), mine)
    assert answer.status_code == 422
    assert "It was sent before. Tick “send it again”" in answer.content.decode()
    assert "Sent before." in answer.content.decode()
    assert len(mail.outbox) == 1


def test_again_with_a_tick_and_then_once(report, at_counter):
    at_counter.post(address(report), form(at_counter, report))
    again = form(at_counter, report, again="on")
    assert at_counter.post(address(report), again).status_code == 302
    assert at_counter.post(address(report), again).status_code == 422  # the same form once more
    assert len(mail.outbox) == 2
    assert set(Contact.objects.values_list("occasion", flat=True)) == {
        "report:1001-r1",
        "report:1001-r1:2",
    }
    assert at_counter.post(address(report), form(at_counter, report, again="on")).status_code == 302
    assert len(sent(report)) == 3


def test_two_people_at_once_send_one(report, owner, tech):
    send_report(report, by=owner, words="Hello", paper="A4", sent_before=0)
    with pytest.raises(ValidationError, match="sent in the meantime"):
        send_report(report, by=tech, words="Hello", paper="A4", sent_before=0)
    assert len(mail.outbox) == 1


def test_a_revision_is_another_occasion(report, owner, at_counter):
    at_counter.post(address(report), form(at_counter, report))
    stale = form(at_counter, report, again="on")
    second = revise(report, owner, why="the saddle was typed wrongly")
    answer = at_counter.post(address(report), stale)
    assert answer.status_code == 422
    assert "Revision 2 was issued in the meantime" in answer.content.decode()
    assert at_counter.post(address(report), form(at_counter, report)).status_code == 302
    letter = mail.outbox[-1]
    assert letter.subject == "Service report 1001, revision 2: Tarnbeck Orchard"
    assert "What was corrected: the saddle was typed wrongly." in letter.body
    assert letter.attachments[0][0] == "service-report-1001-r2.pdf"
    assert len(sent(second)) == len(sent(report)) == 1


def test_a_changed_address_is_looked_at_again(report, at_counter):
    mine = form(at_counter, report)
    Customer.objects.update(email="new@example.com")
    answer = at_counter.post(address(report), mine)
    assert answer.status_code == 422
    assert "The address was changed in the meantime" in answer.content.decode()
    assert 'value="new@example.com"' in answer.content.decode()
    assert mail.outbox == []


def test_a_refusal_is_put_on_record_and_said_and_it_may_go_again(report, at_counter, settings):
    settings.EMAIL_BACKEND = "tests.measurements.reports.test_mail.Refusing"
    answer = at_counter.post(address(report), form(at_counter, report))
    assert answer.status_code == 422
    assert "did not go: the mail server could not be reached" in answer.content.decode()
    assert Contact.objects.get().failed == "the mail server could not be reached; try again later"
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert at_counter.post(address(report), form(at_counter, report)).status_code == 302
    assert len(mail.outbox) == 1


class Refusing:
    def __init__(self, *args, **kwargs) -> None:
        pass

    def send_messages(self, messages):
        raise OSError("mailbox full")


def test_without_a_pdf_nothing_is_sent_or_put_on_record(report, at_counter, monkeypatch):
    def unavailable(*args):
        raise PdfUnavailableError("PDF files need system libraries.")

    mine = form(at_counter, report)
    monkeypatch.setattr("measurements.reports.mail.pdf", unavailable)
    answer = at_counter.post(address(report), mine)
    assert answer.status_code == 422
    assert "PDF files need system libraries." in answer.content.decode()
    assert not Contact.objects.exists()


@pytest.mark.parametrize("customer", [None, ""])
def test_without_an_address_there_is_nothing_to_press(owner, at_counter, customer):
    whose = None if customer is None else CustomerFactory(email="")
    report = issue(make_visit(customer=whose), owner)
    page = at_counter.get(address(report)).content.decode()
    assert "Send it" not in page
    assert ("no customer on record" if whose is None else "no e-mail address") in page
    typed = {"words": "x", "paper": "A4", "to": HER, "revision": 1, "sent_before": 0}
    assert at_counter.post(address(report), typed).status_code == 422
    assert mail.outbox == []


def test_who_wants_no_reminders_may_ask_for_a_report(report, at_counter):
    Customer.objects.update(no_reminders=True)
    page = at_counter.get(address(report)).content.decode()
    assert "That is about reminders: a report that was asked for may go." in page
    assert at_counter.post(address(report), form(at_counter, report)).status_code == 302
    assert len(mail.outbox) == 1


def test_a_new_owner_is_not_sent_what_names_the_former_one(report, at_counter):
    Instrument.objects.update(customer=CustomerFactory(name="New Owner", email="n@example.com"))
    page = at_counter.get(address(report)).content.decode()
    assert "The report was issued for <bdi>Wanda Reed</bdi>" in page
    assert "Send it" not in page
    assert at_counter.post(address(report), form(at_counter, report)).status_code == 422
    assert mail.outbox == []
    assert not Contact.objects.exists()


def test_who_only_changed_their_name_is_sent_it(report, at_counter):
    Customer.objects.update(name="Wanda Reed-Stone")
    assert at_counter.post(address(report), form(at_counter, report)).status_code == 302
    assert len(mail.outbox) == 1


def test_nothing_in_it_can_become_a_header(owner, at_counter):
    name = "Orchard\r\nBcc: thief@example.com"
    report = issue(make_visit(model=name, customer=CustomerFactory(name=name, email=HER)), owner)
    assert subject_of(report).splitlines() == [subject_of(report)]
    assert "\r" not in words_of(report)
    at_counter.post(address(report), form(at_counter, report))
    (letter,) = mail.outbox
    assert letter.recipients() == [HER]
    assert "Bcc" not in letter.message()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"words": "  "}, "Write a few words"),
        ({"words": "x" * 4001}, "at most 4000"),
        ({"paper": "A3"}, "A3 is not one of the available choices"),
        ({"revision": "one"}, ""),
        ({"to": "nobody"}, ""),
    ],
)
def test_a_refused_form_sends_nothing(report, at_counter, typed, words):
    answer = at_counter.post(address(report), form(at_counter, report, **typed))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert mail.outbox == []
