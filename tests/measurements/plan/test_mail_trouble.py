"""Why a letter did not go: our own words on the page, the server's in the log and without the customer."""

import smtplib
import ssl
from importlib import import_module
from socket import gaierror
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.mail import EmailMessage
from django.db import connection

from measurements.models import Contact
from measurements.plan import mail_trouble
from measurements.plan.acts import deliver
from measurements.plan.mail_trouble import LOGGED, for_the_log, trouble_words, why_it_did_not_go
from shop.models import Customer
from tests.factories import ContactFactory

HER = "mara.quill@example.com"
# Reply codes of RFC 5321 (4.2.2), enhanced ones of RFC 3463; the servers' words are made up.
FULL = smtplib.SMTPDataError(452, b"4.2.2 <mara.quill@example.com> Mara's box is full")
UNKNOWN = smtplib.SMTPRecipientsRefused({HER: (550, b"5.1.1 <mara.quill@example.com>: who?")})


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (UNKNOWN, "does not take letters for this address (550 5.1.1)"),
        (FULL, "refused the letter; try again later (452 4.2.2)"),
        (smtplib.SMTPSenderRefused(553, b"no", "shop@localhost"), "from the shop's address (553)"),
        (smtplib.SMTPAuthenticationError(535, b"5.7.8 no"), "name and password (535 5.7.8)"),
        (smtplib.SMTPServerDisconnected("gone"), "the mail server broke off; try again later"),
        (smtplib.SMTPNotSupportedError("STARTTLS"), "settings for it do not agree"),
        (smtplib.SMTPRecipientsRefused({}), "does not take letters for this address"),
        (ssl.SSLCertVerificationError(1, "self-signed"), "no safe connection"),
        (TimeoutError("timed out"), "did not answer in time; try again later"),
        (gaierror(-2, "Name or service not known"), "was not found by its name"),
        (ConnectionRefusedError(111, "refused"), "try again later (ECONNREFUSED)"),
        (RuntimeError("Mara"), "could not be handed to the mail server (RuntimeError)"),
    ],
)
def test_the_record_says_what_kind_of_refusal_it_was(error, words):
    said = why_it_did_not_go(error)
    assert said.endswith(words) or words in said
    assert len(said) < 100
    assert "Mara" not in said
    assert "@" not in said


def test_the_log_keeps_the_servers_words_without_the_customer():
    mara = Customer(name="Mara O. Quill", phone="555 0100")
    said = b"5.1.1 <mara.quill@example.com>: QUILL, Mara (555 0100)\r\nX: \x1b[2J\0 moved to b@c.d "
    error = smtplib.SMTPRecipientsRefused({HER: (550, said + b"x" * 5000)})
    logged = for_the_log(error, mara, [HER])
    assert logged.startswith("SMTPRecipientsRefused 550: 5.1.1 … …, … (…) X: [2J moved to … xxx")
    assert len(logged) < LOGGED + 40
    assert logged.isprintable()


@pytest.mark.django_db
def test_neither_page_nor_log_names_the_customer(monkeypatch, caplog):
    contact = ContactFactory(customer__name="Mara Quill", to=HER)

    def refuse(*args, **kwargs):
        raise UNKNOWN

    monkeypatch.setattr(EmailMessage, "send", refuse)
    with pytest.raises(Exception, match="did not go: the mail server does not take letters"):
        deliver(contact, EmailMessage("x", "y", to=[HER]))
    contact.refresh_from_db()
    assert contact.failed == why_it_did_not_go(UNKNOWN)
    (line,) = caplog.messages
    assert line.startswith(f"letter {contact.pk} did not go: SMTPRecipientsRefused 550")
    assert "quill" not in line.lower()
    assert "mara" not in line.lower()


@pytest.mark.django_db
def test_refusals_on_record_from_before_keep_their_kind_alone():
    ContactFactory(failed=f"SMTPRecipientsRefused: {{'{HER}': (550, b'no such user')}}")
    ContactFactory(failed="erased on 3 May 2026")
    ContactFactory(failed="")
    migration = import_module("measurements.migrations.0010_shorten_refusals")
    migration.shorten(apps, SimpleNamespace(connection=connection))
    assert list(Contact.objects.order_by("pk").values_list("failed", flat=True)) == [
        "it could not be handed to the mail server (SMTPRecipientsRefused)",
        "erased on 3 May 2026",
        "",
    ]


@pytest.mark.parametrize(
    ("kept", "shown"),
    [
        ("the mail server broke off; try again later (451 4.3.2)", "BROKE; AGAIN (451 4.3.2)"),
        ("the mail server broke off", "BROKE"),
        ("it could not be handed to the mail server (KeyError)", "NOT (KeyError)"),
        ("550 whatever (a server) said: (once)", "550 whatever (a server) said: (once)"),
        ("", ""),
    ],
)
def test_what_is_on_record_is_shown_in_the_readers_language(kept, shown, monkeypatch):
    words = {
        "the mail server broke off": "BROKE",
        "try again later": "AGAIN",
        "it could not be handed to the mail server": "NOT",
    }
    monkeypatch.setattr(mail_trouble, "_", lambda text: words.get(text, text))
    assert trouble_words(kept) == shown


def test_every_refusal_is_put_on_record_so_that_it_can_be_shown_again(monkeypatch):
    known = {words for _, words, _ in mail_trouble._SAID}
    asked = []
    monkeypatch.setattr(mail_trouble, "_", lambda text: asked.append(text) or text)
    for error in (smtplib.SMTPDataError(451, b"4.3.0 later"), TimeoutError(), gaierror(-2, "no")):
        kept = why_it_did_not_go(error)
        assert trouble_words(kept) == kept
        assert asked[0] in known
        asked.clear()
