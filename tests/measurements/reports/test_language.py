"""A report is in its customer's language for good, on paper, by link and in the letter with it."""

import io

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import translation
from pypdf import PdfReader

from measurements.reports.content import issue
from measurements.reports.links import make_link
from measurements.reports.mail import send_report, subject_of, words_of
from measurements.reports.paper import file_name, pdf, pdf_html
from measurements.reports.revisions import replaced_words, revise
from shop.pdf import pdf_trouble
from tests.conftest import signed_in
from tests.factories import ShopProfileFactory
from tests.measurements.reports.test_content import make_visit, values

pytestmark = pytest.mark.django_db
needs_pdf = pytest.mark.skipif(bool(pdf_trouble()), reason="no PDF libraries here")


def german(**more):
    return make_visit(customer__language="de", customer__email="kunde@example.com", **more)


class TestFrozen:
    def test_days_and_decimals_are_the_customers(self, owner):
        content = issue(german(), owner).content
        assert content["language"] == "de"
        # A day and a decimal comma as DIN 5008 writes them; from memory.
        assert content["columns"][0][1] == "4. Mai 2026"
        assert content["rows"][1]["wanted"] == "2,40 / 1,60 mm"
        assert content["rows"][1]["values"][0][1] == "2,91 / 1,62 mm"
        assert "2.91" not in str(content["rows"])

    def test_english_where_the_customer_reads_english(self, owner):
        ShopProfileFactory(language="de")
        content = issue(make_visit(customer__language="en-gb"), owner).content
        assert content["language"] == "en-GB"
        assert content["columns"][0] == ["As received", "4 May 2026"]
        assert values(content, "Action at fret 12")[0] == "2.40 / 1.60 mm"

    def test_the_shops_language_where_the_customer_has_none(self, owner):
        ShopProfileFactory(language="de")
        assert issue(make_visit(), owner).content["language"] == "de"
        assert issue(make_visit(customer=None), owner).content["language"] == "de"

    def test_not_the_language_of_whoever_issues_it(self, owner):
        with translation.override("de"):
            content = issue(make_visit(), owner).content
        assert content["language"] == "en-GB"
        assert content["columns"][0] == ["As received", "4 May 2026"]
        assert content["found"][-1] == "The strings now stand as wanted."

    def test_its_words_are_german(self, owner):
        content = issue(german(), owner).content
        assert [stage for stage, _ in content["columns"]] == ["Bei Annahme", "Bei Rückgabe"]
        assert content["found"] == [
            "Am 12. Bund lagen die Saiten auf der Bassseite 0,51 mm zu hoch und auf der "
            "Diskantseite wie gewünscht.",
            "Die Saiten liegen jetzt wie gewünscht.",
        ]
        assert content["work"] == ["Stegeinlage gesenkt: Bass 3,00 mm → 2,60 mm."]
        assert values(content, "Saitenlage am 12. Bund")[0] == "2,40 / 1,60 mm"
        assert content["glossary"][0][0] == "Saitenlage"

    def test_its_file_is_named_in_german_and_plain_letters(self, owner):
        report = issue(german(), owner)
        assert file_name(report) == f"servicebericht-{report.number}.pdf"


class TestRevision:
    def test_it_keeps_the_first_issues_language(self, owner):
        instrument = german()
        first = issue(instrument, owner)
        instrument.customer.language = "en-gb"
        instrument.customer.save()
        second = revise(first, owner, why="Tippfehler")
        assert second.content["language"] == "de"
        assert second.content["columns"][0][1] == "4. Mai 2026"
        day = second.content["revision"]["replaces_issued_on"]
        assert day == first.content["issued_on"]
        assert ". " in day  # as in 4. Mai 2026

    def test_a_report_from_before_stays_english(self, owner):
        instrument = make_visit()
        first = issue(instrument, owner)
        instrument.customer.language = "de"
        instrument.customer.save()
        assert revise(first, owner, why="a slip").content["language"] == "en-GB"
        first.refresh_from_db()
        with translation.override("de"):
            assert replaced_words(first).startswith("Replaced on ")


class TestShown:
    def test_staff_see_it_in_its_own_language_on_a_page_in_theirs(self, owner):
        report = issue(make_visit(), owner)
        client = signed_in(owner)
        page = client.get(
            reverse("report", kwargs={"number": report.number}), headers={"accept-language": "de"}
        ).content.decode()
        assert '<div class="sheet" lang="en-GB">' in page
        assert "At a glance" in page
        assert "4 May 2026" in page

    def test_the_page_around_it_is_in_the_persons_language(self, owner):
        report = issue(make_visit(), owner)
        client = signed_in(owner)
        address = reverse("report", kwargs={"number": report.number})
        german = client.get(address, headers={"accept-language": "de"}).content.decode()
        assert "Per E-Mail senden" in german
        assert "Auf einen Blick" not in german
        english = client.get(address, headers={"accept-language": "en"}).content.decode()
        assert "Send by e-mail" in english

    def test_by_link_all_of_the_page_is_in_the_reports_language(self, owner):
        token = make_link(issue(german(), owner), owner)
        response = Client().get(
            reverse("customer-report", kwargs={"token": token}), headers={"accept-language": "en"}
        )
        page = response.content.decode()
        assert '<html lang="de">' in page
        assert response["Content-Language"] == "de"
        assert "2,91 / 1,62 mm" in page
        assert "4. Mai 2026" in page

    def test_by_link_the_words_around_it_too(self, owner):
        token = make_link(issue(german(), owner), owner)
        page = Client().get(reverse("customer-report", kwargs={"token": token})).content.decode()
        for words in ("Als PDF sichern, A4", "Diese Seite ist für Sie", "Auf einen Blick"):
            assert words in page
        for words in ("Save as PDF", "This page", "At a glance", "Next step"):
            assert words not in page

    def test_a_closed_link_speaks_the_browsers_language(self):
        where = reverse("customer-report", kwargs={"token": "x" * 43})
        page = Client().get(where, headers={"accept-language": "de"}).content.decode()
        assert '<html lang="de">' in page


class TestOnPaper:
    @needs_pdf
    def test_the_pdf_is_german(self, owner):
        report = issue(german(), owner)
        paper = PdfReader(io.BytesIO(pdf(report)))
        words = " ".join(page.extract_text() for page in paper.pages)
        assert "2,91 / 1,62 mm" in words
        assert "4. Mai 2026" in words
        assert paper.trailer["/Root"]["/Lang"] == "de"
        assert len(paper.pages) <= 2

    @needs_pdf
    def test_its_words_and_foot_are_german(self, owner):
        report = revise(issue(german(), owner), owner, why="Tippfehler")
        words = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf(report))).pages)
        assert f"Servicebericht {report.number}, Fassung 2" in words
        assert "Seite 1 von " in words
        assert "Bei Annahme" in words
        assert "As received" not in words

    def test_an_english_one_is_english_whoever_prints_it(self, owner):
        report = issue(make_visit(), owner)
        with translation.override("de"):
            page = pdf_html(report)
        assert '<html lang="en-GB">' in page
        assert "At a glance" in page


class TestLetter:
    def test_it_is_in_the_reports_language(self, owner):
        report = issue(german(customer__name="Jonas Weber"), owner)
        assert subject_of(report).startswith(f"Servicebericht {report.number}: ")
        letter = words_of(report)
        assert letter.startswith("Guten Tag Jonas Weber,")
        assert "0,51 mm zu hoch" in letter
        assert "Mit freundlichen Grüßen" in letter
        assert "Dear" not in letter

    def test_english_to_an_english_customer_whoever_sends_it(self, owner):
        report = issue(make_visit(customer__name="Mara Garrow"), owner)
        with translation.override("de"):
            assert subject_of(report).startswith(f"Service report {report.number}: ")
            assert words_of(report).startswith("Dear Mara Garrow,")

    @needs_pdf
    def test_what_is_put_on_record_is_in_the_shops_language(self, owner):
        report = issue(german(), owner)
        contact = send_report(report, by=owner, words=words_of(report), paper="A4", sent_before=0)
        assert contact.reason == f"service report {report.number}"
        assert mail.outbox[0].subject == contact.subject == subject_of(report)


def test_the_paper_reads_the_same_whatever_language_is_active(owner):
    report = issue(german(), owner)
    papers = set()
    for language in ("en-gb", "de"):
        with translation.override(language):
            papers.add(pdf_html(report))
    assert len(papers) == 1
