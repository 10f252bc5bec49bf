"""Two web servers and one database: sessions, check-ins, reports and the fleet's outlooks are shared.

Everything here runs as it would in a shop: the server's own command, over HTTP, a database of its own.
"""

import http.cookiejar
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from uuid import uuid4

import pytest
from django.conf import settings

from shop.demo import DEMO_PASSWORD

ROOT = Path(__file__).parent.parent.parent
STARTS_WITHIN_S = 60


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def database(tmp_path_factory) -> Iterator[str]:
    """The address of an empty database, of the kind that the tests run on."""
    ours = settings.DATABASES["default"]
    if "sqlite3" in ours["ENGINE"]:
        yield f"sqlite:///{tmp_path_factory.mktemp('two') / 'two.sqlite3'}"
        return
    import psycopg

    at = {"host": ours["HOST"], "port": ours["PORT"], "user": ours["USER"]}
    at |= {"password": ours["PASSWORD"], "dbname": "postgres", "autocommit": True}
    name = f"two_servers_{os.getpid()}"
    with psycopg.connect(**at) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    who = urllib.parse.quote(ours["USER"]) + (
        f":{urllib.parse.quote(ours['PASSWORD'])}" if ours["PASSWORD"] else ""
    )
    yield f"postgres://{who}@{ours['HOST']}:{ours['PORT']}/{name}"
    with psycopg.connect(**at) as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(scope="module")
def environment(database, tmp_path_factory) -> dict[str, str]:
    """What both servers are given: one database, one folder of photos, one secret key."""
    place = tmp_path_factory.mktemp("shared")
    return os.environ | {
        "DATABASE_URL": database,
        "SADDLEROOM_SECRET_KEY": "both servers have this one " * 3,
        "SADDLEROOM_PHOTOS": str(place / "photos"),
        "SADDLEROOM_IMPORTS": str(place / "imports"),
        "SADDLEROOM_LOG": "json",
        "DJANGO_SETTINGS_MODULE": "shop.settings",
    }


def manage(environment: dict[str, str], *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT, env=environment, check=True, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    return done.stdout


class Server:
    """One web server of its own on a port of its own."""

    def __init__(self, environment: dict[str, str], log: Path) -> None:
        self.port, self.log = free_port(), log
        words = ["manage.py", "serve", "--port", str(self.port), "--workers", "1"]
        with log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, *words],
                cwd=ROOT, env=environment, stdout=out, stderr=subprocess.STDOUT,
                start_new_session=True,
            )  # fmt: skip

    def wait(self) -> None:
        late = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < late:
            try:
                if Browser().get(self, "/ready/")[0] == 200:
                    return
            except urllib.error.URLError:
                time.sleep(0.2)
        pytest.fail(f"no answer: {self.log.read_text()}")

    def stop(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGTERM)
            self.process.wait(30)


class Browser:
    """Follows redirects and keeps cookies, which know hosts and no ports."""

    def __init__(self) -> None:
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self.opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), jar)

    def get(self, server: Server, path: str) -> tuple[int, str]:
        return self._open(server, path, None)

    def post(self, server: Server, path: str, form: str, **typed: str) -> tuple[int, str]:
        """Post what is typed to ``path`` with the token that the page ``form`` holds."""
        page = self.get(server, form)[1]
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
        assert token, page[:500]
        typed["csrfmiddlewaretoken"] = token[1]
        return self._open(server, path, urllib.parse.urlencode(typed).encode())

    def _open(self, server: Server, path: str, data: bytes | None) -> tuple[int, str]:
        self.address = f"http://127.0.0.1:{server.port}{path}"
        try:
            with self.opener.open(self.address, data, timeout=60) as answer:
                self.address = answer.geturl()
                return answer.status, answer.read().decode(errors="replace")
        except urllib.error.HTTPError as answer:
            return answer.code, answer.read().decode(errors="replace")

    def sign_in(self, server: Server, name: str) -> None:
        self.post(server, "/sign-in/", "/sign-in/", username=name, password=DEMO_PASSWORD)
        assert "/sign-in/" not in self.address


@pytest.fixture(scope="module")
def servers(environment, tmp_path_factory) -> Iterator[tuple[Server, Server]]:
    manage(environment, "migrate", "--verbosity", "0")
    manage(environment, "load_demo")
    logs = tmp_path_factory.mktemp("logs")
    pair = tuple(Server(environment, logs / f"{name}.log") for name in ("first", "second"))
    try:
        for server in pair:
            server.wait()
        yield pair
    finally:
        for server in pair:
            server.stop()


def some_tag(browser: Browser, server: Server) -> str:
    found = re.search(r'href="/instruments/([\w-]+)/"', browser.get(server, "/due/")[1])
    assert found
    return found[1]


def test_who_signed_in_on_one_is_known_on_the_other(servers):
    first, second = servers
    browser = Browser()
    assert "/sign-in/" in (browser.get(second, "/due/"), browser.address)[1]
    browser.sign_in(first, "owner")
    assert browser.get(second, "/due/")[0] == 200
    assert browser.address.endswith(f":{second.port}/due/")
    browser.post(second, "/sign-out/", "/due/")
    browser.get(first, "/due/")
    assert "/sign-in/" in browser.address


def test_a_check_in_on_one_and_its_report_are_on_the_other(servers):
    first, second = servers
    browser = Browser()
    browser.sign_in(first, "tech")
    tag = some_tag(browser, first)
    here = f"/instruments/{tag}/"
    mark = f"seen at {uuid4().hex[:8]}"
    status, _ = browser.post(
        first, f"{here}check-in/", f"{here}check-in/",
        uuid=str(uuid4()), day=time.strftime("%Y-%m-%d"), stage="received", at_pitch="on",
        saddle_bass_mm="3.1", notes=mark, relief_press="1-joint",
    )  # fmt: skip
    assert status == 200, status
    check_in = re.search(r'href="(/check-ins/[\w-]+/)"', browser.get(second, here)[1])
    assert check_in
    assert mark in browser.get(second, check_in[1])[1]
    browser.post(second, f"{here}report/", here, nonce=str(uuid4()))
    report = urllib.parse.urlsplit(browser.address).path
    assert re.fullmatch(r"/reports/\d+/", report), report
    assert browser.get(first, report)[0] == 200
    assert browser.get(first, report)[1].count(tag) >= 1


def test_one_goes_on_without_the_other(servers, environment, tmp_path):
    first, _ = servers
    third = Server(environment, tmp_path / "third.log")
    try:
        third.wait()
        browser = Browser()
        browser.sign_in(third, "owner")
        third.stop()
        assert browser.get(first, "/due/")[0] == 200
        assert browser.address.endswith("/due/")
    finally:
        third.stop()


def test_their_logs_hold_json_and_nobodys_name_or_address(servers):
    first, second = servers
    browser = Browser()
    browser.get(first, "/r/" + "T0KEN" * 8 + "/")
    browser.get(second, "/feed/" + "T0KEN" * 8 + ".ics")
    browser.sign_in(second, "owner")
    browser.get(second, "/customers/?q=Wilhelmina+Quill")
    for server in servers:
        server.stop()
    for server in servers:
        lines = server.log.read_text().splitlines()
        requests = [json.loads(line) for line in lines if line.startswith("{")]
        assert {"sign-in"} <= {line.get("route") for line in requests}
        said = "\n".join(line for line in lines if line.startswith("{"))
        for secret in ("T0KEN", "Quill", DEMO_PASSWORD, "/due/", "127.0.0.1", "Mozilla", "HTTP/1"):
            assert secret not in said


def test_the_fleet_is_recomputed_once_by_two_at_it(environment, servers):
    count = int(manage(environment, "shell", "-v", "0", "-c", COUNT).split()[-1])
    words = [sys.executable, "manage.py", "recompute_outlooks", "--once-a-day"]
    both = [
        subprocess.Popen(words, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    told = [each.communicate(timeout=300)[0] for each in both]
    assert [each.returncode for each in both] == [0, 0]
    made = [int(re.search(r"(\d+) outlooks? recomputed", text)[1]) for text in told]
    assert count > 10
    assert sum(made) == count, told


COUNT = "from instruments.models import Instrument; print(Instrument.objects.count())"
