"""What the log says of a request and of an error, and what it never says."""

import io
import json
import logging
import logging.config
import re
from collections.abc import Callable, Iterator

import pytest
from django.conf import settings as now
from django.db import IntegrityError, OperationalError
from django.test import Client
from django.urls import reverse
from gunicorn.config import Config

from measurements.plan.feed import new_feed
from shop import health, views
from shop.logs import Json, Line, errors_of, logging_of
from shop.server_log import ServerLog
from tests.factories import PASSWORD, CheckInFactory, CustomerFactory, InstrumentFactory

pytestmark = pytest.mark.django_db

NAME, ADDRESS, WORDS = "Wilhelmina Quill", "quill@post.example", "rosewood-heirloom"

Logged = Callable[[str], io.StringIO]


@pytest.fixture
def logged() -> Iterator[Logged]:
    """Switches the log on as the setting would, into a text."""

    def on(kind: str) -> io.StringIO:
        written = io.StringIO()
        wanted = logging_of(kind)
        wanted["handlers"]["console"]["stream"] = written
        logging.config.dictConfig(wanted)
        return written

    yield on
    logging.config.dictConfig(now.LOGGING)


def lines(written: io.StringIO) -> list[dict]:
    return [json.loads(line) for line in written.getvalue().splitlines()]


def braced(client: Client) -> Client:
    """A browser that gets the page of an error rather than the error."""
    client.raise_request_exception = False
    return client


class TestARequest:
    def test_is_one_line_of_json(self, at_desk, logged):
        written = logged("json")
        instrument = CheckInFactory().instrument
        at_desk.get(reverse("instrument", kwargs={"tag": instrument.tag}))
        (line,) = lines(written)
        assert {key: line[key] for key in ("level", "method", "route", "status", "role")} == {
            "level": "info",
            "method": "GET",
            "route": "instrument",
            "status": 200,
            "role": "owner",
        }
        assert line["ms"] > 0
        assert line["cpu_ms"] > 0
        assert line["queries"] >= 5
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", line["time"])

    def test_is_one_line_for_reading(self, at_desk, logged):
        written = logged("line")
        number = at_desk.get(reverse("due"))["X-Request-ID"]
        (line,) = written.getvalue().splitlines()
        assert f" INFO shop.logs {number} GET due 200 " in line
        assert line.endswith(" queries owner")

    def test_is_not_written_when_quiet(self, at_desk, logged):
        written = logged("quiet")
        at_desk.get(reverse("due"))
        assert written.getvalue() == ""

    @pytest.mark.parametrize("path", ["/nothing/here/", "/r/nobody-made-this/", "/customers/"])
    def test_of_nobody_is_nobodys(self, path, logged):
        written = logged("json")
        Client().get(path)
        (line,) = lines(written)
        assert line["role"] in ("nobody", "-")
        assert path not in written.getvalue()

    def test_counts_only_its_own_queries(self, at_desk, logged):
        written = logged("json")
        for _ in range(3):
            at_desk.get(reverse("preferences"))
        assert len({line["queries"] for line in lines(written)}) == 1

    def test_by_an_invented_method_is_other(self, logged):
        written = logged("json")
        Client().generic("QUILLPOST", "/health/")
        assert lines(written)[0]["method"] == "other"


class TestTheNumber:
    def test_of_a_proxy_goes_in_and_out(self, logged):
        written = logged("json")
        given = "4f9a" * 8
        response = Client().get("/offline/", headers={"X-Request-ID": given})
        assert response["X-Request-ID"] == given
        assert [line["request"] for line in lines(written)] == [given]

    @pytest.mark.parametrize(
        "given", ["", "short", "Wilhelmina-Quill-1950", "a" * 65, "ab12\t" * 5]
    )
    def test_that_does_not_look_like_one_is_replaced(self, given):
        response = Client().get("/offline/", headers={"X-Request-ID": given})
        assert re.fullmatch(r"[0-9a-f]{32}", response["X-Request-ID"])

    def test_stands_on_what_is_logged_meanwhile(self, at_desk, logged, monkeypatch):
        monkeypatch.setattr(views, "open_to", lambda *_: 1 / 0)
        written = logged("json")
        response = braced(at_desk).get(reverse("the-shop"))
        assert {line["request"] for line in lines(written)} == {response["X-Request-ID"]}


class TestProbes:
    def test_are_not_logged_while_all_is_well(self, logged):
        written = logged("json")
        Client().get(reverse("health"))
        Client().get(reverse("ready"))
        assert written.getvalue() == ""

    def test_that_fail_are_no_error(self, logged, monkeypatch):
        def away() -> bool:
            raise OperationalError("connection to db.internal as shop failed")

        monkeypatch.setattr(health, "CHECKS", {"database": away})
        written = logged("json")
        assert Client().get(reverse("ready")).status_code == 503
        assert [line["level"] for line in lines(written)] == ["warning", "info"]
        assert "db.internal" not in written.getvalue()
        assert lines(written)[0]["words"] == "not ready: database"


class TestAnError:
    def test_keeps_kind_and_place_and_not_what_it_said(self, at_desk, logged, monkeypatch):
        def collide(*arguments: object) -> None:
            raise IntegrityError(f"Key (email)=({ADDRESS}) already exists")

        monkeypatch.setattr(views, "add_record", collide)
        written = logged("json")
        typed = {"name": NAME, "email": ADDRESS, "notes": WORDS}
        assert braced(at_desk).post(reverse("customer-add"), typed).status_code == 500
        error, request = lines(written)
        assert (error["level"], error["words"]) == ("error", "customer-add answered 500")
        assert error["errors"][0]["kind"] == "IntegrityError"
        assert error["errors"][0]["at"][-1].startswith("tests/shop/test_logs.py:")
        assert any(at.startswith("shop/views.py:") for at in error["errors"][0]["at"])
        assert request["status"] == 500
        for secret in (NAME, "Quill", ADDRESS, WORDS):
            assert secret not in written.getvalue()

    def test_names_what_lay_behind_it_and_the_systems_code(self):
        try:
            try:
                raise OSError(28, "No space left on device", "/photos/quill.jpg")
            except OSError as error:
                raise ValueError(NAME) from error
        except ValueError as error:
            found = list(errors_of(error))
        assert [each["kind"] for each in found] == ["ValueError", "OSError"]
        assert found[1]["code"] == "ENOSPC"
        assert "quill" not in json.dumps(found).lower()

    @pytest.mark.parametrize("form", [Json(), Line()])
    def test_that_loops_back_to_itself_ends(self, form):
        first, second = ValueError(), KeyError()
        first.__context__, second.__context__ = second, first
        made = logging.LogRecord("shop", logging.ERROR, "", 0, "x", (), (KeyError, second, None))
        assert form.format(made).count("KeyError") == 1


class TestWhatOthersLog:
    @pytest.mark.parametrize(
        ("name", "words", "values", "said"),
        [
            ("axes", "AXES: login failure by %s, %d of %s", (NAME, 3, "5"), "login failure by …, 3 of …"),
            ("weasyprint", "Failed to load %r: %-20s", (NAME, ADDRESS), "Failed to load …: …"),
            ("gunicorn.error", "Worker (pid:%s) was sent %s!", (123, "SIGKILL"), "(pid:123) was sent …!"),
            ("gunicorn.error", f"Invalid request from ip=1.2.3.4: /r/{WORDS}", (), "Invalid request"),
            ("django.security.DisallowedHost", f"Invalid header: {NAME}", (), "refused: security.Dis"),
            ("other", "%(name)s came", ({"name": NAME},), "… came"),
        ],
    )  # fmt: skip
    def test_keeps_its_wording_and_only_numbers(self, name, words, values, said):
        record = logging.LogRecord(name, logging.WARNING, "", 0, words, values, None)
        for form in (Json(), Line()):
            text = form.format(record)
            assert said in text.encode().decode("unicode_escape") + text
            for secret in (NAME, ADDRESS, WORDS, "1.2.3.4"):
                assert secret not in text

    @pytest.mark.parametrize(("kind", "form"), [("json", Json), ("line", Line), ("quiet", Line)])
    def test_the_web_servers_own_log_has_the_same_form(self, kind, form, settings):
        settings.LOG = kind
        server = ServerLog(Config())
        assert {type(handler.formatter) for handler in server.error_log.handlers} == {form}


def test_a_name_an_address_a_search_and_a_token_are_in_no_line(at_desk, owner, logged):
    written = logged("json")
    person = CustomerFactory(name=NAME, email=ADDRESS)
    instrument = InstrumentFactory(customer=person, tag="QUILL-7")
    token, feed = "T" * 43, new_feed(owner)
    browser = braced(at_desk)
    nobody = braced(Client())
    for name, secret in (("q", NAME), ("q", ADDRESS), ("q", WORDS), ("customer", NAME)):
        for place in ("due", "instruments", "customers", "instrument-add"):
            browser.get(reverse(place), {name: secret})
    browser.get(reverse("customer", kwargs={"code": person.code}))
    browser.get(reverse("instrument", kwargs={"tag": instrument.tag}))
    browser.post(reverse("customer-add"), {"name": NAME, "email": "quill@"})
    browser.post(f"/{WORDS}/", {"name": NAME}, headers={"User-Agent": NAME, "Referer": ADDRESS})
    nobody.get(reverse("calendar-feed", kwargs={"token": feed}))
    nobody.get(f"/r/{token}/")
    nobody.get("/", headers={"Host": "quill.example"})
    nobody.post(reverse("sign-in"), {"username": NAME, "password": PASSWORD})
    nobody.get(reverse("ready"))
    said = written.getvalue()
    assert len(said.splitlines()) >= 24
    for secret in (NAME, "Quill", "QUILL", "quill", ADDRESS, WORDS, token, feed, PASSWORD):
        assert secret not in said
    assert person.code not in said


def test_a_csrf_refusal_names_the_refusal_only(logged):
    written = logged("json")
    strict = Client(enforce_csrf_checks=True)
    strict.post(f"/sign-in/?next=/r/{WORDS}/", {"username": NAME})
    assert [line["level"] for line in lines(written)] == ["warning", "info"]
    assert WORDS not in written.getvalue()


def test_a_wrong_setting_is_refused_by_name():
    with pytest.raises(ValueError, match="SADDLEROOM_LOG is json, line or quiet, not 'loud'"):
        logging_of("loud")
