"""Clients of the web server: what a shop's people do, many at once or one after the other."""

from __future__ import annotations

import http.client
import itertools
import random
import re
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date
from urllib.parse import urlencode
from uuid import uuid4

PATIENCE_S = 60
#: How often each page is asked for, in a hundred.
MIX = {
    "board": 18,
    "board, later page": 4,
    "instrument": 26,
    "check-in form": 16,
    "check-in saved": 16,
    "search": 14,
    "calls": 3,
    "today": 3,
}
#: What pages are measured against beside the bare view, with the name of its route.
YARDSTICKS = {"signed in": "signed-in", "empty page": "empty-page"}
STATES = ("watch", "book", "overdue", "room")
SORTS = ("due", "tag", "customer", "-saddle", "joint", "seen", "-contact")


@dataclass
class Taken:
    """Seconds of each answer by page, and what was not as it should be."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    faults: Counter[str] = field(default_factory=Counter)

    def add(self, other: Taken) -> None:
        self.faults.update(other.faults)
        for page, seconds in other.seconds.items():
            self.seconds[page] += seconds


class Client:
    """One person's browser: a session, and what it asks for."""

    def __init__(self, port: int, known: dict[str, list[str]], number: int) -> None:
        self.port, self.known = port, known
        self.choice = random.Random(number)
        self.cookie = f"sessionid={known['sessions'][number % len(known['sessions'])]}"
        self.token = ""
        self.taken = Taken()

    def bare(self) -> None:
        """The bare view, signed in as nobody: a session would be a query more."""
        signed_in, self.cookie = self.cookie, ""
        self._get("bare view", f"/bare/{self.choice.choice(self.known['keys'])}/")
        self.cookie = signed_in

    def act(self, page: str) -> None:
        """Do what the name says."""
        tag = self.choice.choice(self.known["tags"])
        if page == "bare view":
            self.bare()
        elif page in YARDSTICKS:
            self._get(page, f"/{YARDSTICKS[page]}/{self.choice.choice(self.known['keys'])}/")
        elif page == "board":
            self._get(page, "/due/")
        elif page == "board, later page":
            asked = {"sort": self.choice.choice(SORTS), "page": self.choice.randint(1, 40)}
            self._get(page, f"/due/?{urlencode(asked)}")
        elif page == "instrument":
            self._get(page, f"/instruments/{tag}/")
        elif page == "check-in form":
            self._get(page, f"/instruments/{tag}/check-in/")
        elif page == "check-in saved":
            self._save(page, f"/instruments/{tag}/check-in/")
        elif page == "search":
            looked = self.choice.choice((tag, f"Customer {self.choice.randint(1, 3999)}", "Tarn"))
            place = self.choice.choice(("instruments", "customers", "due"))
            self._get(page, f"/{place}/?{urlencode({'q': looked})}")
        else:
            self._get(page, f"/{page}/")

    def _save(self, page: str, path: str) -> None:
        if not self.token:
            body = self._ask("check-in form", "GET", path, {}, None, 200)
            found = re.search(rb'name="csrfmiddlewaretoken" value="(\w+)"', body)
            self.token = found[1].decode() if found else "none"
        typed = {
            "csrfmiddlewaretoken": self.token,
            "uuid": str(uuid4()),
            "day": date.today().isoformat(),
            "stage": self.choice.choice(("received", "returned")),
            "at_pitch": "on",
            "humidity_pct": "45",
            "temperature_c": "21",
            "relief_mm": "0.2",
            "relief_press": "1-joint",
            "saddle_bass_mm": "3.2",
            "saddle_treble_mm": "2.7",
        }
        headers = {"Content-Type": "application/x-www-form-urlencoded"}
        self._ask(page, "POST", path, headers, urlencode(typed), 302)

    def _get(self, page: str, path: str) -> None:
        self._ask(page, "GET", path, {}, None, 302 if "?q=B" in path and "/inst" in path else 200)

    def _ask(
        self,
        page: str,
        method: str,
        path: str,
        headers: dict[str, str],
        body: str | None,
        expected: int,
    ) -> bytes:
        began = time.perf_counter()
        try:
            link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
            with closing(link):
                link.request(method, path, body, {**headers, "Cookie": self.cookie})
                answer = link.getresponse()
                text = answer.read()
                self._keep(answer.headers.get_all("Set-Cookie") or [])
        except OSError as error:
            self.taken.faults[f"{page}: {type(error).__name__}"] += 1
            return b""
        self.taken.seconds[page].append(time.perf_counter() - began)
        if answer.status != expected:
            self.taken.faults[f"{page}: {answer.status}"] += 1
        return text

    def _keep(self, cookies: list[str]) -> None:
        for cookie in cookies:
            pair = cookie.partition(";")[0]
            others = [
                each
                for each in self.cookie.split("; ")
                if each.partition("=")[0] != pair.partition("=")[0]
            ]
            self.cookie = "; ".join([*others, pair])


def hundred() -> list[str]:
    return list(itertools.chain.from_iterable([page] * often for page, often in MIX.items()))


def mixed(client: Client) -> Iterator[Callable[[], None]]:
    pages = hundred()
    while True:
        page = client.choice.choice(pages)
        yield lambda page=page: client.act(page)


def bare_only(client: Client) -> Iterator[Callable[[], None]]:
    while True:
        yield client.bare


def together(
    clients: list[Client], seconds: float, doing: Callable[[Client], Iterator[Callable[[], None]]]
) -> tuple[Taken, float]:
    """All clients at once, each asking again as soon as it is answered; what was taken, and seconds."""
    began = time.perf_counter()

    def work(client: Client) -> None:
        client.taken = Taken()
        for act in doing(client):
            if time.perf_counter() - began > seconds:
                return
            act()

    threads = [threading.Thread(target=work, args=(client,)) for client in clients]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    took = time.perf_counter() - began
    total = Taken()
    for client in clients:
        total.add(client.taken)
    return total, took
