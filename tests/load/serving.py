"""A real server in a process group of its own, to be killed, and clients that hand in check-ins."""

import http.client
import http.cookiejar
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.parse
import urllib.request
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from django.conf import settings

from tests.factories import PASSWORD

STARTS_WITHIN_S = 60
ANSWERS_WITHIN_S = 60


def environment(database_url: str, folder: Path, **more: str) -> dict[str, str]:
    """For a process that serves, or commands, a database of its own."""
    ours = {
        "DATABASE_URL": database_url,
        "SADDLEROOM_SECRET_KEY": settings.SECRET_KEY,
        "SADDLEROOM_PHOTOS": str(folder / "photos"),
        "SADDLEROOM_BACKUPS": str(folder / "backups"),
    }
    return {**os.environ, **ours, **more}


def manage(*arguments: object, env: dict[str, str]) -> str:
    """What a command of manage.py says. Raises ``CalledProcessError`` if it fails."""
    command = [sys.executable, "manage.py", *(str(argument) for argument in arguments)]
    done = subprocess.run(
        command, env=env, cwd=settings.BASE_DIR, capture_output=True, text=True, check=True
    )
    return done.stdout


@dataclass
class Server:
    """``manage.py serve`` with two workers; ``kill`` gives no part of it time to end in order."""

    env: dict[str, str]
    log: Path
    port: int = 0
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        if not self.port:
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                self.port = probe.getsockname()[1]
        command = [sys.executable, "manage.py", "serve", "--port", str(self.port)]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                command,
                env=self.env,
                cwd=settings.BASE_DIR,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        end = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < end:
            assert self.process.poll() is None, self.log.read_text()
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
            except OSError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError(f"the server did not start: {self.log.read_text()}")

    def kill(self) -> None:
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


@dataclass
class Clients:
    """Somebody signed in, whose devices hand in check-ins as the outbox does, many at once."""

    port: int
    cookies: str = ""
    token: str = ""
    acknowledged: set[str] = field(default_factory=set)
    refused: list[str] = field(default_factory=list)
    more: threading.Condition = field(default_factory=threading.Condition)

    def sign_in(self, username: str) -> None:
        """Through the form, as a browser would."""
        jar = http.cookiejar.CookieJar()
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
        address = f"http://127.0.0.1:{self.port}/sign-in/"
        with opener.open(address, timeout=ANSWERS_WITHIN_S) as page:
            found = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.read().decode())
        typed = {"csrfmiddlewaretoken": found[1], "username": username, "password": PASSWORD}
        sent = urllib.parse.urlencode(typed).encode()
        with opener.open(address, sent, timeout=ANSWERS_WITHIN_S) as page:
            assert "Sign out" in page.read().decode()
        with opener.open(f"http://127.0.0.1:{self.port}/waiting/pass/") as page:
            self.token = json.load(page)["token"]
        self.cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in jar)

    def post(self, address: str, typed: dict[str, str]) -> None:
        """Hand in one check-in; it counts as acknowledged only if the whole answer arrived."""
        headers = {
            "Cookie": self.cookies,
            "X-CSRFToken": self.token,
            "X-Outbox": "1",
            "X-Saved-Seconds-Ago": "120",
            "Content-Type": "application/x-www-form-urlencoded",
        }
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWERS_WITHIN_S)
        try:
            link.request("POST", address, urllib.parse.urlencode(typed), headers)
            answer = link.getresponse()
            body = answer.read().decode()
        except (OSError, http.client.HTTPException):
            return  # no answer: nobody knows whether it is saved
        finally:
            link.close()
        with self.more:
            if answer.status == 200 and "saved" in json.loads(body):
                self.acknowledged.add(typed["uuid"])
            elif answer.status < 500:
                self.refused.append(f"{answer.status} {body[:500]}")
            self.more.notify_all()

    def all_at_once(self, entries: Iterable[tuple[str, dict[str, str]]]) -> ThreadPoolExecutor:
        """Every entry from a thread of its own; leaving the executor's ``with`` waits for them."""
        entries = list(entries)
        threads = ThreadPoolExecutor(len(entries))
        for address, typed in entries:
            threads.submit(self.post, address, typed)
        return threads

    def wait_for(self, count: int) -> None:
        """Until so many were acknowledged in all."""
        with self.more:
            assert self.more.wait_for(lambda: len(self.acknowledged) >= count, ANSWERS_WITHIN_S)
