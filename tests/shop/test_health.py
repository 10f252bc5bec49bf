"""The two answers for whatever watches the server."""

import pytest
from django.core.files.storage import InMemoryStorage
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse

from shop import health


@pytest.fixture
def anyone() -> Client:
    return Client()


def test_alive_without_database_or_disk(anyone, monkeypatch):
    # No database mark: pytest-django refuses any query here.
    monkeypatch.setattr(health, "CHECKS", {"database": lambda: pytest.fail("asked")})
    response = anyone.get(reverse("health"))
    assert (response.status_code, response.content) == (200, b"alive\n")
    assert "no-store" in response["Cache-Control"]


@pytest.mark.django_db
def test_ready_names_its_three_parts(anyone):
    response = anyone.get(reverse("ready"))
    assert response.status_code == 200
    assert response.json() == {"database": "ok", "migrations": "ok", "storage": "ok"}


@pytest.mark.django_db
def test_no_file_is_left_behind(anyone):
    anyone.get(reverse("ready"))
    assert health.default_storage.listdir("ready")[1] == []


@pytest.mark.django_db
def test_not_ready_before_the_migrations_of_this_version(anyone):
    with connection.cursor() as cursor:
        cursor.execute(
            "DELETE FROM django_migrations WHERE app = 'shop' AND id ="
            " (SELECT MAX(id) FROM django_migrations WHERE app = 'shop')"
        )
    response = anyone.get(reverse("ready"))
    assert response.status_code == 503
    assert response.json() == {"database": "ok", "migrations": "failing", "storage": "ok"}


@pytest.mark.django_db
def test_a_database_that_a_newer_version_migrated_serves_on(anyone):
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied)"
            " VALUES ('shop', '9999_newer', CURRENT_TIMESTAMP)"
        )
    assert anyone.get(reverse("ready")).status_code == 200


class Full(InMemoryStorage):
    """Takes nothing, and says so with words that are nobody's business."""

    def _save(self, name, content):
        raise OSError(28, "No space left on device", "/secret/place")


@pytest.mark.django_db
def test_a_full_disk_is_said_without_saying_where(anyone, monkeypatch):
    monkeypatch.setattr(health, "default_storage", Full())
    response = anyone.get(reverse("ready"))
    assert response.status_code == 503
    assert response.json()["storage"] == "failing"
    assert b"secret" not in response.content


def test_a_database_that_is_away_is_an_answer_and_no_crash(anyone, monkeypatch):
    def away() -> bool:
        raise OperationalError("connection to server at db.internal failed")

    monkeypatch.setattr(health, "CHECKS", {"database": away})
    response = anyone.get(reverse("ready"))
    assert response.status_code == 503
    assert response.json() == {"database": "failing"}


@pytest.mark.parametrize("name", ["health", "ready"])
def test_probes_are_only_read(name, anyone):
    assert anyone.post(reverse(name)).status_code == 405


def test_a_probe_over_plain_http_is_answered_in_production(anyone, settings):
    settings.SECURE_SSL_REDIRECT = True
    settings.SECURE_REDIRECT_EXEMPT = [r"^health/$", r"^ready/$"]
    assert Client().get(reverse("health")).status_code == 200
    assert Client().get(reverse("sign-in")).status_code == 301
