"""A backup made while check-ins pour in holds one moment: all that was acknowledged before, each whole."""

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection

from shop.backups import backups_in
from tests.load.serving import Clients, environment, manage
from tests.load.test_kill import check_in, look, server, tags  # noqa: F401  fixtures

pytestmark = pytest.mark.django_db(transaction=True)

AT_ONCE = 80


@pytest.fixture
def empty_database(tmp_path: Path) -> Iterator[str]:
    """The address of a database of the same kind that nobody has used."""
    if connection.vendor == "sqlite":
        yield f"sqlite:///{tmp_path / 'drill.sqlite3'}"
        return
    place = connection.settings_dict
    name = f"{place['NAME']}_drill"
    with connection._nodb_cursor() as cursor:
        cursor.execute(f'CREATE DATABASE "{name}"')
    yield f"postgres://{place['USER']}:{place['PASSWORD']}@{place['HOST']}:{place['PORT']}/{name}"
    with connection._nodb_cursor() as cursor:
        cursor.execute(f'DROP DATABASE "{name}"')


def test_a_backup_made_in_use_is_whole_and_is_restored_elsewhere(
    server,  # noqa: F811
    tags,  # noqa: F811
    empty_database,
    tmp_path,
):
    rng = random.Random(20261127)
    clients = Clients(server.port)
    clients.sign_in("tech")
    with clients.all_at_once(check_in(number, tags, rng) for number in range(AT_ONCE)):
        clients.wait_for(5)
        before = set(clients.acknowledged)
        assert "checked" in manage("backup", env=server.env)
    assert clients.refused == []
    assert len(clients.acknowledged) == AT_ONCE  # nobody was turned away for the backup

    elsewhere = environment(empty_database, tmp_path / "elsewhere")
    (backup,) = backups_in(tmp_path / "backups")
    assert "Restored" in manage("restore", backup, env=elsewhere)
    stored = look(empty_database)
    uuids = {uuid for uuid, _, _ in stored}
    assert before <= uuids <= clients.acknowledged
    assert {readings for _, _, readings in stored} == {4}
    assert "is whole" in manage("restore", backup, "--check", env=elsewhere)
