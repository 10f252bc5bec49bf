"""A full disk, a database that can only be read, one that is gone: what is said, and that nothing is lost."""

import errno
import html
import logging
import re
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import psycopg
import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.db import DatabaseError, IntegrityError, OperationalError, connection
from django.test import Client
from django.urls import reverse

from measurements.forecast import refreshing
from measurements.models import CheckIn, Outlook
from shop import trouble, views
from shop.models import Customer
from tests.conftest import signed_in
from tests.factories import PASSWORD, InstrumentFactory, UserFactory
from tests.measurements.check_ins.test_views import address, typed
from tests.test_access import MAY, addresses  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db(transaction=True)


def execute(*commands: str) -> None:
    with connection.cursor() as cursor:
        for command in commands:
            cursor.execute(command)


@contextmanager
def read_only() -> Iterator[None]:
    """The database refuses to be written to, as where its disk was mounted for reading only."""
    on, off = {
        "sqlite": ("PRAGMA query_only=ON", "PRAGMA query_only=OFF"),
        "postgresql": (
            "SET default_transaction_read_only=on",
            "SET default_transaction_read_only=off",
        ),
    }[connection.vendor]
    execute(on)
    try:
        yield
    finally:
        execute(off)


@contextmanager
def disk_full() -> Iterator[None]:
    """No page more for SQLite; from PostgreSQL the error that it gives where its disk has no room."""
    if connection.vendor == "sqlite":
        execute("VACUUM", "PRAGMA max_page_count=1")  # never less than there are
    else:
        execute(
            "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION 'No space left on device' USING ERRCODE = 'disk_full'; END $$",
            "CREATE TRIGGER no_room BEFORE INSERT ON measurements_actionreading "
            "EXECUTE FUNCTION no_room()",
        )
    try:
        yield
    finally:
        if connection.vendor == "sqlite":
            execute("PRAGMA max_page_count=1073741823")
        else:
            execute("DROP FUNCTION no_room CASCADE")


@pytest.fixture
def bench(tech) -> Client:
    client = signed_in(tech)
    client.raise_request_exception = False
    return client


def held(page: str) -> dict[str, str]:
    """What a page holds to be sent again."""
    boxes = re.findall(r'<textarea name="([^"]+)" hidden>\n(.*?)</textarea>', page, re.DOTALL)
    return {html.unescape(name): html.unescape(value) for name, value in boxes}


@pytest.mark.parametrize(
    ("hindrance", "status", "words"),
    [
        (read_only, 503, "can be read at the moment, but not changed"),
        (
            disk_full,
            507,
            "disk of the shop&#x27;s server is full|disk of the shop's server is full",
        ),
    ],
)
def test_a_check_in_that_cannot_be_saved_is_kept_on_the_page_and_saved_from_it(
    hindrance, status, words, bench
):
    instrument = InstrumentFactory()
    sent = typed(notes="buzz at 9\n<b>“loud”</b> " * 150)
    with hindrance():
        response = bench.post(address(instrument), sent)
    assert response.status_code == status
    assert re.search(words, response.text)
    assert "This was not saved" in response.text
    assert response["Retry-After"] == "60"
    assert "<b>" not in response.text
    assert not CheckIn.objects.exists()

    again = held(response.text)
    assert again == sent
    assert bench.post(address(instrument), again).status_code == 302
    assert str(CheckIn.objects.get().uuid) == sent["uuid"]
    assert bench.post(address(instrument), again).status_code == 302
    assert CheckIn.objects.count() == 1


def test_the_outbox_is_told_to_keep_and_try_again(bench):
    instrument = InstrumentFactory()
    with read_only():
        response = bench.post(address(instrument), typed(), headers={"X-Outbox": "1"})
    assert (
        response.status_code == 503
    )  # outbox.js: from 500 on it waits and is tried again by itself


def test_every_page_can_still_be_read(owner, addresses):  # noqa: F811
    browser = signed_in(owner)
    browser.raise_request_exception = False
    readable = {name: url for name, url in addresses.items() if "owner" in MAY[name][0]}
    usual = {name: browser.get(url).status_code for name, url in readable.items()}
    assert set(usual.values()) <= {200, 302}
    with read_only():
        now = {name: browser.get(url).status_code for name, url in readable.items()}
    assert now == usual


def test_a_session_that_cannot_be_written_takes_no_saved_entry_back(bench, monkeypatch):
    def full(self, must_create: bool = False) -> None:
        raise raised(of_sqlite(sqlite3.SQLITE_FULL))

    monkeypatch.setattr(SessionStore, "save", full)
    instrument = InstrumentFactory()
    assert bench.post(address(instrument), typed()).status_code == 302
    assert CheckIn.objects.count() == 1


def test_a_disk_that_fills_after_the_check_in_costs_only_the_outlook(bench, monkeypatch):
    instrument = InstrumentFactory()
    full = ExitStack()

    def fills(*args: object, **kwargs: object) -> None:
        full.enter_context(read_only())
        Outlook.objects.create(instrument=instrument)

    monkeypatch.setattr(refreshing, "_store", fills)
    with full:
        response = bench.post(address(instrument), typed())
    assert response.status_code == 302
    assert CheckIn.objects.count() == 1
    assert not Outlook.objects.exists()


def test_a_password_is_never_written_into_a_page():
    UserFactory(username="mara")
    client = Client(raise_request_exception=False)
    with read_only():
        response = client.post(reverse("sign-in"), {"username": "mara", "password": PASSWORD})
    assert response.status_code == 503
    assert PASSWORD not in response.text
    assert held(response.text) == {}


def test_a_new_customer_is_kept_on_the_page_too(at_counter):
    at_counter.raise_request_exception = False
    with read_only():
        response = at_counter.post(reverse("customer-add"), {"name": "Åse <Ó>", "unit": "mm"})
    assert response.status_code == 503
    assert held(response.text) == {"name": "Åse <Ó>", "unit": "mm"}
    assert at_counter.post(reverse("customer-add"), held(response.text)).status_code == 302
    assert Customer.objects.get().name == "Åse <Ó>"


def test_the_log_says_what_kind_of_trouble_it_is_and_no_more(bench, caplog):
    with caplog.at_level(logging.ERROR, logger="shop.trouble"), read_only():
        bench.post(reverse("customer-add"), {"name": "Åse", "unit": "mm"})
    ours = [record.getMessage() for record in caplog.records if record.name == "shop.trouble"]
    assert ours == ["the database is read-only"]


def raised(cause: BaseException, kind: type[Exception] = OperationalError) -> Exception:
    """A database error as Django makes it of the driver's."""
    error = kind(str(cause))
    error.__cause__ = cause
    return error


def of_sqlite(code: int) -> sqlite3.OperationalError:
    cause = sqlite3.OperationalError("it said so")
    cause.sqlite_errorcode = code
    return cause


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (raised(of_sqlite(13)), "full"),  # SQLITE_FULL
        (raised(of_sqlite(8)), "read-only"),  # SQLITE_READONLY
        (raised(of_sqlite(1544)), "read-only"),  # SQLITE_READONLY_DIRECTORY
        (raised(of_sqlite(5)), "busy"),  # SQLITE_BUSY
        (raised(of_sqlite(11)), "damaged"),  # SQLITE_CORRUPT
        (raised(of_sqlite(14)), "unreachable"),  # SQLITE_CANTOPEN
        (raised(of_sqlite(1)), None),  # SQLITE_ERROR: a fault of ours
        (raised(psycopg.errors.DiskFull()), "full"),
        (raised(psycopg.errors.ReadOnlySqlTransaction()), "read-only"),
        (raised(psycopg.errors.LockNotAvailable()), "busy"),
        (raised(psycopg.errors.DeadlockDetected()), "busy"),
        (raised(psycopg.errors.DataCorrupted()), "damaged"),
        (raised(psycopg.errors.AdminShutdown()), "unreachable"),
        (raised(psycopg.errors.TooManyConnections()), "unreachable"),
        (raised(psycopg.OperationalError("connection refused")), "unreachable"),
        (raised(psycopg.errors.UndefinedColumn(), DatabaseError), None),
        (raised(psycopg.errors.UniqueViolation(), IntegrityError), None),
        (OSError(errno.ENOSPC, "No space left on device"), "full"),
        (OSError(errno.EROFS, "Read-only file system"), "read-only"),
        (OSError(errno.ENOENT, "No such file"), None),
        (ValueError("a fault of ours"), None),
        (None, None),
    ],
)
def test_the_kind_of_trouble_is_told_by_the_databases_own_codes(error, kind):
    found = trouble.trouble_of(error)
    assert (found and found.kind) == kind


def test_a_database_that_is_gone_says_so_and_a_fault_of_ours_does_not(owner, monkeypatch):

    def gone(*args: object) -> None:
        raise raised(psycopg.OperationalError("connection refused"))

    monkeypatch.setattr(views.backups, "standing", gone)
    browser = signed_in(owner)
    browser.raise_request_exception = False
    response = browser.get(reverse("the-shop"))
    assert response.status_code == 503
    assert "cannot be shown just now" in response.text

    def broken(*args: object) -> None:
        raise ValueError("a fault of ours")

    monkeypatch.setattr(views.backups, "standing", broken)
    response = browser.get(reverse("the-shop"))
    assert response.status_code == 500
    assert "Something broke" in response.text
