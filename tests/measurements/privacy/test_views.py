"""Customers' personal data: taken out whole, erased whole, and who read it written down."""

import io
import json
import zipfile
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.urls import reverse
from django.utils import timezone

from instruments.models import Instrument
from measurements.models import CheckIn, Contact, ReportLink, ServiceReport, Work
from measurements.photos.acts import add_photo
from measurements.plan.acts import book
from measurements.privacy.acts import erase_customer
from measurements.privacy.record import free_texts, reports_naming, unseen
from measurements.reports.content import issue
from measurements.reports.links import make_link, open_link
from shop.access import forget_old_access
from shop.figures import day_words
from shop.languages import written_in
from shop.models import AccessRecord, Customer, Erasure, ShopProfile
from tests.factories import (
    BookingFactory,
    CheckInFactory,
    ContactFactory,
    CustomerFactory,
    DamageFactory,
    InstrumentFactory,
    WorkFactory,
)
from tests.measurements.photos.pictures import photo

pytestmark = pytest.mark.django_db

NAME, PHONE, MAIL, STREET = "Ottoline Vane", "01632 960 777", "ottoline@example.org", "9 Mole Lane"
SECRETS = ("Ottoline", "Vane", "960 777", "ottoline@", "Mole Lane", "her cat", "Mx V.")


@pytest.fixture
def ottoline(tech):
    """Somebody of whom everything is on record that can be, with two names over time."""
    person = CustomerFactory(name="Ottoline Marsh Vane", phone=PHONE)
    person.name, person.email, person.address = NAME, MAIL, f"{STREET}\nTown"
    person.notes = "prefers her cat"
    person.save()
    instrument = InstrumentFactory(tag="OV-1", customer=person, notes="Mx V. plays loudly")
    instrument.notes = "Mx V. plays very loudly"
    instrument.save()
    check_in = CheckInFactory(instrument=instrument, notes="Mx V. brought her cat")
    add_photo(check_in=check_in, data=photo(), by=tech)
    DamageFactory(check_in=check_in, words="dent, says Mx V.")
    now = timezone.now()
    WorkFactory(instrument=instrument, kind="other", done_at=now, notes="as Mx V. wished")
    report = issue(instrument, by=tech)
    make_link(report, tech)
    ContactFactory(
        instrument=instrument, customer=person, to=MAIL, subject="Vane", words=f"Dear {NAME}"
    )
    ContactFactory(instrument=instrument, customer=person, failed=f"SMTP: {MAIL} unknown")
    BookingFactory(instrument=instrument, words="for Mx V.")
    return person


def everything_stored() -> str:
    """The text of every row of our own tables."""
    tables = [
        name
        for name in connection.introspection.table_names()
        if name.split("_")[0] in ("shop", "instruments", "measurements")
    ]
    found = []
    with connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f'SELECT * FROM "{table}"')  # noqa: S608  names come from the database
            found += [f"{table}: {row}" for row in cursor.fetchall()]
    return "\n".join(found)


def erase_all(person, owner):
    keys = [note.key for note in free_texts(person)]
    return erase_customer(person, by=owner, reason="asked for by letter", notes=keys)


class TestErasing:
    def test_nothing_of_the_person_is_left_in_any_table(self, ottoline, owner):
        before = everything_stored()
        assert [secret for secret in SECRETS if secret not in before] == []
        erase_all(ottoline, owner)
        stored = everything_stored()
        assert [secret for secret in SECRETS if secret in stored] == []

    def test_what_was_measured_and_done_stays(self, ottoline, owner):
        def facts():
            return [
                list(CheckIn.objects.values_list("uuid", "measured_at", "bridge_rise_mm")),
                list(CheckIn.objects.values_list("action_readings__action_mm")),
                list(Work.objects.values_list("uuid", "kind", "done_at", "done_by")),
                list(Contact.objects.values_list("uuid", "made_at", "occasion", "reason")),
            ]

        before = facts()
        content = ServiceReport.objects.get().content
        erase_all(ottoline, owner)
        assert facts() == before
        after = ServiceReport.objects.get().content
        for part in ("rows", "found", "outlook", "next", "drawings", "shop", "facts"):
            assert after[part] == content[part]

    def test_free_text_stays_where_it_is_not_ticked(self, ottoline, owner):
        erase_customer(ottoline, by=owner, reason="asked for")
        assert CheckIn.objects.get().notes == "Mx V. brought her cat"
        assert "as Mx V. wished" in ServiceReport.objects.get().content["work"]

    def test_links_and_bookings_end_and_the_instrument_is_nobodys(self, ottoline, owner, tech):
        token = make_link(ServiceReport.objects.get(), tech)
        erasure = erase_customer(ottoline, by=owner, reason="asked for")
        assert open_link(token) is None
        assert not ReportLink.objects.filter(revoked_at=None).exists()
        instrument = Instrument.objects.get()
        assert instrument.customer is None
        assert instrument.bookings.get().voided_by == owner
        assert instrument.history.first().customer is None
        assert erasure.counts["reports"] == 1
        assert erasure.counts["links"] == 2
        assert (erasure.erased_by, erasure.reason) == (owner, "asked for")

    def test_what_stands_instead_of_the_name_is_in_the_shops_language(self, ottoline, owner):
        profile = ShopProfile.current()
        profile.language = "de"
        profile.save()
        with written_in("en-gb"):
            erase_customer(ottoline, by=owner, reason="asked for")
        with written_in("de"):
            day = day_words(timezone.localdate())
        ottoline.refresh_from_db()
        assert ottoline.name.endswith(day)

    def test_the_report_is_printed_without_the_name(self, ottoline, owner, at_desk):
        erase_all(ottoline, owner)
        number = ServiceReport.objects.get().number
        page = at_desk.get(reverse("report", kwargs={"number": number})).content.decode()
        assert "erased on" in page
        assert NAME not in page

    def test_a_report_of_a_later_owner_is_left_alone(self, ottoline, owner, tech):
        instrument = Instrument.objects.get()
        instrument.customer = CustomerFactory(name="Later Owner")
        instrument.save()
        issue(instrument, by=tech)
        assert [report.number for report in reports_naming(ottoline)] == [1001]
        erase_customer(ottoline, by=owner, reason="asked for")
        named = [report.content["customer"]["name"] for report in ServiceReport.objects.all()]
        assert named[0] == "Later Owner"
        assert named[1].startswith("erased on")
        instrument.refresh_from_db()
        assert instrument.customer.name == "Later Owner"

    @pytest.mark.parametrize("reason", ["", " \u202e\u200b "])
    def test_it_needs_a_reason(self, ottoline, owner, reason):
        with pytest.raises(ValidationError, match="Say why"):
            erase_customer(ottoline, by=owner, reason=reason)
        assert Customer.objects.get(pk=ottoline.pk).name == NAME

    def test_twice_is_refused(self, ottoline, owner):
        erase_customer(ottoline, by=owner, reason="asked for")
        with pytest.raises(ValidationError, match="erased before"):
            erase_customer(ottoline, by=owner, reason="asked for")

    def test_a_fault_half_way_leaves_everything(self, ottoline, owner, monkeypatch):
        def fails(*args, **kwargs):
            raise DatabaseError("disk full")

        monkeypatch.setattr("measurements.privacy.acts._name", fails)
        before = everything_stored()
        with pytest.raises(DatabaseError):
            erase_all(ottoline, owner)
        assert everything_stored() == before


class TestErasingByPage:
    def address(self, person):
        return reverse("customer-erase", kwargs={"code": person.code})

    def test_it_says_what_goes_and_what_stays(self, ottoline, at_desk):
        page = at_desk.get(self.address(ottoline)).content.decode()
        for words in ("report: 1001", "OV-1", "2 contacts", "1 open link", "Mx V. brought her cat"):
            assert words in page

    @pytest.mark.parametrize(
        ("sent", "message"),
        [
            ({"reason": "asked for"}, "name or code is needed."),
            ({"confirm": NAME}, "Say why"),
            ({"reason": "asked for", "confirm": "Ottoline"}, "neither the customer"),
            ({"reason": f"{NAME} asked", "confirm": NAME}, "without the customer"),
            ({"reason": "x", "confirm": NAME, "notes": "check-in:nobody"}, "not one of the"),
        ],
    )
    def test_it_asks_for_the_name_and_a_reason(self, ottoline, at_desk, sent, message):
        answer = at_desk.post(self.address(ottoline), sent)
        assert answer.status_code == 422
        assert message in answer.content.decode()
        assert not Erasure.objects.exists()

    @pytest.mark.parametrize("confirm", ["  ottoline   VANE ", "code"])
    def test_the_owner_erases(self, ottoline, at_desk, owner, confirm):
        typed = ottoline.code.lower() if confirm == "code" else confirm
        answer = at_desk.post(self.address(ottoline), {"reason": "asked", "confirm": typed})
        assert answer["Location"] == reverse("privacy")
        page = at_desk.get(reverse("privacy")).content.decode()
        assert ottoline.code in page
        assert "asked" in page
        erased = at_desk.get(reverse("customer", kwargs={"code": ottoline.code})).content.decode()
        assert "Erased on" in erased
        edit = reverse("customer-edit", kwargs={"code": ottoline.code})
        assert edit not in erased
        assert at_desk.get(edit).status_code == 404
        assert at_desk.get(self.address(ottoline)).status_code == 302
        assert ottoline.code not in at_desk.get(reverse("customers")).content.decode()
        assert ottoline.code not in at_desk.get(reverse("instrument-add")).content.decode()

    def test_others_may_not_even_look(self, ottoline, at_bench, at_counter):
        for browser in (at_bench, at_counter):
            assert browser.post(self.address(ottoline), {"confirm": NAME}).status_code == 403
        page = at_counter.get(reverse("customer", kwargs={"code": ottoline.code})).content.decode()
        assert "privacy" not in page


class TestTakingOut:
    def test_everything_is_in_one_file(self, ottoline, at_desk):
        answer = at_desk.get(reverse("customer-record", kwargs={"code": ottoline.code}))
        assert answer["Cache-Control"] == "no-store"
        archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
        told = json.loads(archive.read("record.json"))
        assert told["customer"]["address"] == f"{STREET}\nTown"
        assert told["earlier_versions"][0]["name"] == "Ottoline Marsh Vane"
        (instrument,) = told["instruments"]
        (check_in,) = instrument["check_ins"]
        assert check_in["notes"] == "Mx V. brought her cat"
        assert len(check_in["action_readings"]) == 4
        assert check_in["damage"][0]["words"] == "dent, says Mx V."
        assert instrument["work"][0]["notes"] == "as Mx V. wished"
        assert instrument["bookings"][0]["words"] == "for Mx V."
        assert {contact["to"] for contact in told["contacts"]} == {MAIL, ""}
        assert told["reports"][0]["content"]["customer"]["name"] == NAME
        assert told["links"][0]["revoked_at"] is None
        assert "token_digest" not in json.dumps(told)
        names = archive.namelist()
        assert f"photos/{check_in['photos'][0]['uuid']}.jpg" in names
        assert "reports/service-report-1001.pdf" in names

    def test_what_is_of_others_is_not_in_it(self, ottoline, at_desk, tech):
        CheckInFactory(instrument__customer=CustomerFactory(name="Somebody Else"))
        answer = at_desk.get(reverse("customer-record", kwargs={"code": ottoline.code}))
        archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
        assert b"Somebody Else" not in archive.read("record.json")


class TestWhoRead:
    def kinds(self):
        return list(AccessRecord.objects.order_by("pk").values_list("person__username", "kind"))

    def test_pages_of_one_customer_are_written_down(self, ottoline, at_counter, at_desk):
        code = {"code": ottoline.code}
        at_counter.get(reverse("customer", kwargs=code))
        at_counter.get(reverse("customer-edit", kwargs=code))
        at_counter.get(reverse("report", kwargs={"number": 1001}))
        at_counter.get(reverse("report-pdf", kwargs={"number": 1001}))
        at_counter.get(reverse("report-mail", kwargs={"number": 1001}))
        list(at_desk.get(reverse("customer-record", kwargs=code)))
        list(at_desk.get(reverse("export-everything", kwargs={"kind": "csv"})))
        kinds = ["customer", "customer", "report", "report", "letter"]
        assert self.kinds() == [
            *(("counter", kind) for kind in kinds),
            ("owner", "export"),
            ("owner", "shop"),
        ]
        page = at_desk.get(reverse("customer-privacy", kwargs=code)).content.decode()
        assert page.count("a report with their name") == 2
        assert "changed" in page
        assert "owner" in at_desk.get(reverse("privacy")).content.decode()

    def test_what_somebody_was_told_stands_on_a_page_of_its_own(self, ottoline, at_counter):
        instrument = ottoline.instruments.first()
        contact = ContactFactory(instrument=instrument, words="what was said", to=MAIL)
        lists = (reverse("contacts"), reverse("contact-add", kwargs={"tag": instrument.tag}))
        one = reverse("contact", kwargs={"uuid": contact.uuid})
        for address in lists:
            page = at_counter.get(address).text
            assert f'href="{one}"' in page
            assert "what was said" not in page
        assert self.kinds() == []
        page = at_counter.get(one).text
        assert "what was said" in page
        assert MAIL in page
        assert self.kinds() == [("counter", "letter")]

    def test_a_refused_post_is_no_way_to_read_unnoticed(self, ottoline, at_counter):
        edit = reverse("customer-edit", kwargs={"code": ottoline.code})
        page = at_counter.post(edit, {"name": "X", "unit": "mm", "email": "none"})
        assert page.status_code == 422
        page = at_counter.post(edit, {"name": "X", "unit": "mm"})
        assert page.status_code == 409
        assert STREET in page.text
        page = at_counter.post(reverse("report-mail", kwargs={"number": 1001}), {})
        assert page.status_code == 422
        assert MAIL in page.text
        kinds = ["customer", "customer", "letter"]
        assert self.kinds() == [("counter", kind) for kind in kinds]

    def test_lists_and_strangers_are_not(self, ottoline, at_counter, client):
        at_counter.get(reverse("customers"))
        client.get(reverse("customer", kwargs={"code": ottoline.code}))
        at_counter.get(reverse("customer", kwargs={"code": "NOSUCH22"}))
        assert self.kinds() == []

    def test_a_page_is_shown_where_nothing_can_be_written(
        self, ottoline, at_counter, monkeypatch, caplog
    ):
        def fails(*args, **kwargs):
            raise DatabaseError("attempt to write a readonly database")

        monkeypatch.setattr(AccessRecord.objects, "bulk_create", fails)
        page = at_counter.get(reverse("customer", kwargs={"code": ottoline.code}))
        assert page.status_code == 200
        assert "could not be written down: DatabaseError" in caplog.text
        assert NAME not in caplog.text

    def test_it_costs_one_insert(self, ottoline, at_counter, django_assert_num_queries):
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as asked:
            at_counter.get(reverse("customer", kwargs={"code": ottoline.code}))
        assert len([q for q in asked if q["sql"].startswith("INSERT")]) == 1

    def test_it_is_kept_for_a_year(self, ottoline, at_counter):
        at_counter.get(reverse("customer", kwargs={"code": ottoline.code}))
        assert forget_old_access() == 0
        with time_machine.travel(timezone.now() + timedelta(days=366), tick=False):
            assert forget_old_access() == 1

    def test_an_import_may_still_be_undone_after_somebody_looked(self, owner, at_desk):
        from measurements.models import ImportRun
        from measurements.old_records.planning import import_file
        from measurements.old_records.undo import undo_import

        import_file(b"code,name\r\nABCDEFGH,Ines Marlow\r\n", by=owner)
        at_desk.get(reverse("customer", kwargs={"code": "ABCDEFGH"}))
        undo_import(ImportRun.objects.get(), by=owner)
        assert not Customer.objects.exists()
        assert not AccessRecord.objects.exists()


NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)


class TestNotSeenForLong:
    @pytest.fixture(autouse=True)
    def _now(self):
        with time_machine.travel(NOW, tick=False):
            yield

    def long_ago(self, **more):
        person = CustomerFactory()
        Customer.objects.filter(pk=person.pk).update(created_at=datetime(2010, 1, 1, tzinfo=UTC))
        return person

    def test_the_longest_unseen_comes_first(self):
        nothing, read = self.long_ago(), self.long_ago()
        CheckInFactory(
            instrument__customer=read, measured_at=datetime(2009, 5, 1, tzinfo=UTC)
        )  # added to the record a year later than read: an old record taken in
        CustomerFactory()
        found = [(person.pk, person.seen_at.year) for person in unseen(10)]
        assert found == [(read.pk, 2009), (nothing.pk, 2010)]

    @pytest.mark.parametrize(
        "seen",
        [
            lambda person, at: CheckInFactory(instrument__customer=person, measured_at=at),
            lambda person, at: WorkFactory(instrument__customer=person, done_at=at),
            lambda person, at: ContactFactory(instrument__customer=person),
            lambda person, at: BookingFactory(instrument__customer=person),
        ],
        ids=["check-in", "work", "contact", "booking"],
    )
    def test_whoever_was_seen_since_is_not_among_them(self, seen):
        seen(self.long_ago(), datetime(2016, 11, 3, tzinfo=UTC))
        assert list(unseen(10)) == []

    def test_the_shop_says_after_how_many_years(self, at_desk):
        person = self.long_ago()
        assert person.code in at_desk.get(reverse("privacy")).content.decode()
        ShopProfile.objects.create(pk=1, keep_contacts_years=0)
        page = at_desk.get(reverse("privacy")).content.decode()
        assert "for ever" in page
        assert person.code not in page

    def test_the_command_says_first_and_erases_then(self, capsys, owner):
        person = self.long_ago()
        call_command("erase_old_customers", dry_run=True)
        assert f"{person.code}, last seen 2010-01-01: would be erased" in capsys.readouterr().out
        assert not Erasure.objects.exists()
        call_command("erase_old_customers", by="owner")
        out = capsys.readouterr().out
        assert f"{person.code}, last seen 2010-01-01: erased" in out
        assert person.name not in out
        assert Erasure.objects.get().erased_by == owner
        call_command("erase_old_customers")
        assert "Nobody to erase" in capsys.readouterr().out

    def test_a_leap_day_has_a_day_ten_years_before(self):
        self.long_ago()
        with time_machine.travel(datetime(2028, 2, 29, 12, tzinfo=UTC), tick=False):
            assert unseen(10).count() == 1


def test_a_day_booked_since_the_list_was_made_is_a_persons_to_cancel(ottoline, tech):
    book(instrument=Instrument.objects.get(), day=timezone.localdate(), words="x", by=tech)
    with pytest.raises(ValidationError, match="only a person can cancel"):
        erase_customer(ottoline, by=None, reason="not seen for 10 years")
