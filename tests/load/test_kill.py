"""The server dies in the middle of 200 check-ins at once, ten times: none is lost, none is there twice.

On PostgreSQL so does the database, while the web server lives on.
"""

import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from uuid import UUID

import psycopg
import pytest
from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db import connection
from django.urls import reverse

from shop import dumps
from shop.backups import make_backup
from shop.models import User
from tests.factories import PASSWORD, InstrumentFactory, UserFactory
from tests.load.cluster import own_cluster
from tests.load.serving import Clients, Server, environment, manage

pytestmark = pytest.mark.django_db(transaction=True)

AT_ONCE = 200
KILLS = 10
INSTRUMENTS = 20
REPEATS = 20
CRASHES = 3
REPEATS = 20


Entry = tuple[str, dict[str, str]]  # where to hand it in, and what was typed


def url_of_served(folder: Path) -> str:
    """The address of the database to serve: the tests' own, or on SQLite a file with what is in it."""
    if connection.vendor == "sqlite":
        path = folder / "shop.sqlite3"
        dumps.copy_database(path)
        return f"sqlite:///{path}"
    place = connection.settings_dict
    name = f"{place['USER']}:{place['PASSWORD']}@{place['HOST']}:{place['PORT']}/{place['NAME']}"
    return f"postgres://{name}"


@pytest.fixture
def tags() -> list[str]:
    """The tags of the instruments on the bench, with somebody who may check them in."""
    person = UserFactory(username="tech")
    User.objects.filter(pk=person.pk).update(
        password=Argon2PasswordHasher().encode(PASSWORD, "a-salt-for-tests")
    )
    return [InstrumentFactory().tag for _ in range(INSTRUMENTS)]


@pytest.fixture
def server(tags, tmp_path) -> Iterator[Server]:
    server = Server(environment(url_of_served(tmp_path), tmp_path), tmp_path / "log")
    server.start()
    yield server
    server.kill()


def check_in(number: int, tags: list[str], rng: random.Random) -> Entry:
    """A check-in that a client made, with its own number and UUID, and where to hand it in."""
    typed = {
        "uuid": str(UUID(int=rng.getrandbits(128), version=4)),
        "day": date.today().isoformat(),
        "stage": "received",
        "at_pitch": "on",
        "relief_mm": "0.20",
        "relief_press": "1-joint",
        "action_1_bass_mm": "0.50",
        "action_1_treble_mm": "0.40",
        "action_12_bass_mm": "2.38",
        "action_12_treble_mm": "1.90",
        "saddle_bass_mm": "3.1",
        "saddle_treble_mm": "2.2",
        "bridge_rise_mm": "0.4",
        "notes": f"client {number}",
        "gauge": "",
    }
    return reverse("check-in-add", kwargs={"tag": tags[number % len(tags)]}), typed


Stored = list[tuple[str, str, int]]  # UUID, notes and number of action readings of each check-in

WHAT_IS_STORED = (
    "SELECT c.uuid, c.notes, COUNT(a.id) FROM measurements_checkin c "
    "LEFT JOIN measurements_actionreading a ON a.check_in_id = c.id GROUP BY c.id, c.uuid, c.notes"
)
INDEXES_ARE_WHOLE = (
    "SELECT bt_index_check(index => c.oid, heapallindexed => true) FROM pg_class c "
    "JOIN pg_index i ON i.indexrelid = c.oid JOIN pg_am a ON a.oid = c.relam "
    "JOIN pg_namespace n ON n.oid = c.relnamespace "
    "WHERE a.amname = 'btree' AND n.nspname = 'public' AND i.indisvalid"
)
TORN_ROWS = (
    "SELECT c.relname, problem.msg FROM pg_class c "
    "JOIN pg_namespace n ON n.oid = c.relnamespace, verify_heapam(c.oid) problem "
    "WHERE c.relkind = 'r' AND n.nspname = 'public'"
)


def look(url: str) -> Stored:
    """Every check-in in a database, once the database's own check of its files has passed."""
    if url.startswith("sqlite"):
        with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as served:
            assert served.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert served.execute("PRAGMA foreign_key_check").fetchall() == []
            rows = served.execute(WHAT_IS_STORED).fetchall()
    else:
        with psycopg.connect(url.replace("postgres://", "postgresql://")) as served:
            served.execute("CREATE EXTENSION IF NOT EXISTS amcheck")
            served.execute(INDEXES_ARE_WHOLE)  # fails at the first that is not
            assert served.execute(TORN_ROWS).fetchall() == []
            rows = served.execute(WHAT_IS_STORED).fetchall()
    return [(str(UUID(str(uuid))), notes, readings) for uuid, notes, readings in rows]


def nothing_is_lost_or_twice(clients: Clients, stored: Stored) -> set[str]:
    """Check that what was acknowledged is stored, each once and whole. Gives what is stored."""
    uuids = {uuid for uuid, _, _ in stored}
    assert clients.acknowledged <= uuids
    assert len(stored) == len(uuids) == len({notes for _, notes, _ in stored})
    assert {readings for _, _, readings in stored} <= {4}
    return uuids


def test_what_was_acknowledged_outlives_ten_kills_and_nothing_is_there_twice(server, tags):
    url = server.env["DATABASE_URL"]
    rng = random.Random(20261125)
    clients = Clients(server.port)
    clients.sign_in("tech")
    entries: dict[str, Entry] = {}
    unanswered_but_saved = 0
    for _ in range(KILLS):
        waiting = [entry for uuid, entry in entries.items() if uuid not in clients.acknowledged]
        for _ in range(AT_ONCE - len(waiting)):
            entry = check_in(len(entries), tags, rng)
            entries[entry[1]["uuid"]] = entry
            waiting.append(entry)
        before = len(clients.acknowledged)
        with clients.all_at_once(waiting):
            clients.wait_for(before + rng.randint(1, 25))
            time.sleep(rng.uniform(0, 0.05))
            server.kill()
        assert before < len(clients.acknowledged) < before + AT_ONCE
        stored = nothing_is_lost_or_twice(clients, look(url))
        unanswered_but_saved += len(stored - clients.acknowledged)
        server.start()
    # Some of those acknowledged too: a repeat is not a second one.
    again = rng.sample(sorted(clients.acknowledged), REPEATS)
    again += [uuid for uuid in entries if uuid not in clients.acknowledged]
    with clients.all_at_once(entries[uuid] for uuid in again):
        pass
    assert clients.refused == []
    assert clients.acknowledged == set(entries)
    assert nothing_is_lost_or_twice(clients, look(url)) == set(entries)
    # Otherwise no kill fell between a commit and its answer, and the repeats showed little.
    assert unanswered_but_saved > 0


@pytest.mark.skipif(
    settings.DATABASES["default"]["ENGINE"] != "django.db.backends.postgresql",
    reason="SQLite has no process of its own",
)
def test_what_was_acknowledged_outlives_the_death_of_postgresql_itself(tags, tmp_path):
    backup = make_backup(tmp_path / "backups").path
    rng = random.Random(20261126)
    with own_cluster() as cluster:
        env = environment(cluster.url, tmp_path)
        manage("restore", backup, env=env)
        server = Server(env, tmp_path / "log")
        server.start()
        try:
            clients = Clients(server.port)
            clients.sign_in("tech")
            entries = [check_in(number, tags, rng) for number in range(AT_ONCE)]

            def hand_in(enough: int, *, crash: bool) -> None:
                waiting = [each for each in entries if each[1]["uuid"] not in clients.acknowledged]
                with clients.all_at_once(waiting):
                    clients.wait_for(len(clients.acknowledged) + enough)
                    if crash:
                        cluster.crash()
                        cluster.start()

            for _ in range(CRASHES):
                hand_in(rng.randint(1, 25), crash=True)
                nothing_is_lost_or_twice(clients, look(cluster.url))
            while len(clients.acknowledged) < AT_ONCE:  # a worker finds out by its first request
                hand_in(1, crash=False)
            assert clients.refused == []
            assert len(nothing_is_lost_or_twice(clients, look(cluster.url))) == AT_ONCE
        finally:
            server.kill()
